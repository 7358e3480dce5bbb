"""A new session folder: commented settings and a list of takes to be recorded.

Nothing that exists is ever overwritten. Lengths are written in mm, gauges in inches as on the packet.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Sequence
from dataclasses import replace
from io import StringIO
from pathlib import Path

import tomlkit
from tomlkit.exceptions import TOMLKitError

from pitchcheck.errors import BadInput, BadValue, Problem
from pitchcheck.instrument import Aim, Fretwork, StringSpec, Target
from pitchcheck.session.presets import Preset, get_preset
from pitchcheck.session.settings import check_scale_mm, parse_settings
from pitchcheck.session.tunings import retuned
from pitchcheck.takes import Position
from pitchcheck.units import MM_PER_INCH

_HEAD = """\
# Settings of one instrument, for: pitchcheck measure FOLDER
# Correct what is not so on your instrument. Lengths are text with a unit: "0.25 mm", "0.010 in", "10 thou".
# A line that starts with # is not read.
schema = 1

[instrument]
kind = {kind}                # {words}
scale = "{scale} mm"            # nut to saddle: twice the way from nut to fret 12
nut = "slotted"              # slotted, zero_fret or locking; only a slotted nut is ever filed
tailpiece = "fixed"          # fixed or floating
board = "normal"             # normal or scalloped (no press test on a scalloped board)
# fret_height = "1.1 mm"     # these three help if you have gauged them
# action_12 = "1.6 mm"       # under the last string over fret 12
# relief = "0.2 mm"
# nut_to_post = "60 mm"      # of a middle string, and how much it falls on that way: both help where leaves
# fall_to_post = "8 mm"      # are laid, on wound and bass strings most

[target]
# Gap over fret 1 with the string held behind fret 3, for string 1 and for the last string.
# The values shown are the ones taken when nothing is said (common practice).
third_fret_clearance = {clearances}
aim = "set-up"               # "new nut": what is 0.05 mm above target is still worth filing
tolerance = "{tolerance:.2f} mm"        # this much above target is not worth filing
floor = {floors} # below these heights an open string is likely to buzz on fret 1

# String 1 is the one nearest the floor in playing position. Read gauges and material off the packet.
"""

_TAIL = """\
# A gauge reading, if you have one. Remove the # and repeat the block for each reading.
# what: clearance_third, clearance_open, slot_floor, fret_height, action_12 or relief
# [[meter]]
# what = "clearance_third"
# string = 6
# value = "0.010 in"
# error = "0.001 in"

# After filing: name the folder of the pass before this one and what came off.
# [before]
# folder = "../before"
# [[before.removed]]
# string = 6
# amount = "0.20 mm"
"""


def settings_of_kind(kind: str, *, scale_mm: float | None = None, tuning: str | None = None) -> str:
    """Return the text of a new ``session.toml``.

    Parameters
    ----------
    kind : str
        Name of a preset, or the path of a settings file (``.toml``) of one's own; of that
        its gauge readings and its pass before are left behind.
    scale_mm : float, optional
        Scale length; the kind's own by default. [mm]
    tuning : str, optional
        A note for every string from the last one to string 1 (``session.tunings.retuned``).

    Raises
    ------
    BadValue
        If the kind is not known, its file cannot be read, or scale or tuning are not believable.
    """
    if kind.lower().endswith(".toml"):
        return _text_of_own(Path(kind), scale_mm=scale_mm, tuning=tuning)
    preset = get_preset(kind)
    if tuning is not None:
        preset = replace(preset, strings=retuned(preset.strings, tuning))
    return settings_text(preset, scale_mm=check_scale_mm(preset.scale_mm if scale_mm is None else scale_mm))


def with_choices(
    text: str, *, aim: Aim | None = None, level_frets: bool = False, scale: str | None = None
) -> str:
    """Return settings with what was chosen when the folder was made; all else stays as it is written.

    ``scale`` is the scale length as it was said: lengths are shown in its unit.
    """
    if aim is None and not level_frets and not scale:
        return text
    document = tomlkit.parse(text)
    if scale:
        document["instrument"]["scale"] = scale
    if level_frets:
        document["instrument"]["fretwork"] = Fretwork.LEVEL.value
    if aim is not None:
        if "target" not in document:
            document["target"] = tomlkit.table()
        document["target"]["aim"] = aim.value
    return tomlkit.dumps(document)


def _text_of_own(path: Path, *, scale_mm: float | None, tuning: str | None) -> str:
    """Text of a settings file of one's own, with another scale or tuning where one is asked for."""
    try:
        document = tomlkit.parse(path.read_text(encoding="utf-8-sig"))
    except OSError as error:
        raise BadValue(
            f"the instrument file {path.name} cannot be read ({error.strerror}). Correct its name, or "
            "give a kind."
        ) from error
    except (UnicodeDecodeError, TOMLKitError, RecursionError) as error:
        raise BadValue(f"{path.name} is not valid TOML: {str(error)[:120]}. Correct that line.") from error
    for key in ("before", "meter"):
        document.pop(key, None)
    if scale_mm is not None and isinstance(document.get("instrument"), dict):
        document["instrument"]["scale"] = f"{check_scale_mm(scale_mm):g} mm"
    text = tomlkit.dumps(document)
    if tuning is not None:
        return retuned_text(text, tuning, name=path.name)
    parse_settings(text, name=path.name)
    return text


