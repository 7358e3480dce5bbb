"""Plays an instrument: any take on demand, in any order, as a pitch; and files its slots between passes.

Conventions: as in ``instruments``. A take is a ``Place``; what a hand does differently from take to take comes
from the generator the player is given. Nothing is rounded.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from .instruments import Hand, StringTruth, Truth
from .string_fe import Lie, Rest, Support, end_turn, rest, sounding_length

SADDLE_BREAK_RAD = 0.25  # from memory; the same open and stopped
PAD_MM = 8.0  # width of a fingertip
PAD_PARTS = 5
CAPO_N, CAPO_BEHIND_MM, CAPO_HALF_MM = 12.0, 6.0, 3.0  # on each string; from memory
CAPO_SHARE = 0.25  # of the string behind a capo, how much shares a stretch before it
BUZZ_MM = 0.008  # so near the gap a leaf makes the string buzz: it is heard as either note, off by some cents
BUZZ_CENTS = 8.0
BEYOND = 3  # frets beyond the stopped one that the string could touch
FORCE_RISES_FROM_N, FORCE_POWER = 75.0, 0.7  # tighter strings are pressed harder; from the fixtures


@dataclass(frozen=True)
class Place:
    """A take: ``stop`` is open, fret, press or leaf."""

    string: int
    stop: str
    fret: int | None = None
    capo: int = 0
    leaf_mm: float | None = None


@dataclass(frozen=True)
class Sounding:
    """A note before anybody's ears: pitch ratios over a string without stiffness of the bare scale length."""

    hz: float
    stretch: float
    at_rest: Rest
    inharmonicity: float


