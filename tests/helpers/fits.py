"""Made-up fits and surveys for tests of diagnosis, plan and chords; nothing here was ever heard.

Conventions: curves follow constant finger depth, (height + depth)^2 at fret 1, as docs/method.md says; the
instrument is imaginary.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pitchcheck.fit.belief import Belief
from pitchcheck.fit.result import Fit, MeterResidual, Residual, StringFit
from pitchcheck.instrument import Instrument, MeterReading, Nut, SessionSettings, StringSpec, Target
from pitchcheck.survey import Survey, build_survey
from pitchcheck.takes import Position, Stop, Take
from pitchcheck.tuning import fret_place
from pitchcheck.types import FloatArray
from pitchcheck.units import CENTS_PER_LOG

SCALE_MM = 648.0
NOTES = ("E4", "B3", "G3", "D3", "A2", "E2")
STRETCH = (144.0, 257.0, 408.0, 290.0, 300.0, 310.0)
_GAUGES_MM = (0.254, 0.330, 0.432, 0.660, 0.914, 1.168)


def make_job(
    notes: Sequence[str] = NOTES,
    *,
    nut: Nut = Nut.SLOTTED,
    target: Target | None = None,
    target_heights: dict[int, float] | None = None,
    meter: tuple[MeterReading, ...] = (),
) -> SessionSettings:
    """Build a job; the first three strings are plain."""
    heights = target_heights or {}
    specs = tuple(
        StringSpec(i + 1, note, _GAUGES_MM[i % 6], "plain steel", i >= 3, target_height_mm=heights.get(i + 1))
        for i, note in enumerate(notes)
    )
    instrument = Instrument("made up", SCALE_MM, specs, nut=nut)
    return SessionSettings(instrument, target=target or Target(), meter=meter)


def neck_cents(height_mm: float, *, touch_mm: float = 0.2, stretch_factor: float = 144.0) -> FloatArray:
    """Errors at frets 1 to 12 of one string, saddle and stiffness left out. [cent]"""
    places = np.array([fret_place(SCALE_MM, n) for n in range(1, 13)])
    path = np.sign(height_mm + touch_mm) * (height_mm + touch_mm) ** 2 / (2 * places)
    return np.asarray(0.5 * CENTS_PER_LOG * stretch_factor * path / SCALE_MM, dtype=np.float64)


@dataclass(frozen=True)
class Made:
    """What a test wants of one string."""

    height_mm: float
    sd_mm: float = 0.03
    pressed: bool = True
    gauged: bool = False
    touch_mm: float = 0.2
    first_fret_cents: float | None = None  # None: as the curve says
    nut_offset_mm: tuple[float, float] = (0.0, 0.05)
    fret_12_cents: float = 0.0


def make_fit(
    strings: Sequence[Made | None],
    *,
    targets_mm: Sequence[float] | float = 0.4,
    correlation: float = 0.3,
    nut_offset_mm: tuple[float, float] = (0.0, 0.05),
    touch_mm: tuple[float, float] = (0.2, 0.03),
    residuals: tuple[Residual, ...] | None = None,
    meter: tuple[MeterResidual, ...] = (),
) -> Fit:
    """Build a fit from slot heights; None leaves a string unmeasured. Pairs are mean and sd.

    Without ``residuals`` frets 1, 2, 3 and 12 of every string were heard just as expected.
    """
    fits: list[StringFit] = []
    sds: list[float] = []
    for i, made in enumerate(strings):
        if made is None:
            continue
        aim = targets_mm if isinstance(targets_mm, float) else targets_mm[i]
        stretch_factor = STRETCH[i % 6]
        now = neck_cents(made.height_mm, touch_mm=made.touch_mm, stretch_factor=stretch_factor)
        then = neck_cents(aim, touch_mm=made.touch_mm, stretch_factor=stretch_factor)
        touch = now - neck_cents(made.height_mm, touch_mm=0.0, stretch_factor=stretch_factor)
        now[11] = then[11] = made.fret_12_cents + touch[11]  # what fret 12 sounds under a light touch
        heard = float(now[0]) if made.first_fret_cents is None else made.first_fret_cents
        fits.append(
            StringFit(
                number=i + 1,
                height_mm=Belief.normal(made.height_mm, made.sd_mm),
                stretch_factor=Belief.normal(stretch_factor, 0.03 * stretch_factor),
                saddle_mm=Belief.normal(1.8, 0.3),
                nut_offset_mm=Belief.normal(*made.nut_offset_mm),
                pressed=made.pressed,
                gauged=made.gauged,
                first_fret_cents=(heard, 0.5),
                neck_now_cents=now,
                neck_target_cents=then,
                neck_touch_cents=touch,
            )
        )
        sds.append(made.sd_mm)
    outer = np.outer(sds, sds)
    return Fit(
        strings=tuple(fits),
        fret_height_mm=Belief.normal(1.05, 0.03),
        nut_offset_mm=Belief.normal(*nut_offset_mm),
        touch_mm=Belief.normal(*touch_mm),
        height_covariance_mm2=correlation * outer + (1 - correlation) * np.diag(np.diag(outer)),
        residuals=_heard_as_expected([fit.number for fit in fits]) if residuals is None else residuals,
        meter=meter,
        unseparated=(),
        remarks=(),
    )


def _heard_as_expected(numbers: Sequence[int]) -> tuple[Residual, ...]:
    return tuple(
        Residual(Position(number, Stop.FRET, fret), row, 5.0, 5.0, 0.5, 1.0)
        for row, (number, fret) in enumerate(((n, f) for n in numbers for f in (1, 2, 3, 12)), 1)
    )


EMPTY_SURVEY = Survey((), np.zeros((0, 0)), (), ())


def open_session(
    opens_cents: Sequence[Sequence[float]], *, stops: Sequence[Position] | None = None, sd_cents: float = 0.15
) -> tuple[Survey, tuple[Take, ...]]:
    """Build a survey in which string i + 1 sounds open at these errors, with a press between each two."""
    takes: list[Take] = []
    for i, errors in enumerate(opens_cents):
        hz = 330.0 * 0.75**i
        for j, error in enumerate(errors):
            if j:
                place = (
                    Position(i + 1, Stop.PRESS, 1 + j % 2) if stops is None else stops[(j - 1) % len(stops)]
                )
                takes.append(_take(len(takes) + 1, place, hz * 2 ** ((place.fret or 0) / 12), sd_cents))
            takes.append(
                _take(len(takes) + 1, Position(i + 1, Stop.OPEN), hz * 2 ** (error / 1200), sd_cents)
            )
    return build_survey(takes), tuple(takes)


def _take(row: int, place: Position, hz: float, sd_cents: float) -> Take:
    """Build one take."""
    return Take(row, None, place, hz, sd_cents, float(row))
