"""The session and job folders of the bench: which there are, a new one, how a name becomes a path.

Conventions: sessions are the folders directly in the bench's own folder; those that go on with a job lie in
``sessions`` beside the folder of jobs, as for the command line, and have ``~`` before their name in an
address. A name never leads out of these places.
"""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from pitchcheck.course import Thoroughness
from pitchcheck.errors import BadValue, PitchcheckError
from pitchcheck.instrument import Aim
from pitchcheck.jobs.layout import JOB
from pitchcheck.jobs.names import is_id
from pitchcheck.recorder.course_file import COURSE, parse_course
from pitchcheck.session.new_folder import settings_of_kind, with_choices, write_new
from pitchcheck.session.presets import presets
from pitchcheck.session.rows import READINGS, TAKES
from pitchcheck.session.settings import SETTINGS, parse_settings, read_settings
from pitchcheck.units import length_mm
from pitchcheck.workflow.again import SESSIONS
from pitchcheck.workflow.listen.start import Start, start_session

SITTING = "~"
NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9 ._-]{0,59}")
SCALE_HELP = "like 648 mm"
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


def new_session(
    root: Path,
    name: str,
    *,
    kind: str,
    scale: str,
    strings: str,
    only: Sequence[int],
    thoroughness: Thoroughness,
    tuning: str = "",
    aim: Aim | None = None,
    level_frets: bool = False,
) -> tuple[Path, Start]:
    """Make a session; return its folder and what is to be played.

    Parameters
    ----------
    root : Path
    name : str
    kind : str
        A preset's name; with ``strings`` any words.
    scale : str
        Scale length as it was said, with its unit, in which lengths are shown; or empty. ``strings`` need it.
    strings : str
        The strings of an instrument that is no preset, one a line: note, gauge, material; or empty.
    only : sequence of int
        Strings to be played; all when empty.
    thoroughness : Thoroughness
    tuning : str
        Another tuning of a preset, from the lowest string up, octaves not needed; or empty.
    aim : Aim, optional
    level_frets : bool

    Raises
    ------
    BadValue
        If something cannot be used.
    """
    folder = root / check_name(name)
    if folder.exists():
        raise BadValue(f"{folder.name} is there already. Open it, or choose another name.")
    if strings.strip() and tuning:
        raise BadValue("Strings of your own have their notes already. Leave the tuning empty.")
    scale_mm = length_mm(scale) if scale else None
    if strings.strip():
        text = own_settings(kind, scale_mm=scale_mm, strings=strings.splitlines())
    else:
        text = settings_of_kind(check_kind(kind), scale_mm=scale_mm, tuning=tuning or None)
    text = with_choices(text, aim=aim, level_frets=level_frets, scale=scale)
    known = {spec.number for spec in parse_settings(text, name=SETTINGS).settings.instrument.strings}
    if not set(only) <= known:
        raise BadValue(f"Only these strings: it has {', '.join(map(str, sorted(known)))}. Correct them.")
    write_new(folder, {SETTINGS: text})
    return folder, start_session(
        folder,
        thoroughness=thoroughness,
        strings=only or None,
    )


def check_kind(kind: str) -> str:
    """Return a kind that is one of the list: another word might name a file.

    Raises
    ------
    BadValue
        If it is none.
    """
    if kind not in {preset.name for preset in presets()}:
        raise BadValue(f"{kind[:80]!r} is no kind of instrument. Choose one of the list.")
    return kind


def own_settings(kind: str, *, scale_mm: float | None, strings: Sequence[str]) -> str:
    """Return settings of an instrument that is described string by string.

    Raises
    ------
    BadValue
        If a line has no note, gauge and material, or the scale length is missing.
    """
    if scale_mm is None:
        raise BadValue(f"Strings of your own need the scale length. Add it, {SCALE_HELP}.")
    lines = ["schema = 1", "", "[instrument]", f"kind = {json.dumps(kind)}", f'scale = "{scale_mm:g} mm"']
    number = 0
    for line in strings:
        words = line.split()
        if not words:
            continue
        number += 1
        unit = 1 if len(words) > 2 and words[2] in ("mm", "in", "thou", "cm") else 0
        if len(words) < 3 + unit:
            raise BadValue(
                f"String {number} is {line.strip()[:60]!r}; it needs note, gauge and material, like "
                "E4 0.010 in plain steel. Correct it."
            )
        gauge = " ".join(words[1 : 2 + unit]) if unit else f"{words[1]} in"
        material = " ".join(words[2 + unit :])
        lines += ["", "[[strings]]", f"number = {number}", f"note = {json.dumps(words[0])}"]
        lines += [f"gauge = {json.dumps(gauge)}", f"material = {json.dumps(material)}"]
    return "\n".join(lines) + "\n"