class Player:
    """One instrument in one pair of hands."""

    def __init__(self, truth: Truth, rng: np.random.Generator) -> None:
        self.truth = truth
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
            sound = self._sounding(s, Place(string, "open"), _still(self.truth.hand), self.rng)
            return sound.at_rest.height(self.truth.neck.place(1)) - self._top(s, 1)
        finger = replace(_still(self.truth.hand), finger_n=12.0)
        lie = self._sounding(s, Place(string, "fret", held), finger, self.rng)
        return lie.at_rest.height(self.truth.neck.place(1)) - self._top(s, 1)

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
        return self._sounding(s, place, self.truth.hand, self.rng).hz

    def _now(self, string: int) -> StringTruth:
        s = self.truth.string(string)
        return replace(s, slot_mm=s.slot_mm - self.filed[string])

    def _open_sound(self, string: int, capo: int) -> Sounding:
        """The open string, which no hand touches; solved once for each height of the slot."""
        known = self._open.get((string, capo))
        if known is None or known[0] != self.filed[string]:
            place = Place(string, "open", None, capo)
            sound = self._sounding(self._now(string), place, _still(self.truth.hand), self.rng)
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
        return self._sounding(s, place, _still(self.truth.hand), self.rng).hz * off

    # geometry

    def _top(self, s: StringTruth, fret: int) -> float:
        neck = self.truth.neck
        return neck.bow(neck.place(fret)) + s.fret_tops_mm[fret - 1]

    def ends(self, s: StringTruth) -> tuple[tuple[float, float], ...]:
        """Tuner, nut, saddle and the string's end behind it: places and heights of the open string."""
        neck = self.truth.neck
        nut_x = -s.nut_mm
        one, three = neck.place(1), neck.place(3)
        line = (self._top(s, 3) - self._top(s, 1)) / (three - one)
        nut_y = s.slot_mm + self._top(s, 1) + line * (nut_x - one)
        # the saddle's height does not change when the nut is filed: the action is that of the unfiled slot
        first = replace(s, slot_mm=self.truth.string(s.number).slot_mm)
        nut_0 = nut_y + first.slot_mm - s.slot_mm
        saddle_x = neck.scale_mm + s.saddle_back_mm
        x12 = neck.place(12)
        y12 = self._top(s, 12) + s.action_mm
        saddle_y = nut_0 + (y12 - nut_0) * (saddle_x - nut_x) / (x12 - nut_x)
        slope = (saddle_y - nut_y) / (saddle_x - nut_x)
        # the post stays where it is: filing the slot takes from the break angle what it takes from the height
        rise_0 = (saddle_y - nut_0) / (saddle_x - nut_x)
        return (
            (nut_x - s.tuner_mm, nut_0 - (rise_0 + neck.break_rad) * s.tuner_mm),
            (nut_x, nut_y),
            (saddle_x, saddle_y),
            (saddle_x + s.ball_mm, saddle_y + (slope - SADDLE_BREAK_RAD) * s.ball_mm),
        )

    def _frets(self, s: StringTruth, last: int, raised: float) -> list[Support]:
        """Frets up to ``last``; ``raised`` is a leaf on the first."""
        found = []
        for fret in range(1, last + 1):
            x, top = self.truth.neck.place(fret), self._top(s, fret) + (raised if fret == 1 else 0.0)
            if s.flat_mm > 0:
                half = s.flat_mm / 2
                found += [
                    Support(x - half, top, name=f"fret {fret} behind"),
                    Support(x + half, top, name=f"fret {fret}"),
                ]
            else:
                found.append(Support(x, top, name=f"fret {fret}"))
        return found

    def _board(self, s: StringTruth, x: float, fret: int, parts: int, name: str) -> Support:
        neck = self.truth.neck
        top = neck.bow(x) - neck.fret_mm + s.board_mm[fret - 1]
        return Support(x, top, give=neck.board_give * s.tension_n * parts, name=name)

    def _space(self, fret: int, s: StringTruth) -> tuple[float, float]:
        neck = self.truth.neck
        return (-s.nut_mm if fret == 1 else neck.place(fret - 1)), neck.place(fret)

    # stops

    def _finger(
        self, s: StringTruth, fret: int, hand: Hand, rng: np.random.Generator
    ) -> tuple[list[tuple[float, float]], list[Support]]:
        """Load of a fingertip behind a fret and the board under it."""
        start, end = self._space(fret, s)
        behind = min(hand.finger_mm, 0.40 * (end - start))
        behind += hand.finger_place_sd_mm * float(rng.standard_normal())
        pad = min(PAD_MM, 0.6 * (end - start))
        middle = float(np.clip(end - behind, start + pad / 2 + 1, end - pad / 2 - 0.8))
        scatter = hand.finger_sd * float(np.clip((s.tension_n / 80) ** 0.45, 0.5, 2.0))
        force = hand.finger_n * max(1.0, s.tension_n / FORCE_RISES_FROM_N) ** FORCE_POWER
        force *= math.exp(scatter * float(rng.standard_normal()))
        spots = middle + pad * (np.arange(PAD_PARTS) - (PAD_PARTS - 1) / 2) / PAD_PARTS
        weight = np.cos((spots - middle) / pad * np.pi)
        weight /= weight.sum()
        loads = [(float(x), float(force / s.tension_n * w)) for x, w in zip(spots, weight, strict=True)]
        return loads, [self._board(s, x, fret, PAD_PARTS, f"finger {i}") for i, (x, _) in enumerate(loads)]

    def _rod(
        self, s: StringTruth, fret: int, hand: Hand, rng: np.random.Generator
    ) -> tuple[list[tuple[float, float]], list[Support], float, float]:
        """Load of a rod in the middle of a space, the board under it, its force and the path of a side push."""
        start, end = self._space(fret, s)
        middle = (self._space(1, replace(s, nut_mm=0.0))[0] if fret == 1 else start) / 2 + end / 2
        x = middle + hand.rod_off_mm + hand.rod_sd_mm * float(rng.standard_normal())
        half = hand.rod_half_mm
        x = float(np.clip(x, start + half + 2, end - half - 2))
        needed = self._brings_down(s, fret, x)
        ratio = hand.rod_down + hand.rod_down_sd * float(rng.standard_normal())
        if hand.rod_down > 1:
            ratio = max(1.10, ratio)
        force = needed * max(0.3, ratio)
        parts = [x - half, x, x + half]
        loads = [(p, force / s.tension_n / 3) for p in parts]
        side = hand.side_sd_mm * float(rng.standard_normal())
        extra = side**2 / 2 * (1 / (x - start) + 1 / (end - x))
        return loads, [self._board(s, p, fret, 3, f"rod {i}") for i, p in enumerate(parts)], force, extra

    def _brings_down(self, s: StringTruth, fret: int, x: float) -> float:
        """Force at x that just brings the string to the board. [N]"""
        board = self._board(s, x, fret, 1, "").top
        held = (*self.ends(s), (x, board))
        shown = rest(Lie(held, tuple(self._frets(s, fret + 1, 0.0))), bend_mm=s.bend_mm)
        return s.tension_n * shown.pull[x]

    def _capo(self, s: StringTruth, fret: int) -> tuple[list[tuple[float, float]], list[Support]]:
        start, end = self._space(fret, s)
        x = end - min(CAPO_BEHIND_MM, 0.4 * (end - start))
        parts = [x - CAPO_HALF_MM / 2, x, x + CAPO_HALF_MM / 2]
        loads = [(p, CAPO_N / s.tension_n / 3) for p in parts]
        return loads, [self._board(s, p, fret, 3, f"capo {i}") for i, p in enumerate(parts)]

    def _sounding(self, s: StringTruth, place: Place, hand: Hand, rng: np.random.Generator) -> Sounding:
        """Solve the string at rest, its tension with it, and let it sound."""
        ends = self.ends(s)
        loads: list[tuple[float, float]] = []
        boards: list[Support] = []
        force, at, aside = 0.0, 0.0, 0.0
        if place.capo:
            loads, boards = self._capo(s, place.capo)
        if place.stop == "fret":
            assert place.fret is not None
            more, under = self._finger(s, place.fret, hand, rng)
            loads, boards = loads + more, boards + under
        elif place.stop == "press":
            assert place.fret is not None
            more, under, force, aside = self._rod(s, place.fret, hand, rng)
            loads, boards, at = loads + more, boards + under, more[1][0]
        stop = place.fret if place.fret is not None else place.capo
        last = min(len(s.fret_tops_mm), max(stop, place.capo) + BEYOND)
        supports = self._frets(s, last, place.leaf_mm or 0.0) + boards
        if force and self.truth.neck.bend_n_m2:
            sag, longer = self._sag(at, force)
            ends = tuple((x, y - sag(x)) for x, y in ends[:2]) + ends[2:]
            supports = [replace(p, top=p.top - sag(p.x)) for p in supports]
            aside += longer
        base = self._base(s, place.capo)
        grip = _capo_middle(loads) if place.capo else -math.inf
        scatter = 1 + (hand.slide_sd * float(rng.standard_normal()) if place.stop != "open" else 0.0)
        stretch, tension = base.stretch, base.tension
        for _ in range(2 if loads or place.leaf_mm else 1):
            shown = rest(
                Lie(ends, tuple(supports), tuple(loads)), bend_mm=s.bend_mm, tension=tension
            )
            more_path = shown.path_mm(grip) - base.path_mm + aside
            stretch = base.stretch + more_path * scatter * (1 - s.fret_grip) / base.share_mm
            tension = 1 + s.stretch * stretch
        return self._heard(s, place, shown, loads, stretch=stretch, tension=tension)

    def _base(self, s: StringTruth, capo: int) -> _Base:
        """What a stop is measured from: the open string, or the string under a capo and what still shares."""
        ends = self.ends(s)
        open_at_rest = rest(
            Lie(ends, tuple(self._frets(s, BEYOND, 0.0))), bend_mm=s.bend_mm
        )
        length = math.dist(ends[1], ends[2])
        base = _Base(open_at_rest.path_mm(), length + s.tails_mm, 0.0, 1.0)
        if not capo:
            return base
        loads, boards = self._capo(s, capo)
        supports = tuple(self._frets(s, min(len(s.fret_tops_mm), capo + BEYOND), 0.0) + boards)
        shown = rest(Lie(ends, supports, tuple(loads)), bend_mm=s.bend_mm)
        stretch = (shown.path_mm() - base.path_mm) / base.share_mm
        grip = _capo_middle(loads)
        share = ends[2][0] - grip + s.tails_mm * s.ball_mm / (s.ball_mm + s.tuner_mm)
        share += CAPO_SHARE * (grip - ends[0][0])
        shown = rest(Lie(ends, supports, tuple(loads)), bend_mm=s.bend_mm, tension=1 + s.stretch * stretch)
        return _Base(shown.path_mm(grip), share, stretch, 1 + s.stretch * stretch)

    def _heard(
        self,
        s: StringTruth,
        place: Place,
        shown: Rest,
        loads: list[tuple[float, float]],
        *,
        stretch: float,
        tension: float,
    ) -> Sounding:
        """The note of the string at rest: from its last support to the saddle."""
        ends = self.ends(s)
        beyond = end_turn(s.ball_mm, bend_mm=s.bend_mm, tension=tension, clamped=False)
        stop = place.fret if place.fret is not None else place.capo
        if stop:
            x = self._leaves(s, shown, stop)
            start = (x, shown.height(x))
            held = max((p for p, _ in loads if p < x), default=ends[1][0])
            turn = end_turn(
                x - held, bend_mm=s.bend_mm, tension=tension, clamped=place.stop == "press"
            )
        else:
            start = ends[1]
            turn = end_turn(s.tuner_mm, bend_mm=s.bend_mm, tension=tension, clamped=False)
        length, _ = sounding_length(
            math.dist(start, ends[2]), (turn, beyond), bend_mm=s.bend_mm, tension=tension
        )
        bare = self._bare(s)
        hz = s.wire.hz * bare / length * math.sqrt(tension * (1 + stretch))
        return Sounding(hz, stretch, shown, math.pi**2 * s.bend_mm**2 / tension / length**2)

    def _bare(self, s: StringTruth) -> float:
        """Sounding length of the open string as it was strung: the note is tuned on it."""
        ends = self.ends(s)
        turns = (
            end_turn(s.tuner_mm, bend_mm=s.bend_mm, clamped=False),
            end_turn(s.ball_mm, bend_mm=s.bend_mm, clamped=False),
        )
        return sounding_length(math.dist(ends[1], ends[2]), turns, bend_mm=s.bend_mm)[0]

    def _leaves(self, s: StringTruth, shown: Rest, stop: int) -> float:
        """Where the sounding part begins: the last fret, from the stopped one on, on which the string lies."""
        names = [n for n in shown.push if n.startswith("fret") and shown.push[n] > 0]
        numbers = [int(n.split()[1]) for n in names if int(n.split()[1]) >= stop]
        last = max(numbers, default=stop)
        x = self.truth.neck.place(last)
        if s.flat_mm <= 0:
            return x
        front = f"fret {last}"
        return x + s.flat_mm / 2 if front in shown.push else x - s.flat_mm / 2

    def _sag(self, at: float, force_n: float) -> tuple[_Sag, float]:
        """How a neck under the rod bends: down, by the place, and by how much the string's way grows."""
        neck = self.truth.neck
        sag = _Sag(at, force_n, neck.support_mm, neck.body_mm, neck.bend_n_m2 * 1e6)
        return sag, neck.above_axis_mm * sag.turn()


