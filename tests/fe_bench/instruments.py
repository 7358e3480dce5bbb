"""Draws instruments: their true geometry and strings, level or with the faults that workshops meet.

Conventions: mm, N; x from the line where the nut's front edge should be towards the saddle, y = 0 the plane
of the fret tops before relief. Ranges are those of the sixty fixture instruments (slots, scales, frets,
tails, angles, saddles: their ``truth.json``) or common practice, no source, where the fixtures do not tell.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

from .kinds import BRONZE, KINDS, NYLON, PLAIN, SILVER, Wire

FRETS = 15  # that have a height of their own; further ones are never reached
STEEL_PA, STEEL_DENSITY, BRONZE_DENSITY = 207e9, 7861.0, 8858.0  # spring-material tables: A228, B159
NYLON_DENSITY, WOUND_NYLON_DENSITY = 1000.0, 5200.0  # stretched, by nominal gauge: Anderson, Beausoleil 2024
MM_PER_INCH = 25.4


@dataclass(frozen=True)
class StringTruth:
    """One string as it is.

    Attributes
    ----------
    slot_mm : underside at the front edge above the line through the tops of frets 1 and 3 under this string
    nut_mm : how far the front edge on which it bears lies from its place, + away from fret 1
    stretch : EA/T of the open string
    bend_mm : sqrt(EI/T)
    tension_n : of the open string
    tails_mm : length beyond nut and saddle that shares the stretch, as far as friction lets it
    tuner_mm, ball_mm : whole length beyond nut and saddle
    fret_tops_mm, board_mm : of frets 1, 2, ... and of the board in spaces 1, 2, ... under it, off the
        plane and off the board's own plane
    flat_mm : width of a flat on a fret's top
    """

    number: int
    wire: Wire
    slot_mm: float
    action_mm: float
    saddle_back_mm: float
    nut_mm: float
    stretch: float
    bend_mm: float
    tension_n: float
    tails_mm: float
    tuner_mm: float
    ball_mm: float
    tuned_cents: float
    fret_tops_mm: tuple[float, ...]
    board_mm: tuple[float, ...]
    flat_mm: float = 0.0
    fret_grip: float = 0.0  # part of a stretch behind the sounding fret that does not come over it


@dataclass(frozen=True)
class Neck:
    """What all strings share. ``bend_n_m2`` 0: a neck that does not bend; ``support_mm`` from the nut."""

    scale_mm: float
    fret_mm: float
    relief_mm: float
    break_rad: float
    fret_places_mm: tuple[float, ...]
    nut_mm: float
    board_give: float  # [mm/N]
    bend_n_m2: float = 0.0
    support_mm: float = 0.0
    body_mm: float = 0.0
    above_axis_mm: float = 12.0

    def place(self, fret: int) -> float:
        """Place of a fret, with its error."""
        exact = self.scale_mm * (1 - 2 ** (-fret / 12))
        return float(exact + (self.fret_places_mm[fret - 1] if fret <= len(self.fret_places_mm) else 0.0))

    def bow(self, x: float) -> float:
        """Height of the plane of the frets at x: relief is its sag between fret 1 and the body's fret 14."""
        a, b = self.scale_mm * (1 - 2 ** (-1 / 12)), self.scale_mm * (1 - 2 ** (-14 / 12))
        return -4 * self.relief_mm * (x - a) * (b - x) / (b - a) ** 2


@dataclass(frozen=True)
class Hand:
    """How somebody plays. Scatters are standard deviations from take to take.

    The rod pushes with ``rod_over_n`` more than brings the string to the board; or, where ``rod_down`` is
    below 1, with that part of it, and the string stays above the board.
    """

    rod_sd_mm: float = 0.7
    rod_off_mm: float = 0.0
    side_sd_mm: float = 0.12
    rod_half_mm: float = 0.6
    rod_down: float = 1.0
    rod_over_n: float = 8.0
    rod_over_sd: float = 0.3  # of its logarithm
    finger_n: float = 5.8
    finger_sd: float = 0.30  # of its logarithm
    finger_mm: float = 9.0
    finger_place_sd_mm: float = 1.0
    slide_sd: float = 0.0135  # relative, of the stretch from take to take: friction
    drift_cents: float = 0.10
    reading_cents: float = 0.15


CAREFUL = Hand()
CLUMSY = replace(CAREFUL, rod_sd_mm=2.1, side_sd_mm=0.36)
HOME = replace(CAREFUL, rod_sd_mm=2.5, side_sd_mm=0.30, drift_cents=0.6)
HANDS = {"careful": CAREFUL, "clumsy": CLUMSY, "home": HOME}


@dataclass(frozen=True)
class Truth:
    """An instrument and who plays it."""

    kind: str
    neck: Neck
    strings: tuple[StringTruth, ...]
    hand: Hand
    stated_action_mm: float
    pull_cents: float = 0.0  # standard deviation of what the body pulls each note by
    stated: dict[str, str] = field(default_factory=dict)  # further keys of [instrument]

    def string(self, number: int) -> StringTruth:
        return next(s for s in self.strings if s.number == number)


Slots = Callable[[np.random.Generator, int], list[float]]


