"""The strings of a settings file, with gaps filled from the preset where there is one.

Conventions: nothing is filled in silence; every filled value is a notice. Diameters in mm.
"""

from __future__ import annotations

from pitchcheck.errors import BadValue
from pitchcheck.instrument import StringSpec, taken_as_wound
from pitchcheck.session.fields import Fields
from pitchcheck.session.limits import (
    GAUGE,
    HIGHEST_FRET,
    HIGHEST_NOTE_HZ,
    HIGHEST_STRING,
    LOWEST_NOTE_HZ,
    SCALE,
    TARGET_HEIGHT,
)
from pitchcheck.session.notices import Inbox
from pitchcheck.session.presets import Preset
from pitchcheck.session.tunings import note_near
from pitchcheck.tuning import note_hz


def read_strings(tables: list[Fields], *, preset: Preset | None, inbox: Inbox) -> tuple[StringSpec, ...]:
    """Return the strings by number; faults go to the inbox.

    Parameters
    ----------
    tables : list of Fields
        The ``[[strings]]`` tables; empty means the preset's strings, if there is one.
    preset : Preset or None
    inbox : Inbox
    """
    if not tables:
        if preset is None:
            inbox.fault(
                "strings", limit="no string is described", action="Add one [[strings]] for each string."
            )
            return ()
        inbox.notice(f"no [[strings]]: the usual strings of kind {preset.name!r} were taken; check them")
        return preset.strings
    found: dict[int, StringSpec] = {}
    for fields in tables:
        spec = _read_string(fields, preset=preset)
        fields.finish()
        if spec is None:
            continue
        if spec.number in found:
            limit = "each number may appear once"
            fields.fault("number", spec.number, limit=limit, action="Number the strings 1, 2, 3 and so on.")
        found[spec.number] = spec
    return tuple(found[number] for number in sorted(found))


def _read_string(fields: Fields, *, preset: Preset | None) -> StringSpec | None:
    """Return one string, or None after a fault."""
    before = len(fields.inbox.problems)
    number = fields.whole("number", low=1, high=HIGHEST_STRING, required=True)
    usual = next((s for s in preset.strings if s.number == number), None) if preset else None
    note = _read_note(fields, usual=usual)
    if usual is not None and note is not None and note_hz(note) != usual.nominal_hz:
        usual = None  # tuned otherwise: its usual gauge says nothing
    gauge = fields.length("gauge", within=GAUGE)
    core = fields.length("core", within=GAUGE)
    target = fields.length("target_height", within=TARGET_HEIGHT)
    scale = fields.length("scale", within=SCALE)
    nut_at_fret = fields.whole("nut_at_fret", low=0, high=HIGHEST_FRET)
    material = fields.text("material", required=usual is None, example="plain steel")
    wound = fields.flag("wound")
    if core is not None and gauge is not None and core >= gauge:
        limit = f"the core must be thinner than the string ({gauge:g} mm)"
        fields.fault("core", f"{core:g} mm", limit=limit, action="Check gauge and core on the packet.")
    if len(fields.inbox.problems) > before or number is None:
        return None
    filled = [] if usual is None else _missing(note=note, gauge=gauge, material=material)
    if usual is not None:
        note, gauge = note or usual.note, gauge or usual.gauge_mm
        if wound is None and material in (None, usual.material):
            wound = usual.wound
        material = material or usual.material
    assert note is not None
    assert material is not None
    if filled:
        fields.inbox.notice(f"string {number}: {', '.join(filled)} taken from the usual strings of its kind")
    if gauge is None:
        fields.inbox.notice(f"string {number} has no gauge: its stretch is known less well")
    if wound is None:
        wound = taken_as_wound(material, gauge_mm=gauge, core_mm=core)
        if wound:
            fields.inbox.notice(f"string {number}: taken as wound, by its material, gauge or core")
    if nut_at_fret is None:
        nut_at_fret = 0 if usual is None else usual.nut_at_fret
    return StringSpec(
        number,
        note,
        gauge,
        material,
        wound,
        core_mm=core,
        target_height_mm=target,
        scale_mm=scale,
        nut_at_fret=nut_at_fret,
    )


def _read_note(fields: Fields, *, usual: StringSpec | None) -> str | None:
    """Return a note name that means a believable pitch; without an octave, the nearest to the usual one."""
    note = fields.text("note", required=usual is None, example="E4")
    if note is None:
        return None
    try:
        if usual is not None:
            note = note_near(note, usual.nominal_hz)
        hz = note_hz(note)
    except BadValue:
        limit = "it must be a letter, # or b if needed, and an octave number"
        fields.fault("note", note, limit=limit, action='Write it like "E4", "F#3" or "Bb2".')
        return None
    if not LOWEST_NOTE_HZ <= hz <= HIGHEST_NOTE_HZ:
        limit = f"{hz:.0f} Hz is outside {LOWEST_NOTE_HZ:.0f} to {HIGHEST_NOTE_HZ:.0f} Hz for an open string"
        fields.fault("note", note, limit=limit, action="Check the octave number (A4 is 440 Hz).")
        return None
    return note


def _missing(**values: object) -> list[str]:
    """Names of the values that are None."""
    return [name for name, value in values.items() if value is None]