def retuned_text(text: str, tuning: str, *, name: str) -> str:
    """Return the text of a ``session.toml`` with other notes and everything else as it was.

    Parameters
    ----------
    text : str
        Settings that can be read.
    tuning : str
        A note for every string from the last one to string 1 (``session.tunings.retuned``).
    name : str
        Of the file, for messages.

    Raises
    ------
    BadValue
        If the tuning is not believable.
    """
    settings = parse_settings(text, name=name).settings
    notes = {spec.number: spec.note for spec in retuned(settings.instrument.strings, tuning)}
    document = tomlkit.parse(text)
    for table in document.get("strings") or ():
        table["note"] = notes[table["number"]]
    text = tomlkit.dumps(document)
    parse_settings(text, name=name)
    return text


def settings_text(preset: Preset, *, scale_mm: float) -> str:
    """Return a commented ``session.toml`` for a kind of instrument."""
    usual = Target()
    head = _HEAD.format(
        kind=json.dumps(preset.name),
        words=preset.words,
        scale=f"{scale_mm:g}",
        clearances=json.dumps([f"{mm / MM_PER_INCH:.3f} in" for mm in usual.third_fret_clearance_mm]),
        tolerance=usual.tolerance_mm,
        floors=json.dumps([f"{mm:.2f} mm" for mm in usual.floor_mm]),
    )
    return head + "\n".join(_string(spec) for spec in preset.strings) + "\n" + _TAIL


def takes_text(positions: Sequence[Position]) -> str:
    """Return a ``takes.csv`` with one row for each take that is to be recorded."""
    out = StringIO()
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow(("file", "string", "stop", "fret", "capo"))
    for number, place in enumerate(positions, 1):
        fret = "" if place.fret is None else place.fret
        rows.writerow((take_file(number), place.string, place.stop.value, fret, place.capo))
    return out.getvalue()


def take_file(number: int) -> str:
    """Return the name of the sound file of a take, numbered from 1."""
    return f"{number:03d}.wav"


def write_new(folder: Path, contents: dict[str, str]) -> tuple[Path, ...]:
    """Write text files into a folder, which is made if needed.

    Parameters
    ----------
    folder : Path
    contents : dict of str to str
        Text by file name.

    Raises
    ------
    BadInput
        If one of the files is already there, or the folder cannot be written; nothing is overwritten.
    """
    for name in contents:
        if (folder / name).exists():
            limit = "it is already there and is left alone"
            raise BadInput(Problem(str(folder / name), None, None, None, limit, "Name another folder."))
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, text in contents.items():
            with (folder / name).open("x", encoding="utf-8", newline="\n") as file:
                file.write(text)
    except OSError as error:
        limit = f"it cannot be written ({error.strerror or error})"
        raise BadInput(Problem(str(folder), None, None, None, limit, "Name another folder.")) from error
    return tuple(folder / name for name in contents)


def _string(spec: StringSpec) -> str:
    """Return the table of one string."""
    gauge = "" if spec.gauge_mm is None else f'gauge = "{spec.gauge_mm / MM_PER_INCH:.4g} in"\n'
    own = "" if spec.scale_mm is None else f'scale = "{spec.scale_mm:g} mm"\n'
    if spec.nut_at_fret:
        own += f"nut_at_fret = {spec.nut_at_fret}  # a nut of its own, from which its frets count\n"
    return (
        f"[[strings]]\nnumber = {spec.number}\nnote = {json.dumps(spec.note)}\n{gauge}"
        f"material = {json.dumps(spec.material)}\nwound = {'true' if spec.wound else 'false'}\n{own}"
    )