def fixture_slots(rng: np.random.Generator, count: int) -> list[float]:
    """As in the fixtures: a nut that is low, fine, mixed or high."""
    low, high = ((-0.02, 0.17), (0.22, 0.48), (0.15, 1.05), (0.15, 1.05), (0.52, 1.15))[rng.integers(5)]
    return [float(v) for v in rng.uniform(low, high, count)]


def job_slots(rng: np.random.Generator, count: int) -> list[float]:
    """As they come to the bench: 0.25 to 1.2 mm."""
    return [float(v) for v in rng.uniform(0.25, 1.2, count)]


def draw(kind: str, rng: np.random.Generator, *, hand: Hand = CAREFUL, slots: Slots = fixture_slots) -> Truth:
    """Draw an instrument with level frets and a true board: single frets within about 0.02 mm."""
    made = KINDS[kind]
    scale = float(rng.choice(made.scales_mm))
    nut = float(np.clip(0.32 * rng.standard_normal(), -0.75, 0.75))
    neck = Neck(
        scale_mm=scale,
        fret_mm=float(rng.uniform(0.82, 1.28)),
        relief_mm=float(rng.uniform(0.0, 0.3)),
        break_rad=float(rng.uniform(0.05, 0.22)),
        fret_places_mm=tuple(float(v) for v in 0.04 * rng.standard_normal(FRETS)),
        nut_mm=nut,
        board_give=float(rng.uniform(0.0004, 0.0018)),
    )
    tops = tuple(float(v) for v in 0.02 * rng.standard_normal(FRETS))
    action = float(rng.uniform(*made.action_mm))
    shared = float(rng.standard_normal())
    slide = float(rng.uniform(0.1, 0.8))
    heights = slots(rng, len(made.wires))
    strings = []
    for i, (wire, height) in enumerate(zip(made.wires, heights, strict=True)):
        part = i / max(1, len(made.wires) - 1)
        post = made.tuner_mm[0] + (made.tuner_mm[1] - made.tuner_mm[0]) * (1 - abs(2 * part - 1))
        strings.append(
            _string(
                rng,
                wire,
                number=i + 1,
                neck=neck,
                height=height,
                tops=tops,
                action=action,
                shared=shared,
                tuner=float(post * rng.uniform(0.9, 1.1)),
                slide=slide,
            )
        )
    own = replace(
        hand,
        finger_n=hand.finger_n * math.exp(0.25 * float(rng.standard_normal())),
        rod_half_mm=float(np.clip(hand.rod_half_mm + 0.2 * rng.standard_normal(), 0.15, 1.5)),
    )
    return Truth(kind, neck, tuple(strings), own, action + 0.1 * float(rng.standard_normal()))


def _string(
    rng: np.random.Generator,
    wire: Wire,
    *,
    number: int,
    neck: Neck,
    height: float,
    tops: tuple[float, ...],
    action: float,
    shared: float,
    tuner: float,
    slide: float,
) -> StringTruth:
    """One string: its stretch from what it is made of, the rest at random."""
    gauge = wire.gauge_in * MM_PER_INCH
    speed = 2 * neck.scale_mm / 1000 * wire.hz
    section = math.pi / 4 * (gauge / 1000) ** 2
    own = float(rng.standard_normal())
    if wire.material == NYLON or wire.material == SILVER:
        tension = (NYLON_DENSITY if wire.material == NYLON else WOUND_NYLON_DENSITY) * section * speed**2
        stretch = 54.0 * math.exp(0.08 * shared + 0.08 * own)
        if wire.material == NYLON and rng.uniform() < 0.10:
            stretch = float(rng.uniform(75.0, 95.0))  # a treble of the light set in the same paper
        bend = gauge / 4 * math.sqrt(stretch) * wire.core * (1 + 0.05 * float(rng.standard_normal()))
    elif wire.wound:
        wrap = BRONZE_DENSITY if wire.material == BRONZE else STEEL_DENSITY
        tension = wrap * section * speed**2 * (0.94 + 0.02 * own)
        core = gauge * wire.core * (1 + 0.03 * float(rng.standard_normal()))
        stretch = STEEL_PA * math.pi / 4 * (core / 1000) ** 2 / tension * (0.985 + 0.015 * shared)
        bend = core / 4 * math.sqrt(stretch)
    else:
        tension = STEEL_DENSITY * section * speed**2
        stretch = STEEL_PA / (STEEL_DENSITY * speed**2) * (0.97 + 0.02 * shared + 0.01 * own)
        bend = gauge / 4 * math.sqrt(stretch)
    mean, spread = (1.0, 0.5) if wire.material == PLAIN else (2.2, 0.55)
    if wire.material in (NYLON, SILVER):
        mean, spread = 1.2, 0.45
    ball = float(rng.uniform(5.0, 40.0))
    return StringTruth(
        number=number,
        wire=wire,
        slot_mm=height,
        action_mm=max(0.8, action + 0.12 * float(rng.standard_normal())),
        saddle_back_mm=mean + spread * float(rng.standard_normal()),
        nut_mm=neck.nut_mm + 0.08 * float(rng.standard_normal()),
        stretch=stretch,
        bend_mm=bend,
        tension_n=tension,
        tails_mm=slide * (tuner + ball) * float(rng.uniform(0.92, 1.08)),
        tuner_mm=tuner,
        ball_mm=ball,
        tuned_cents=3.0 * float(rng.standard_normal()),
        fret_tops_mm=tops,
        board_mm=(0.0,) * FRETS,
    )