@dataclass(frozen=True)
class _Base:
    """Path and stretch a stop adds to, and the length that shares what it adds."""

    path_mm: float
    share_mm: float
    stretch: float
    tension: float


@dataclass(frozen=True)
class _Sag:
    """A neck as a beam clamped at the body, propped at a support (0: none), loaded at one place. [mm, N]"""

    at: float
    force: float
    support: float
    body: float
    stiffness: float  # [N mm2]

    def _unit(self, load: float, x: float) -> float:
        """Deflection at x for a unit force at ``load``: the integral of (t - load)(t - x) from there to the body."""
        low = min(self.body, max(load, x))
        whole = self.body

        def at(t: float) -> float:
            return t**3 / 3 - (load + x) * t**2 / 2 + load * x * t

        return (at(whole) - at(low)) / self.stiffness

    def _prop(self) -> float:
        if self.support <= 0 or self.support >= self.body:
            return 0.0
        return self.force * self._unit(self.at, self.support) / self._unit(self.support, self.support)

    def __call__(self, x: float) -> float:
        if x >= self.body:
            return 0.0
        return self.force * self._unit(self.at, x) - self._prop() * self._unit(self.support, x)

    def turn(self) -> float:
        """Angle by which the nut's end turns back: the moment over the stiffness, summed. [rad]"""

        def area(load: float) -> float:
            return (self.body - load) ** 2 / 2 / self.stiffness

        prop = self._prop()
        return self.force * area(self.at) - (prop * area(self.support) if prop else 0.0)


def _capo_middle(loads: list[tuple[float, float]]) -> float:
    return loads[1][0]


def _still(hand: Hand) -> Hand:
    """The same hand without any scatter."""
    return replace(
        hand,
        rod_sd_mm=0.0,
        side_sd_mm=0.0,
        rod_down_sd=0.0,
        finger_sd=0.0,
        finger_place_sd_mm=0.0,
        slide_sd=0.0,
        drift_cents=0.0,
        reading_cents=0.0,
    )
