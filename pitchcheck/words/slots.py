"""What bars filing a slot, and what its verdict might suffer from, in English.

Conventions: no capital and no full stop, so that a sentence can be made around it.
"""

from __future__ import annotations

from typing import assert_never

from pitchcheck.judgement import Bar, BarKind
from pitchcheck.plan.records import (
    FloatingBridge,
    HardlyUsed,
    NotMeasured,
    NotPressed,
    ScallopedBoard,
    SlotDoubt,
    TargetBelowFloor,
)

_BARS = {
    BarKind.SYMPTOM_ONLY: (
        "only the symptom is known: without press takes a heavy finger sounds like a high slot. "
        "Play press 1 and press 2 first"
    ),
    BarKind.CATCHING: (
        "the string catches in its slot, so its pitch after a press is not its own: clean and ease the "
        "slot's sides, tune, and play its takes again"
    ),
    BarKind.FALSE_STRING: (
        "the string sounds false or is not the gauge given: change it, or correct the gauge, and play its "
        "takes again"
    ),
    BarKind.GAUGE_DISAGREES: "a gauge and the sound disagree: clear that up first",
    BarKind.UNSETTLED: "something stated, gauged or pressed contradicts the rest: settle that first",
    BarKind.WRONG_NOTES: "some of its takes are another note, and no press take is left: play them again",
}


def bar(what: Bar) -> str:
    """Return one reason not to file."""
    if what.kind is BarKind.FRET_EXPLAINS:
        return f"fret {what.fret} is off on all strings by as much as the slot: see to the frets first"
    return _BARS[what.kind]


def slot_doubt(what: SlotDoubt) -> str:
    """Return one thing that a verdict might suffer from."""
    match what:
        case Bar():
            return bar(what)
        case NotMeasured():
            return "not measured: no usable takes"
        case NotPressed():
            return "no press takes: the height rests on gauge readings and fretted notes"
        case ScallopedBoard():
            return "a scalloped board gets no press test: gauge the slot instead"
        case FloatingBridge():
            return "the bridge floats and gives when the string is pressed, so the interval is wider"
        case TargetBelowFloor():
            return "its target lies below the height where an open string is likely to buzz"
        case HardlyUsed(row, position, off_cents):
            return (
                f"row {row} ({position.words()}) was hardly used: {off_cents:+.1f} cents from what the "
                "others lead one to expect"
            )
    assert_never(what)
