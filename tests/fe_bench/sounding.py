"""One string of an instrument, stopped: it comes to rest, its tension with it, and sounds.

Conventions: as in ``instruments``. What a hand does differently each time comes from the generator passed in.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from .instruments import Hand, StringTruth, Truth
from .rod import Rod, Sag
from .string_fe import Lie, Rest, Support, end_turn, rest, sounding_length

SADDLE_BREAK_RAD = 0.25  # from memory; the same open and stopped
PAD_MM = 8.0  # width of a fingertip
PAD_PARTS = 5
FIRM_N, MOST_N = 1.0, 60.0  # with which a fretted string lies on its fret at least; our choice
CAPO_N, CAPO_BEHIND_MM, CAPO_HALF_MM = 12.0, 6.0, 3.0  # on each string; from memory
CAPO_SHARE = 0.25  # of the string behind a capo, how much shares a stretch before it
LIGHT_SD = 0.08  # from press to press, of a rod that does not bring the string down; our choice
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


@dataclass(frozen=True)
class _Base:
    """Path and stretch a stop adds to, and the length that shares what it adds."""

    path_mm: float
    share_mm: float
    stretch: float
    tension: float


class Strung:
    """Strings over their neck; which slots were filed is the caller's to say, in the string it asks about."""

    def __init__(self, truth: Truth) -> None:
        self.truth = truth

    def top(self, s: StringTruth, fret: int) -> float:
        neck = self.truth.neck
        return neck.bow(neck.place(fret)) + s.fret_tops_mm[fret - 1]

    def ends(self, s: StringTruth) -> tuple[tuple[float, float], ...]:
        """Tuner, nut, saddle and the string's end behind it: places and heights of the open string."""
        neck = self.truth.neck
        nut_x = -s.nut_mm
        one, three = neck.place(1), neck.place(3)
        line = (self.top(s, 3) - self.top(s, 1)) / (three - one)
        nut_y = s.slot_mm + self.top(s, 1) + line * (nut_x - one)
        # the saddle's height does not change when the nut is filed: the action is that of the unfiled slot
        first = replace(s, slot_mm=self.truth.string(s.number).slot_mm)
        nut_0 = nut_y + first.slot_mm - s.slot_mm
        saddle_x = neck.scale_mm + s.saddle_back_mm
        x12 = neck.place(12)
        y12 = self.top(s, 12) + s.action_mm
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
            x, top = self.truth.neck.place(fret), self.top(s, fret) + (raised if fret == 1 else 0.0)
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
        boards = [self._board(s, float(x), fret, PAD_PARTS, f"finger {i}") for i, x in enumerate(spots)]
        supports = (*self._frets(s, fret + BEYOND, 0.0), *boards)
        while True:  # harder until the note sounds clean: nobody plays a string that floats over its fret
            loads = [(float(x), float(force / s.tension_n * w)) for x, w in zip(spots, weight, strict=True)]
            push = rest(Lie(self.ends(s), supports, tuple(loads)), bend_mm=s.bend_mm).push
            on = sum(push.get(name, 0.0) for name in (f"fret {fret}", f"fret {fret} behind"))
            if on * s.tension_n >= FIRM_N or force > MOST_N:
                return loads, boards
            force *= 1.15

    def _rod(self, s: StringTruth, fret: int, hand: Hand, rng: np.random.Generator) -> Rod:
        """A rod set in the middle of a space: rigid, upright, its end as wide as it holds the string flat."""
        start, end = self._space(fret, s)
        middle = (0.0 if fret == 1 else start) / 2 + end / 2
        x = middle + hand.rod_off_mm + hand.rod_sd_mm * float(rng.standard_normal())
        half = hand.rod_half_mm
        x = float(np.clip(x, start + half + 2, end - half - 2))
        board = self._board(s, x, fret, 1, "")
        frets = tuple(self._frets(s, fret + BEYOND, 0.0))
        held = Lie((*self.ends(s), (x, board.top)), frets)
        base = self._base(s, 0)
        tension = 1.0
        for _ in range(2):  # what just brings it down, at the tension it then has
            shown = rest(held, bend_mm=s.bend_mm, tension=tension)
            tension = 1 + s.stretch * (shown.path_mm() - base.path_mm) / base.share_mm
        force = shown.pull[x]
        if hand.rod_down >= 1:
            force += hand.rod_over_n / s.tension_n * math.exp(hand.rod_over_sd * float(rng.standard_normal()))
        else:
            force *= max(0.3, hand.rod_down + LIGHT_SD * float(rng.standard_normal()))
        side = hand.side_sd_mm * float(rng.standard_normal())
        aside = side**2 / 2 * (1 / (x - start) + 1 / (end - x))
        return Rod(x - half, x + half, board.top, board.give, force, aside)

    def _capo(self, s: StringTruth, fret: int) -> tuple[list[tuple[float, float]], list[Support]]:
        start, end = self._space(fret, s)
        x = end - min(CAPO_BEHIND_MM, 0.4 * (end - start))
        parts = [x - CAPO_HALF_MM / 2, x, x + CAPO_HALF_MM / 2]
        loads = [(p, CAPO_N / s.tension_n / 3) for p in parts]
        return loads, [self._board(s, p, fret, 3, f"capo {i}") for i, p in enumerate(parts)]

    def sounding(self, s: StringTruth, place: Place, hand: Hand, rng: np.random.Generator) -> Sounding:
        """Solve the string at rest, its tension with it, and let it sound."""
        ends = self.ends(s)
        loads: list[tuple[float, float]] = []
        boards: list[Support] = []
        rod: Rod | None = None
        aside = 0.0
        if place.capo:
            loads, boards = self._capo(s, place.capo)
        if place.stop == "fret":
            assert place.fret is not None
            more, under = self._finger(s, place.fret, hand, rng)
            loads, boards = loads + more, boards + under
        elif place.stop == "press":
            assert place.fret is not None
            rod = self._rod(s, place.fret, hand, rng)
            aside, boards = rod.aside_mm, [*boards, *rod.under(s.bend_mm)]
        stop = place.fret if place.fret is not None else place.capo
        last = min(len(s.fret_tops_mm), max(stop, place.capo) + BEYOND)
        supports = self._frets(s, last, place.leaf_mm or 0.0) + boards
        if rod is not None and self.truth.neck.bend_n_m2:
            sag, longer = self._sag(rod.middle, rod.force * s.tension_n)
            straight = ends
            ends = tuple((x, y - sag(x)) for x, y in ends[:2]) + ends[2:]
            # A headstock turns as a whole: its piece of string grows no longer, only steeper.
            aside -= math.dist(*ends[:2]) - math.dist(*straight[:2])
            supports = [replace(p, top=p.top - sag(p.x)) for p in supports]
            rod = replace(rod, board=rod.board - sag(rod.middle))
            aside += longer
        base = self._base(s, place.capo)
        grip = loads[1][0] if place.capo else -math.inf
        scatter = 1 + (hand.slide_sd * float(rng.standard_normal()) if place.stop != "open" else 0.0)
        stretch, tension = base.stretch, base.tension
        for _ in range(2 if stop or place.leaf_mm else 1):
            lie = Lie(ends, tuple(supports), tuple(loads))
            if rod is not None:
                lie = rod.press(lie, bend_mm=s.bend_mm, tension=tension)
            shown = rest(lie, bend_mm=s.bend_mm, tension=tension)
            more_path = shown.path_mm(grip) - base.path_mm + aside
            stretch = base.stretch + more_path * scatter * (1 - s.fret_grip) / base.share_mm
            tension = 1 + s.stretch * stretch
        # behind the fret the rod's edge bears the string, or the middle of a finger or capo, which is soft
        soft = loads[-(PAD_PARTS // 2) - 1 :] if place.stop == "fret" else loads[1:2]
        held = [rod.far] if rod is not None else [x for x, _ in soft[:1]]
        return self._heard(s, place, shown, held, stretch=stretch, tension=tension)

    def _base(self, s: StringTruth, capo: int) -> _Base:
        """What a stop is measured from: the open string, or the string under a capo and what still shares."""
        ends = self.ends(s)
        open_at_rest = rest(Lie(ends, tuple(self._frets(s, BEYOND, 0.0))), bend_mm=s.bend_mm)
        length = math.dist(ends[1], ends[2])
        base = _Base(open_at_rest.path_mm(), length + s.tails_mm, 0.0, 1.0)
        if not capo:
            return base
        loads, boards = self._capo(s, capo)
        supports = tuple(self._frets(s, min(len(s.fret_tops_mm), capo + BEYOND), 0.0) + boards)
        shown = rest(Lie(ends, supports, tuple(loads)), bend_mm=s.bend_mm)
        stretch = (shown.path_mm() - base.path_mm) / base.share_mm
        grip = loads[1][0]
        share = ends[2][0] - grip + s.tails_mm * s.ball_mm / (s.ball_mm + s.tuner_mm)
        share += CAPO_SHARE * (grip - ends[0][0])
        shown = rest(Lie(ends, supports, tuple(loads)), bend_mm=s.bend_mm, tension=1 + s.stretch * stretch)
        return _Base(shown.path_mm(grip), share, stretch, 1 + s.stretch * stretch)

    def _heard(
        self,
        s: StringTruth,
        place: Place,
        shown: Rest,
        held_at: list[float],
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
            held = max((p for p in held_at if p < x), default=ends[1][0])
            turn = end_turn(x - held, bend_mm=s.bend_mm, tension=tension, clamped=place.stop == "press")
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
        """Where the sounding part begins: the last fret, from the stopped one on, that carries the string."""
        names = [n for n in shown.push if n.startswith("fret") and shown.push[n] > 0]
        numbers = [int(n.split()[1]) for n in names if int(n.split()[1]) >= stop]
        last = max(numbers, default=stop)
        x = self.truth.neck.place(last)
        if s.flat_mm <= 0:
            return x
        front = f"fret {last}"
        return x + s.flat_mm / 2 if front in shown.push else x - s.flat_mm / 2

    def _sag(self, at: float, force_n: float) -> tuple[Sag, float]:
        """How a neck under the rod bends: down, by the place, and by how much the string's way grows."""
        neck = self.truth.neck
        sag = Sag(at, force_n, neck.support_mm, neck.body_mm, neck.bend_n_m2 * 1e6)
        return sag, neck.above_axis_mm * sag.turn()
