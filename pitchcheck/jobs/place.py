"""Where jobs are kept: a folder that was named, else PITCHCHECK_JOBS, else the platform's place."""

from __future__ import annotations

import os
from pathlib import Path

VARIABLE = "PITCHCHECK_JOBS"


def jobs_place(named: Path | None = None) -> Path:
    """Return the folder that holds the jobs; it may not exist yet.

    On Linux the default is ``~/.local/share/pitchcheck/jobs`` (XDG base directories), on macOS and Windows
    the user's application data.
    """
    if named is not None:
        return named
    said = os.environ.get(VARIABLE)
    if said:
        return Path(said)
    from platformdirs import user_data_path

    return user_data_path("pitchcheck", appauthor=False) / "jobs"
