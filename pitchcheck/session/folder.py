"""A session folder as a whole: settings and its list of takes or of readings.

Conventions: only unusable settings end the reading; everything else that is wrong is listed beside what could
be read.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from pitchcheck.errors import NothingMeasured, Problem
from pitchcheck.instrument import SessionSettings
from pitchcheck.session.notices import Inbox
from pitchcheck.session.rows import READINGS, TAKES, ReadingRow, TakeRow, parse_readings, parse_takes
from pitchcheck.session.settings import SETTINGS, read_settings
from pitchcheck.session.textfile import read_text


@dataclass(frozen=True)
class Session:
    """What a folder holds. At most one of ``takes`` and ``readings`` is filled.

    ``before`` is the folder of the pass before this one, or None.
    """

    folder: Path
    settings: SessionSettings
    takes: tuple[TakeRow, ...]
    readings: tuple[ReadingRow, ...]
    before: Path | None
    problems: tuple[Problem, ...]
    notices: tuple[str, ...]


def read_session(folder: Path) -> Session:
    """Read and check a session folder; sound files are not opened.

    Raises
    ------
    NothingMeasured
        If the folder is not there or its settings cannot be used; carries every fault found.
    """
    if not folder.is_dir():
        action = f'Make it with: pitchcheck new "{folder}" --kind KIND'
        problem = Problem(str(folder), None, None, None, "the folder does not exist", action)
        raise NothingMeasured(problem.sentence(), [problem])
    file = read_settings(folder)
    instrument = file.settings.instrument
    takes: tuple[TakeRow, ...] = ()
    readings: tuple[ReadingRow, ...] = ()
    inbox = Inbox(TAKES)
    has_takes, has_readings = (folder / TAKES).exists(), (folder / READINGS).exists()
    if has_takes and has_readings:
        limit = f"{TAKES} and {READINGS} are both in the folder; only one may be"
        inbox.fault(None, limit=limit, action="Move one of them out of the folder.")
    elif has_readings:
        inbox.file = READINGS
        text = read_text(folder, READINGS, inbox, missing="")
        readings = () if text is None else parse_readings(text, inbox, instrument=instrument)
    else:
        text = read_text(folder, TAKES, inbox, missing=f"Add {TAKES} with sound files, or {READINGS}.")
        takes = () if text is None else parse_takes(text, inbox, instrument=instrument)
    before = _before_folder(folder, file.before, inbox)
    return Session(
        folder=folder,
        settings=file.settings,
        takes=takes,
        readings=readings,
        before=before,
        problems=(*file.problems, *inbox.problems),
        notices=(*file.notices, *inbox.notices),
    )


def _before_folder(folder: Path, name: str | None, inbox: Inbox) -> Path | None:
    """Return the folder of the pass before, or None; it alone may lie outside."""
    if name is None:
        return None
    try:
        path = (folder / name).resolve()
        if path.is_dir() and path != folder.resolve():
            return path
    except (OSError, ValueError, RuntimeError):
        pass
    limit = "it must be another session folder, seen from this one"
    action = 'Correct it, like "../before"; this pass was measured alone.'
    inbox.problems.append(Problem(SETTINGS, None, "before.folder", name, limit, action))
    return None
