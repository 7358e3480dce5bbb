"""Plays an instrument: any take on demand, in any order, as a pitch; and files its slots between passes.

Conventions: as in ``instruments``. What a hand does differently from take to take comes from the generator
the player is given. Nothing is rounded.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from .instruments import Hand, StringTruth, Truth
from .sounding import Place, Sounding, Strung

__all__ = ["Place", "Player", "still"]

BUZZ_MM = 0.008  # so near the gap a leaf makes the string buzz: it is heard as either note, off by some cents
BUZZ_CENTS = 8.0


class Player:
    """One instrument in one pair of hands."""

    def __init__(self, truth: Truth, rng: np.random.Generator) -> None:
        self.truth = truth
        self.strung = Strung(truth)
        self.rng = rng
        self.filed = {s.number: 0.0 for s in truth.strings}
        self._tuned = {s.number: s.tuned_cents for s in truth.strings}
        self._open: dict[tuple[int, int], tuple[float, Sounding]] = {}
        self._pulls: dict[tuple[int, int], float] = {}

    def slot_mm(self, string: int) -> float:
        """The slot height as it is now."""
        return self.truth.string(string).slot_mm - self.filed[string]

    def file(self, string: int, removed_mm: float) -> None:
        """Take that much off the floor of a slot, and bring the string to pitch again."""
        self.filed[string] += removed_mm
        self._tuned[string] = 3.0 * float(self.rng.standard_normal())

    def gap_mm(self, string: int, *, held: int | None = None) -> float:
        """Gap between fret 1 and a string, open or held behind a fret."""
        s = self._now(string)
        if held is None:
            sound = self.strung.sounding(s, Place(string, "open"), still(self.truth.hand), self.rng)
            return sound.at_rest.height(self.truth.neck.place(1)) - self.strung.top(s, 1)
        finger = replace(still(self.truth.hand), finger_n=12.0)
        lie = self.strung.sounding(s, Place(string, "fret", held), finger, self.rng)
        return lie.at_rest.height(self.truth.neck.place(1)) - self.strung.top(s, 1)

    def line_gap_mm(self, string: int) -> float:
        """Return the same, held behind fret 3, along a straight line from the slot to the top of fret 2.

        A stiff string arches over the edge of the nut, by its bending length times half the angle there; one
        that has long been strung has taken a set and arches less.
        """
        s = self._now(string)
        nut_x, nut_y = self.strung.ends(s)[1]
        one, two = self.truth.neck.place(1), self.truth.neck.place(2)
        part = (one - nut_x) / (two - nut_x)
        return nut_y + (self.strung.top(s, 2) - nut_y) * part - self.strung.top(s, 1)

    def play(self, place: Place) -> float:
        """Pitch that is read of one take. [Hz]"""
        hand, rng = self.truth.hand, self.rng
        self._tuned[place.string] += hand.drift_cents * float(rng.standard_normal())
        sounded = self.exact_hz(place)
        pull = self._pull(place.string, sounded)
        cents = self._tuned[place.string] + pull + hand.reading_cents * float(rng.standard_normal())
        return float(sounded * 2 ** (cents / 1200))

    def exact_hz(self, place: Place) -> float:
        """Pitch of the take if the string were in tune and the reading perfect; the hand is in it. [Hz]"""
        s = self._now(place.string)
        if place.stop == "open":
            return self._open_sound(place.string, place.capo).hz
        if place.stop == "leaf":
            return self._leaf_hz(s, place)
        return self.strung.sounding(s, place, self.truth.hand, self.rng).hz

    def _now(self, string: int) -> StringTruth:
        s = self.truth.string(string)
        return replace(s, slot_mm=s.slot_mm - self.filed[string])

    def _open_sound(self, string: int, capo: int) -> Sounding:
        """The open string, which no hand touches; solved once for each height of the slot."""
        known = self._open.get((string, capo))
        if known is None or known[0] != self.filed[string]:
            place = Place(string, "open", None, capo)
            sound = self.strung.sounding(self._now(string), place, still(self.truth.hand), self.rng)
            known = self._open[string, capo] = (self.filed[string], sound)
        return known[1]

    def _pull(self, string: int, hz: float) -> float:
        """By how much the body pulls the notes of one string at this semitone, always alike. [cent]"""
        if self.truth.pull_cents == 0:
            return 0.0
        semitone = round(12 * math.log2(hz / self.truth.string(string).wire.hz) - 0.1)
        key = (string, semitone)
        if key not in self._pulls:
            self._pulls[key] = self.truth.pull_cents * float(self.rng.standard_normal())
        return self._pulls[key]

    def _leaf_hz(self, s: StringTruth, place: Place) -> float:
        """Open note if the leaf lies free under the string, else the fret's."""
        assert place.leaf_mm is not None
        free = self.gap_mm(s.number) - place.leaf_mm
        off = 1.0
        if abs(free) < BUZZ_MM:
            off = 2 ** (BUZZ_CENTS * float(self.rng.standard_normal()) / 1200)
            free = float(self.rng.standard_normal())
        if free > 0:
            return self._open_sound(s.number, place.capo).hz * off
        return self.strung.sounding(s, place, still(self.truth.hand), self.rng).hz * off


def still(hand: Hand) -> Hand:
    """The same hand without any scatter."""
    return replace(
        hand,
        rod_sd_mm=0.0,
        side_sd_mm=0.0,
        rod_over_sd=0.0,
        finger_sd=0.0,
        finger_place_sd_mm=0.0,
        slide_sd=0.0,
        drift_cents=0.0,
        reading_cents=0.0,
    )
