"""Strings that are all off their notes, in English, and what was made of it: no capital, no full stop."""

from __future__ import annotations

from pitchcheck.instrument import Instrument
from pitchcheck.tuning import CONCERT_A4_HZ

CAPO_CENTS = 80.0  # [cent] all strings sharper than this: more often a capo than a tuning; our choice


def retuned_words(instrument: Instrument, offset_cents: float) -> str:
    """Return an offset that all strings share and what was made of it.

    Parameters
    ----------
    instrument : Instrument
        As it was retuned (``retuning.retune``).
    offset_cents : float
        + = sharp of the notes that were given. [cent]
    """
    size = abs(offset_cents)
    side = "flat" if offset_cents < 0 else "sharp"
    notes = ", ".join(spec.note for spec in instrument.strings)
    a4_hz = instrument.strings[0].a4_hz
    reference = f" at A4 = {a4_hz:.1f} Hz" if a4_hz != CONCERT_A4_HZ else ""
    capo = "; if a capo was on, say so in the list of takes" if offset_cents > CAPO_CENTS else ""
    return (
        f"all strings are about {size:.0f} cents {side} of their notes: measured as tuned to "
        f"{notes}{reference}, with the tension that goes with it{capo}"
    )
