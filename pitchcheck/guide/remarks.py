"""What is worth telling about a good take: a string that did not come back, or is out of tune.

Conventions: cents, + = sharper than before.
"""

from __future__ import annotations

from collections.abc import Sequence

from pitchcheck.guide.places import Known, find_place, off_cents
from pitchcheck.instrument import Instrument
from pitchcheck.pitch.reading import Reading
from pitchcheck.takes import Position, Stop
from pitchcheck.units import cents_between
from pitchcheck.words import doubts

RETURN_CENTS = 1.5  # an open string comes back closer (the limit of the diagnosis for a catching slot)
RETURN_SDS = 3.0  # and beyond what the two readings' uncertainty explains
RETUNED_CENTS = 15.0  # no slot holds back so much: it was tuned, or slipped
OUT_OF_TUNE_CENTS = 25.0  # from its note: worth tuning before the work


def remark(reading: Reading, *, position: Position, instrument: Instrument, known: Sequence[Known]) -> str:
    """Return a warning that does not refuse the take, or nothing.

    Parameters
    ----------
    reading : Reading
        Of the take.
    position : Position
    instrument : Instrument
    known : sequence of Known
        Accepted takes before it, oldest first.
    """
    if position.stop is not Stop.OPEN:
        return doubts.sentence(reading.doubts)
    before = next((take for take in reversed(known) if take.position == position), None)
    if before is None:
        off = off_cents(find_place(position, instrument=instrument, known=()), reading.hz)
        if abs(off) > OUT_OF_TUNE_CENTS:
            return f"String {position.string} is {_away(off)}; better tune it, then undo and play it again."
        return ""
    change = cents_between(before.hz, reading.hz)
    if abs(change) <= max(RETURN_CENTS, RETURN_SDS * reading.sd_cents):
        return ""
    if abs(change) > RETUNED_CENTS:
        return (
            f"The open string is {_away(change)} of its last open take. If it was tuned or slipped, undo "
            "back to that take and play what came between again."
        )
    return (
        f"The open string came back {_away(change)}: the slot may be catching, or the tuner gives. Press the "
        "string once beside the nut, let go, and play it again (redo)."
    )


def _away(cents: float) -> str:
    return f"{abs(cents):.0f} cents {'sharp' if cents > 0 else 'flat'}"
