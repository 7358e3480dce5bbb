"""A new session of the bench, as the form on the start page says it.

Conventions: whatever cannot be used raises BadValue in words for a person at the page.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

from pitchcheck.bench.folders import check_name
from pitchcheck.course import Thoroughness
from pitchcheck.errors import BadValue
from pitchcheck.instrument import Aim
from pitchcheck.session.new_folder import settings_of_kind, with_choices, write_new
from pitchcheck.session.presets import presets
from pitchcheck.session.settings import SETTINGS, parse_settings
from pitchcheck.units import length_mm
from pitchcheck.workflow.listen.start import Start, start_session

SCALE_HELP = "like 648 mm"


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
    return folder, start_session(folder, thoroughness=thoroughness, strings=only or None)


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
