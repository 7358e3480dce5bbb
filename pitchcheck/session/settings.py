"""``session.toml`` to settings: the instrument, the target, gauge readings and the pass before.

Conventions: lengths are text with a unit and become mm. Every fault of the instrument, target and strings is
found before the file is refused; a faulty gauge reading or ``[before]`` is listed and left out.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from pitchcheck.errors import BadValue, NothingMeasured, Problem
from pitchcheck.instrument import (
    SLOT_QUANTITIES,
    Aim,
    BehindNut,
    Board,
    Fretwork,
    Handedness,
    Instrument,
    Length,
    MeterQuantity,
    MeterReading,
    Nut,
    Removal,
    RunsBy,
    SessionSettings,
    Tailpiece,
    Target,
)
from pitchcheck.session.fields import Fields
from pitchcheck.session.limits import (
    ERROR,
    FALL_TO_POST,
    FLOOR,
    GAUGE_READINGS,
    HIGHEST_STRING,
    LEAF_SD_MM,
    NUT_TO_POST,
    REMOVED,
    SCALE,
    TARGET_CLEARANCE,
    TOLERANCE,
    Range,
)
from pitchcheck.session.notices import Inbox
from pitchcheck.session.presets import find_preset
from pitchcheck.session.strings import read_strings
from pitchcheck.session.textfile import parse_toml, read_text
from pitchcheck.units import LengthUnit, unit_of

SETTINGS = "session.toml"
SCHEMA = 1  # version of the input format; 1 is the first


@dataclass(frozen=True)
class SettingsFile:
    """A settings file as it was read. ``before`` names the folder of the pass before."""

    settings: SessionSettings
    before: str | None
    problems: tuple[Problem, ...]
    notices: tuple[str, ...]


def read_settings(folder: Path) -> SettingsFile:
    """Read the settings of a session folder.

    Raises
    ------
    NothingMeasured
        If the file is missing or the instrument cannot be understood; carries every fault found.
    """
    inbox = Inbox(SETTINGS)
    text = read_text(folder, SETTINGS, inbox, missing="Make one with: pitchcheck new FOLDER --kind KIND")
    return _read(text, inbox, name=f"{folder.name}/{SETTINGS}")


def parse_settings(text: str, *, name: str) -> SettingsFile:
    """Read the text of a settings file; ``name`` is what messages call it. Raises as ``read_settings``."""
    return _read(text, Inbox(name), name=name)


def _read(text: str | None, inbox: Inbox, *, name: str) -> SettingsFile:
    """Settings from their text, or every fault found."""
    root = Fields(_load(text, inbox), name="", inbox=inbox)
    if not inbox.problems:
        settings, before, minor = _read_session(root, inbox)
    if inbox.problems:
        count = len(inbox.problems)
        raise NothingMeasured(
            f"{name} cannot be used: {count} fault{'s' if count > 1 else ''}. Correct it and measure again.",
            inbox.problems,
        )
    return SettingsFile(settings, before, tuple(minor.problems), tuple(inbox.notices + minor.notices))


def check_scale_mm(scale_mm: float) -> float:
    """Return a believable scale length, or raise BadValue. [mm]"""
    if not SCALE.low_mm <= scale_mm <= SCALE.high_mm:
        raise BadValue(
            f"scale is {scale_mm:g} mm; it must be {SCALE.low_mm:g} to {SCALE.high_mm:g} mm. "
            "Measure from nut to fret 12 and double it."
        )
    return scale_mm


def _load(text: str | None, inbox: Inbox) -> object:
    """Return the parsed text, or an empty table after a fault."""
    if text is None:
        return {}
    try:
        return parse_toml(text)
    except ValueError as error:
        limit = f"it is not valid TOML: {error}"
        inbox.fault(None, limit=limit, action="Correct that line; text values need double quotes.")
        return {}


def _read_session(root: Fields, inbox: Inbox) -> tuple[SessionSettings, str | None, Inbox]:
    """Return the settings, the folder of the pass before, and the inbox of faults that cost only a part."""
    schema = root.get("schema")
    if schema is None:
        inbox.notice(f"schema is missing; {SCHEMA} was taken")
    elif type(schema) is not int or schema != SCHEMA:
        root.fault("schema", schema, limit=f"this version reads schema {SCHEMA}", action="Write schema = 1.")
    instrument = _read_instrument(root, inbox)
    target = _read_target(root, inbox)
    minor = Inbox(SETTINGS)
    numbers = {spec.number for spec in instrument.strings}
    root.inbox = minor
    meter = [_read_meter(fields, numbers) for fields in root.tables("meter")]
    before, removed = _read_before(root, minor, numbers)
    root.finish()
    settings = SessionSettings(
        instrument,
        target,
        tuple(m for m in meter if m is not None),
        removed,
        _unit(root.get("instrument")),
    )
    return settings, before, minor


def _unit(instrument: object) -> LengthUnit:
    """Return the unit in which the scale length was written; lengths are shown in it."""
    scale = instrument.get("scale") if isinstance(instrument, dict) else None
    return unit_of(scale) if isinstance(scale, str) else LengthUnit.MM


def _read_instrument(root: Fields, inbox: Inbox) -> Instrument:
    """Return the instrument; a placeholder scale stands where a fault was noted."""
    if not root.has("instrument"):
        root.fault("instrument", limit="it is missing", action="Add [instrument] with kind and scale.")
    fields = Fields(root.get("instrument") or {}, name="instrument", inbox=inbox)
    kind = fields.text("kind", example="electric")
    if kind is None and root.has("instrument"):
        inbox.notice("instrument.kind is missing; the strings say everything")
    strings = read_strings(root.tables("strings"), preset=find_preset(kind or ""), inbox=inbox)
    instrument = Instrument(
        kind=kind or "not said",
        scale_mm=fields.length("scale", within=SCALE, required=True) or SCALE.low_mm,
        strings=strings,
        nut=fields.choice("nut", default=Nut.SLOTTED),
        tailpiece=fields.choice("tailpiece", default=Tailpiece.FIXED),
        board=fields.choice("board", default=Board.NORMAL),
        fret_height=_read_length(fields, MeterQuantity.FRET_HEIGHT),
        action_12=_read_length(fields, MeterQuantity.ACTION_12),
        relief=_read_length(fields, MeterQuantity.RELIEF),
        fretwork=fields.choice("fretwork", default=Fretwork.UNKNOWN),
        hand=fields.choice("hand", default=Handedness.RIGHT),
        behind_nut=_read_behind_nut(fields),
    )
    fields.finish()
    return instrument


def _read_behind_nut(fields: Fields) -> BehindNut | None:
    """Return how the strings go on behind the nut; both lengths or none."""
    distance = fields.length("nut_to_post", within=NUT_TO_POST)
    fall = fields.length("fall_to_post", within=FALL_TO_POST)
    for key, other in (("nut_to_post", "fall_to_post"), ("fall_to_post", "nut_to_post")):
        if fields.has(key) and not fields.has(other):
            fields.fault(other, limit=f"it is missing beside {key}", action="Give both lengths or neither.")
    return None if distance is None or fall is None else BehindNut(distance, fall)


def _read_length(fields: Fields, what: MeterQuantity) -> Length | None:
    """Return an instrument's length with its default error."""
    row = GAUGE_READINGS[what]
    value = fields.length(what, within=Range(row.low_mm, row.high_mm))
    return None if value is None else Length(value, row.sd_mm)


