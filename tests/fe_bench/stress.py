"""What instruments and hands do that nobody modelled: each effect alone, and mixtures.

An effect changes a drawn instrument; the truth it is judged by changes with it (dented frets are the frets
the slot height counts from). ``part`` scales an effect: 1 alone, less in a mixture. Sizes are those the
project set itself to stand; where they come from a workshop they are common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from .instruments import FRETS, StringTruth, Truth
from .kinds import NYLON, SILVER

Effect = Callable[[Truth, np.random.Generator, float], Truth]


def _strings(truth: Truth, change: Callable[[StringTruth], StringTruth]) -> Truth:
    return replace(truth, strings=tuple(change(s) for s in truth.strings))


def light_press(truth: Truth, rng: np.random.Generator, part: float) -> Truth:
    """The rod does not bring the string down: 0.55 to 0.9 of the force that would."""
    down = float(rng.uniform(0.55, 0.90))
    return replace(truth, hand=replace(truth.hand, rod_down=1 - part * (1 - down)))


def uneven_board(truth: Truth, rng: np.random.Generator, part: float) -> Truth:
    """The board is not parallel under the frets: 0.04 mm in each space for all strings, 0.02 for each."""
    shared = 0.04 * part * rng.standard_normal(FRETS)
    return _strings(
        truth,
        lambda s: replace(s, board_mm=tuple((shared + 0.02 * part * rng.standard_normal(FRETS)).tolist())),
    )


def unsupported_neck(truth: Truth, rng: np.random.Generator, part: float) -> Truth:
    """Nothing under the neck where the rod presses: it bends from the body (fret 14) on.

    The stiffness of a wooden neck of 50 by 20 mm with a rod in it, 250 to 500 N m2, by the beam formula.
    """
    scale = truth.neck.scale_mm
    neck = replace(
        truth.neck,
        bend_n_m2=float(rng.uniform(250.0, 500.0)) / part,
        body_mm=scale * (1 - 2 ** (-14 / 12)),
        support_mm=0.0,
    )
    return replace(truth, neck=neck)


def ordinary_frets(truth: Truth, rng: np.random.Generator, part: float) -> Truth:
    """Frets as an instrument comes with them: single ones off by 0.04 mm."""
    more = math.sqrt(max(0.0, (0.04 * part) ** 2)) * rng.standard_normal(FRETS)
    return _strings(
        truth, lambda s: replace(s, fret_tops_mm=tuple((np.array(s.fret_tops_mm) + more).tolist()))
    )


def slippery_nut(truth: Truth, rng: np.random.Generator, part: float) -> Truth:
    """Strings slide freely over nut and saddle: all of the string beyond them shares the stretch."""

    def change(s: StringTruth) -> StringTruth:
        whole = s.tuner_mm + s.ball_mm
        return replace(s, tails_mm=s.tails_mm + part * (whole - s.tails_mm))

    return _strings(_inline(truth, rng) if part >= 1 else truth, change)


def _inline(truth: Truth, rng: np.random.Generator) -> Truth:
    """All tuners on one side, half the time: 40 mm from the nut for the nearest, 190 for the farthest."""
    if rng.uniform() < 0.5:
        return truth
    count = len(truth.strings)
    ends = (40.0, 190.0) if truth.neck.scale_mm > 500 else (35.0, 110.0)
    return _strings(
        truth, lambda s: replace(s, tuner_mm=ends[1] + (ends[0] - ends[1]) * (s.number - 1) / (count - 1))
    )


def stiff_nylon(truth: Truth, rng: np.random.Generator, part: float) -> Truth:
    """Nylon 1.6 times as stiff in stretch as usual, the whole set."""
    times = 1 + 0.6 * part

    def change(s: StringTruth) -> StringTruth:
        if s.wire.material not in (NYLON, SILVER):
            return s
        return replace(s, stretch=s.stretch * times, bend_mm=s.bend_mm * math.sqrt(times))

    return _strings(truth, change)


def rod_aside(truth: Truth, rng: np.random.Generator, part: float) -> Truth:
    """The rod always stands 3 mm from the middle of the space, to one side or the other."""
    return replace(truth, hand=replace(truth.hand, rod_off_mm=3.0 * part * float(rng.choice([-1.0, 1.0]))))


def body_pull(truth: Truth, rng: np.random.Generator, part: float) -> Truth:
    """The body pulls every note of a string by its own 0.6 cent, the open one too."""
    return replace(truth, pull_cents=0.6 * part)


def odd_relief(truth: Truth, rng: np.random.Generator, part: float) -> Truth:
    """A relief of 0.6 mm or a back-bow of 0.15 that nobody entered."""
    there = float(rng.choice([0.6, -0.15]))
    neck = replace(truth.neck, relief_mm=truth.neck.relief_mm + part * (there - truth.neck.relief_mm))
    return replace(truth, neck=neck)


def dented_frets(truth: Truth, rng: np.random.Generator, part: float) -> Truth:
    """Dents under the strings in frets 1 to 4: 0 to 0.10 mm, each its own."""
    return _strings(truth, lambda s: _lower(s, 0.10 * part * rng.uniform(0, 1, 4)))


def worn_frets(truth: Truth, rng: np.random.Generator, part: float) -> Truth:
    """Frets 1 to 4 worn as they are played: the first most, 0.05 to 0.15 mm, all strings nearly alike."""
    deep = rng.uniform(0.05, 0.15) * part * np.array([1.0, 0.8, 0.6, 0.4])
    return _strings(truth, lambda s: _lower(s, deep * rng.uniform(0.7, 1.3, 4)))


def flat_frets(truth: Truth, rng: np.random.Generator, part: float) -> Truth:
    """Tops levelled and not crowned again: a flat of 0.8 to 1.6 mm."""
    flat = float(rng.uniform(0.8, 1.6)) * part
    return _strings(truth, lambda s: replace(s, flat_mm=flat))


def _lower(s: StringTruth, deep: np.ndarray) -> StringTruth:
    tops = np.array(s.fret_tops_mm)
    tops[: deep.size] -= deep
    return replace(s, fret_tops_mm=tuple(tops.tolist()))


def drifting(truth: Truth, rng: np.random.Generator, part: float) -> Truth:
    """The tuning walks by 1.5 cents a take."""
    return replace(truth, hand=replace(truth.hand, drift_cents=1.5 * part))


def sticky_frets(truth: Truth, rng: np.random.Generator, part: float) -> Truth:
    """Friction at the sounding fret keeps back 2 to 5 % of a stretch, each string its own."""
    return _strings(truth, lambda s: replace(s, fret_grip=part * float(rng.uniform(0.02, 0.05))))


SINGLE: dict[str, tuple[Effect, ...]] = {
    "press not down": (light_press,),
    "uneven board": (uneven_board,),
    "neck unsupported": (unsupported_neck,),
    "ordinary frets, slippery nut": (ordinary_frets, slippery_nut),
    "nylon 1.6 times as stiff": (stiff_nylon,),
    "rod 3 mm aside": (rod_aside,),
    "notes pulled by the body": (body_pull,),
    "relief 0.6 or back-bow": (odd_relief,),
    "dented frets": (dented_frets,),
    "worn frets": (worn_frets,),
    "flat-topped frets": (flat_frets,),
    "drift of 1.5 cents a take": (drifting,),
}
NYLON_ONLY = ("nylon 1.6 times as stiff",)
# A mixture: each effect with its part, drawn between nothing and twice that.
MILD: tuple[tuple[Effect, float], ...] = (
    (uneven_board, 0.35),
    (ordinary_frets, 0.5),
    (slippery_nut, 0.5),
    (stiff_nylon, 0.25),
    (rod_aside, 0.3),
    (body_pull, 0.35),
    (odd_relief, 0.25),
    (worn_frets, 0.25),
    (drifting, 0.15),
    (sticky_frets, 0.4),
)
HARD: tuple[tuple[Effect, float], ...] = (
    (uneven_board, 0.8),
    (ordinary_frets, 0.8),
    (slippery_nut, 0.9),
    (stiff_nylon, 0.6),
    (rod_aside, 0.6),
    (body_pull, 0.7),
    (odd_relief, 0.5),
    (dented_frets, 0.5),
    (worn_frets, 0.4),
    (drifting, 0.3),
    (sticky_frets, 0.8),
    (unsupported_neck, 0.12),
)
MIXTURES = {"mild mixture": MILD, "hard mixture": HARD}
SETS = ("plain", *SINGLE, *MIXTURES)


def apply(name: str, truth: Truth, rng: np.random.Generator) -> Truth:
    """Return the instrument as the set of that name has it; "plain" leaves it as it was drawn."""
    if name == "plain":
        return truth
    if name in SINGLE:
        for effect in SINGLE[name]:
            truth = effect(truth, rng, 1.0)
        return truth
    for effect, part in MIXTURES[name]:
        truth = effect(truth, rng, part * float(rng.uniform(0.3, 1.5)))
    return truth
