"""The session and job folders of the bench: which there are, and how a name becomes a path.

Conventions: sessions are the folders directly in the bench's own folder; those that go on with a job lie in
``sessions`` beside the folder of jobs, as for the command line, and have ``~`` before their name in an
address. A name never leads out of these places.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from pitchcheck.errors import BadValue, PitchcheckError
from pitchcheck.jobs.layout import JOB
from pitchcheck.jobs.names import is_id
from pitchcheck.recorder.course_file import COURSE, parse_course
from pitchcheck.session.rows import READINGS, TAKES
from pitchcheck.session.settings import SETTINGS, read_settings
from pitchcheck.workflow.again import SESSIONS

SITTING = "~"
NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9 ._-]{0,59}")
_RESERVED = re.compile(r"(?i)(con|prn|aux|nul|com\d|lpt\d)(\..*)?")  # no file names on Windows


@dataclass(frozen=True)
class SessionEntry:
    """One session of the list: how many of its takes are here."""

    name: str
    words: str


def check_name(name: str) -> str:
    """Return a name that may be a folder's.

    Raises
    ------
    BadValue
        If it may not.
    """
    name = name.strip()
    if NAME.fullmatch(name) is None or name.endswith((".", " ")) or _RESERVED.fullmatch(name):
        raise BadValue(
            f"{name[:80]!r} cannot be the name of a session: letters, digits, spaces, dots and dashes, at "
            "most 60. Choose another."
        )
    return name


@dataclass(frozen=True)
class Places:
    """Where sessions and jobs are: the bench's own folder, and the folder of jobs."""

    root: Path
    jobs: Path

    @property
    def sittings(self) -> Path:
        """Where the passes of jobs are played."""
        return self.jobs.resolve().parent / SESSIONS

    def session(self, name: str) -> Path | None:
        """Return the folder of a session by its name in an address; None if there is none."""
        if name.startswith(SITTING):
            plain = name.removeprefix(SITTING)
            return _inside(self.sittings, plain, SETTINGS) if is_id(plain) else None
        return find_session(self.root, name)

    def name(self, folder: Path) -> str:
        """Return the name of a session in an address."""
        return f"{SITTING if folder.parent == self.sittings else ''}{folder.name}"

    def job(self, name: str) -> Path | None:
        """Return the folder of a job by its id; None if there is none."""
        known = is_id(name) or NAME.fullmatch(name)  # a person may have renamed it
        return _inside(self.jobs, name, JOB) if known else None

    def job_of(self, folder: Path) -> Path | None:
        """Return the job that a session goes on with."""
        return self.job(folder.name.rpartition("-")[0]) if folder.parent == self.sittings else None


def find_session(root: Path, name: str) -> Path | None:
    """Return the folder of a session, None if there is none of that name in the bench's folder."""
    return None if NAME.fullmatch(name) is None else _inside(root, name, SETTINGS)


def _inside(place: Path, name: str, holds: str) -> Path | None:
    """Return a folder that really lies in a place and holds a file."""
    folder = place / name
    try:
        inside = folder.resolve(strict=True).parent == place.resolve(strict=True)
    except OSError:
        return None
    return folder if inside and (folder / holds).is_file() else None


def list_sessions(root: Path) -> list[SessionEntry]:
    """Return the sessions in the bench's folder, the last touched first."""
    found = [f for f in root.iterdir() if find_session(root, f.name) is not None] if root.is_dir() else []
    found.sort(key=lambda f: f.stat().st_mtime, reverse=True)
    return [SessionEntry(folder.name, _words(folder)) for folder in found]


def was_played(folder: Path) -> bool:
    """Whether a session has a take or a reading: then its course stays, and there is something to be told."""
    if (folder / READINGS).exists():
        return True
    try:
        return any(e.taken for e in parse_course((folder / COURSE).read_text(encoding="utf-8")).entries)
    except (OSError, ValueError):
        return (folder / TAKES).exists()


def _words(folder: Path) -> str:
    try:
        kind = read_settings(folder).settings.instrument.kind
    except PitchcheckError:
        return "settings cannot be used"
    try:
        entries = parse_course((folder / COURSE).read_text(encoding="utf-8")).entries
        return f"{kind}: {sum(e.taken for e in entries)} of {len(entries)} takes"
    except (OSError, ValueError):
        return f"{kind}: recorded" if (folder / TAKES).exists() else kind
