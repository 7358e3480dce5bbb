"""Which takes were played that can tell one cause from another: no cause is reported without its witness.

Conventions: a take counts unless the fit hardly used it. Nothing here is statistical: a saddle moves the
notes up the neck and hardly those at fret 1, a nut out of place moves all alike, so only takes at both ends
part them.
"""

from __future__ import annotations

from collections.abc import Sequence

from pitchcheck.fit.result import HARDLY_USED, Fit
from pitchcheck.takes import Stop
from pitchcheck.tuning import SEMITONES_PER_OCTAVE

# Fret from which the saddle outweighs a slot: its part grows with 2^(n/12) - 1, 33 % of that at fret 12
# by then, a slot's falls to a fifth (docs/method.md, "What a fretted note can tell").
UP_THE_NECK = 5
FEWEST_STRINGS_FOR_NUT = 2  # one string alone may bear behind its edge: chosen
FEWEST_AGREEING = 2  # one note far off may be a slip; two alike are the saddle: chosen
AGREE_CENTS = 6.0  # [cent] between the farthest of them, two usual fretted notes: chosen
FEWEST_FRETS = 3  # places of a string among which one fret stands out: chosen


def heard_up_the_neck(fit: Fit, number: int) -> bool:
    """Whether a fretted note of the string was heard that can tell its saddle."""
    return any(
        r.position.string == number
        and r.position.stop is Stop.FRET
        and (r.position.fret or 0) >= UP_THE_NECK
        and r.weight >= HARDLY_USED
        for r in fit.residuals
    )


def notes_up_the_neck(fit: Fit, number: int) -> list[tuple[float, float]]:
    """Return what each note up the neck lies off the fit, as it would be at fret 12, and its weight. [cent]

    Without those the fit hardly used, where it used any.
    """
    notes = [
        ((r.heard_cents - r.expected_cents) / (2 ** (r.position.fret / SEMITONES_PER_OCTAVE) - 1), r.weight)
        for r in fit.residuals
        if r.position.string == number
        and r.position.stop is Stop.FRET
        and not r.position.capo
        and r.position.fret is not None
        and r.position.fret >= UP_THE_NECK
    ]
    used = [note for note in notes if note[1] >= HARDLY_USED]
    return used or notes


def is_witness(notes: Sequence[tuple[float, float]]) -> bool:
    """Whether notes up the neck tell: one that the fit used, or two it hardly used that agree."""
    off = [cents for cents, _ in notes]
    if any(weight >= HARDLY_USED for _, weight in notes):
        return True
    return len(off) >= FEWEST_AGREEING and max(off) - min(off) <= AGREE_CENTS


def heard_on_frets(fit: Fit, number: int) -> int:
    """Return at how many frets the string was stopped without capo."""
    return len(
        {r.position.fret for r in fit.residuals if r.position.string == number and not r.position.capo}
    )


def fretted_at(fit: Fit, number: int, frets: int) -> bool:
    """Whether an ordinary note at one of the first frets was heard."""
    return any(
        r.position.string == number
        and r.position.stop is Stop.FRET
        and 1 <= (r.position.fret or 0) <= frets
        and r.weight >= HARDLY_USED
        for r in fit.residuals
    )
