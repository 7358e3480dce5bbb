"""Doubts of a take in English, as the JSON, the page, the terminal and the microphone say them.

Conventions: no capital and no full stop, so that several can be joined; `sentence` returns a whole one.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import assert_never

from pitchcheck.doubts import (
    CopyOf,
    Doubt,
    Faint,
    LeafOffItsNotes,
    NoOpenTake,
    NoOpenTakeOn,
    NotRead,
    OpenOffItsNote,
    OtherNote,
    Overdriven,
    OvertonesOff,
    PressTooFar,
    SecondString,
    StatedDoubt,
    StoppedOffItsPlace,
    TunedBetween,
    VaguePitch,
)


def doubt(what: Doubt) -> str:
    """Return one doubt in words."""
    match what:
        case NotRead(text) | StatedDoubt(text):
            return text
        case OtherNote(expected_hz, heard_hz, octave):
            which = "another octave" if octave else "another note"
            return f"expected {expected_hz:.1f} Hz but {heard_hz:.1f} Hz sounds: {which}"
        case SecondString(hz):
            return f"another string may be ringing near {hz:.1f} Hz; damp the others"
        case VaguePitch(sd_cents):
            return f"pitch uncertain by {sd_cents:.0f} cents"
        case Faint():
            return "hardly louder than the noise; pluck louder or come closer"
        case Overdriven():
            return "the sound is overdriven; lower the recording level"
        case OvertonesOff(scatter_cents):
            return f"its overtones lie {scatter_cents:.1f} cents off those of one even string"
        case OpenOffItsNote(off_cents, note, capo, limit_cents):
            under = f" with the capo behind fret {capo}" if capo else ""
            return (
                f"wrong note: {off_cents:+.0f} cents from {note}{under}, more than {limit_cents:.0f}; not "
                "used. Tune the string, or correct the string or its note"
            )
        case StoppedOffItsPlace(off_cents, flat_cents, sharp_cents):
            return (
                f"wrong note: {off_cents:+.0f} cents from its place above the open string (−{flat_cents:.0f} "
                f"to +{sharp_cents:.0f} is believable); not used. Correct its row, or play it again"
            )
        case LeafOffItsNotes(off_cents, fret):
            return (
                f"wrong note: {off_cents:+.0f} cents from the note of fret {fret}, where a leaf leaves only "
                "that note or the open one; not used. Correct its row, or play it again"
            )
        case NoOpenTake():
            return "no usable open take of the same string and capo to compare it with; not used"
        case TunedBetween(change_cents, limit_cents):
            return (
                f"the open string moved by {change_cents:+.0f} cents around it, more than {limit_cents:.0f}: "
                "it was tuned or slipped; not used. Let it settle, then play it and its open takes again"
            )
        case CopyOf(row):
            return f"a copy of row {row}, to the last digit of the pitch; not used again. Play each take anew"
        case PressTooFar(off_cents):
            return (
                f"{off_cents:+.0f} cents: either a very high slot or the string was pressed one fret too "
                "far; play it again"
            )
        case NoOpenTakeOn(side):
            return f"no open take {side.value} it: tuning drift is not removed"
    assert_never(what)


def joined(doubts: Sequence[Doubt]) -> str:
    """Return several doubts in one line; empty for none."""
    return "; ".join(doubt(what) for what in doubts)


def sentence(doubts: Sequence[Doubt]) -> str:
    """Return several doubts as a whole sentence; empty for none."""
    text = joined(doubts)
    return f"{text[0].upper()}{text[1:]}." if text else ""