def _read_target(root: Fields, inbox: Inbox) -> Target:
    """Return the target, defaults where nothing is said."""
    usual = Target()
    if not root.has("target"):
        return usual
    fields = Fields(root.get("target"), name="target", inbox=inbox)
    clearance = fields.pair(
        "third_fret_clearance", within=TARGET_CLEARANCE, default=usual.third_fret_clearance_mm
    )
    tolerance = fields.length("tolerance", within=TOLERANCE)
    floor = fields.pair("floor", within=FLOOR, default=usual.floor_mm)
    aim = fields.choice("aim", default=Aim.SET_UP)
    runs_by = fields.choice("runs_by", default=RunsBy.NUMBER)
    fields.finish()
    return Target(clearance, usual.tolerance_mm if tolerance is None else tolerance, floor, aim, runs_by)


def _read_meter(fields: Fields, numbers: set[int]) -> MeterReading | None:
    """Return one gauge reading, or None after a fault."""
    before = len(fields.inbox.problems)
    word = fields.text("what", required=True, example="clearance_third")
    if word is not None and word not in {str(gauge) for gauge in MeterQuantity}:
        limit = f"it must be one of {', '.join(str(gauge) for gauge in MeterQuantity)}"
        fields.fault("what", word, limit=limit, action="Write one of these; this reading was left out.")
    if len(fields.inbox.problems) > before or word is None:
        return None
    what = MeterQuantity(word)
    row = GAUGE_READINGS[what]
    string = fields.whole("string", low=1, high=HIGHEST_STRING, required=what in SLOT_QUANTITIES)
    if string is not None and string not in numbers:
        fields.fault("string", string, limit=_known(numbers), action="Correct it; this reading was left out.")
    within = Range(row.low_mm, row.high_mm)
    passes, stops = (fields.length(key, within=within) for key in ("passes", "stops"))
    bounds = [bound for bound in (passes, stops) if bound is not None]
    value = fields.length("value", within=within, required=not (fields.has("passes") or fields.has("stops")))
    if bounds and value is not None:
        limit = "a reading is either a value or a leaf that passes and one that stops"
        fields.fault("value", value, limit=limit, action="Keep one of the two; this reading was left out.")
    if passes is not None and stops is not None and passes >= stops:
        limit = f"the leaf that stops must be thicker than the one that passes ({passes:g} mm)"
        fields.fault("stops", stops, limit=limit, action="Correct the two; this reading was left out.")
    error = fields.length("error", within=ERROR)
    fields.finish()
    if len(fields.inbox.problems) > before:
        return None
    if bounds:
        sd = LEAF_SD_MM if error is None else error
        return MeterReading(what, string, sum(bounds) / len(bounds), sd, passes, stops)
    if value is None:
        return None
    return MeterReading(what, string, value, row.sd_mm if error is None else error)


def _read_before(root: Fields, inbox: Inbox, numbers: set[int]) -> tuple[str | None, tuple[Removal, ...]]:
    """Return the folder of the pass before and what was removed since."""
    if not root.has("before"):
        return None, ()
    fields = Fields(root.get("before"), name="before", inbox=inbox)
    folder = fields.text("folder", required=True, example="../before")
    removed: dict[int, Removal] = {}
    for item in fields.tables("removed"):
        string = item.whole("string", low=1, high=HIGHEST_STRING, required=True)
        amount = item.length("amount", within=REMOVED, required=True)
        item.finish()
        if string is None or amount is None:
            continue
        if string not in numbers:
            item.fault("string", string, limit=_known(numbers), action="Correct it; this line was left out.")
        elif string in removed:
            item.fault("string", string, limit="each string may appear once", action="Add the amounts up.")
        else:
            removed[string] = Removal(string, amount)
    fields.finish()
    return folder, tuple(removed.values())


def _known(numbers: set[int]) -> str:
    """Return the limit sentence for a string number."""
    return f"it must be one of the strings of {SETTINGS} ({', '.join(map(str, sorted(numbers)))})"
