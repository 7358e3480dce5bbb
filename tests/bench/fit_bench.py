"""Fits instruments whose truth is known and keeps the score: for the tests of the fit and for the bench.

Conventions: mm. The instruments of the fixtures come from independent code and carry no reading noise; it is
added here, from the generator passed in.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from helpers.folders import FIXTURES
from helpers.instruments import random_instrument
from pitchcheck.course import Thoroughness
from pitchcheck.diagnosis import diagnose
from pitchcheck.fit import Belief, Fit, fit_instrument
from pitchcheck.instrument import MeterQuantity, MeterReading, SessionSettings
from pitchcheck.judgement import Verdict
from pitchcheck.physics.gauges import third_fret_clearance_mm
from pitchcheck.placing import check_places
from pitchcheck.plan import make_plan
from pitchcheck.session.folder import read_session
from pitchcheck.survey import build_survey
from pitchcheck.takes import Stop, Take
from pitchcheck.workflow.hear import takes_from_readings

FULL = FIXTURES / "instruments"
THOROUGH = FIXTURES / "thorough"
READING_CENTS = 0.15  # [cent] sd of the noise added to every pitch: a good reading of one pluck
GAUGE_MM = 0.02  # [mm] error of a feeler gauge, for "one slot gauged"
DRAW = 13  # stream of the instruments drawn for the table, apart from those of the tests
FAMILIES = {
    "guitar": ("electric", "acoustic"),
    "bass": ("bass",),
    "steel": ("electric", "acoustic", "bass"),
    "nylon": ("classical", "tenor ukulele", "ukulele"),
}


@dataclass(frozen=True)
class Known:
    """An instrument as it was heard, and what is true of it."""

    name: str
    settings: SessionSettings
    takes: tuple[Take, ...]
    heights_mm: dict[int, float]
    fret_height_mm: float
    nut_offset_mm: float


@dataclass(frozen=True)
class Score:
    """What the fit and the plan said of one string, and the truth. [mm]"""

    instrument: str
    kind: str
    number: int
    true_mm: float
    true_excess_mm: float
    height: Belief
    verdict: Verdict
    remove_mm: float
    nut_error_mm: float
    fret_height_error_mm: float

    @property
    def error_mm(self) -> float:
        """Median of the belief less the truth."""
        return self.height.median - self.true_mm

    @property
    def width_mm(self) -> float:
        """Width of the 90 % interval."""
        return self.height.high - self.height.low

    @property
    def held(self) -> bool:
        """Whether the 90 % interval holds the truth."""
        return self.height.low <= self.true_mm <= self.height.high


def folders(home: Path) -> list[Path]:
    """Folders of all instruments below a home, in order."""
    return sorted(path for path in home.iterdir() if path.is_dir())


def load(folder: Path, rng: np.random.Generator) -> Known:
    """Read one instrument as the program would, with reading noise added."""
    session = read_session(folder)
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    noise = rng.normal(0.0, READING_CENTS, len(session.readings))
    rows = [
        replace(row, hz=row.hz * 2 ** (cents / 1200), sd_cents=READING_CENTS)
        for row, cents in zip(session.readings, noise, strict=True)
    ]
    return Known(
        name=f"{folder.parent.name}/{folder.name}",
        settings=session.settings,
        takes=check_places(takes_from_readings(rows), instrument=session.settings.instrument),
        heights_mm={int(n): s["slot_height_mm"] for n, s in truth["strings"].items()},
        fret_height_mm=truth["fret_height_mm"],
        nut_offset_mm=truth["nut_offset_mm"],
    )


def load_all(home: Path, *, seed: int = 0, every: int = 1) -> list[Known]:
    """Read every instrument of a home, or every so many; each has its own noise, the same at every call."""
    chosen = list(enumerate(folders(home)))[::every]
    return [load(folder, np.random.default_rng([seed, i])) for i, folder in chosen]


def drawn(kind: str, protocol: Thoroughness, *, seed: int) -> Known:
    """Draw an instrument from the fit's own beliefs, with the noise of a good reading."""
    settings, takes, truth = random_instrument(kind, np.random.default_rng([seed, DRAW]), protocol)
    return Known(
        name=f"{kind}-{seed}",
        settings=settings,
        takes=takes,
        heights_mm={s.number: s.slot_height_mm for s in truth.instrument.strings},
        fret_height_mm=truth.instrument.fret_height_mm,
        nut_offset_mm=truth.instrument.nut_offset_mm,
    )


def without_presses(known: Known) -> Known:
    """The same instrument, had nobody made the press test."""
    return replace(known, takes=tuple(t for t in known.takes if t.position.stop is not Stop.PRESS))


def first_takes(known: Known, *, presses: int, frets: tuple[int, ...]) -> Known:
    """The same instrument with only the first so many presses of each place, in the spaces given."""
    seen: dict[object, int] = {}
    kept = []
    for take in known.takes:
        if take.position.stop is Stop.PRESS:
            seen[take.position] = seen.get(take.position, 0) + 1
            if take.position.fret not in frets or seen[take.position] > presses:
                continue
        kept.append(take)
    return replace(known, takes=tuple(kept))


def gauged(known: Known, rng: np.random.Generator) -> Known:
    """The same instrument with the gap over fret 1 gauged under its last string, held behind fret 3."""
    last = max(known.heights_mm)
    gap = third_fret_clearance_mm(known.heights_mm[last]) + GAUGE_MM * rng.standard_normal()
    reading = MeterReading(MeterQuantity.CLEARANCE_THIRD, last, float(gap), GAUGE_MM)
    return replace(known, settings=replace(known.settings, meter=(reading,)))


def fit_of(known: Known) -> Fit:
    """The fit alone."""
    return fit_instrument(known.settings, build_survey(known.takes))


def score(known: Known) -> list[Score]:
    """Fit, diagnose and plan one instrument, and hold every string against the truth."""
    survey = build_survey(known.takes)
    fit = fit_instrument(known.settings, survey)
    plan = make_plan(
        known.settings, fit, diagnose(known.settings, survey, fit, known.takes).findings, survey=survey
    )
    plans = {p.number: p for p in plan.strings}
    return [
        Score(
            instrument=known.name,
            kind=known.settings.instrument.kind,
            number=string.number,
            true_mm=known.heights_mm[string.number],
            true_excess_mm=known.heights_mm[string.number] - plans[string.number].target_mm,
            height=string.height_mm,
            verdict=plans[string.number].verdict,
            remove_mm=plans[string.number].remove_now_mm,
            nut_error_mm=fit.nut_offset_mm.median - known.nut_offset_mm,
            fret_height_error_mm=fit.fret_height_mm.median - known.fret_height_mm,
        )
        for string in fit.strings
    ]


def of_family(scores: Sequence[Score], family: str) -> list[Score]:
    """Scores of one family of instruments."""
    return [s for s in scores if s.kind in FAMILIES[family]]


def median_error_mm(scores: Sequence[Score]) -> float:
    """Median absolute error of the slot heights."""
    return float(np.median([abs(s.error_mm) for s in scores]))


def far_error_mm(scores: Sequence[Score]) -> float:
    """95th percentile of the absolute error."""
    return float(np.percentile([abs(s.error_mm) for s in scores], 95))


def coverage(scores: Sequence[Score]) -> float:
    """Part of the 90 % intervals that hold the truth."""
    return float(np.mean([s.held for s in scores]))


def coverage_error(scores: Sequence[Score]) -> float:
    """Standard error of the coverage, instruments (not strings) taken as independent."""
    names = sorted({s.instrument for s in scores})
    hits = [[s.held for s in scores if s.instrument == name] for name in names]
    total = sum(len(h) for h in hits)
    mean = sum(sum(h) for h in hits) / total
    return float(np.sqrt(sum((sum(h) - mean * len(h)) ** 2 for h in hits)) / total)


@dataclass(frozen=True)
class Decisions:
    """How the verdicts and removals turned out, as parts of the strings they could be said of. [-]"""

    high_without_cause: float  # of slots at or below target
    high_found: float  # of slots 0.3 mm or more high
    removal_useful: float  # of the same: at least 40 % of the true excess
    unsure: float
    left_under: float  # removals that leave a slot more than 0.02 mm under target, of all strings


def decisions(scores: Sequence[Score]) -> Decisions:
    """Count verdicts and removals against the truth."""
    at_target = [s for s in scores if s.true_excess_mm <= 0]
    tall = [s for s in scores if s.true_excess_mm >= 0.3]

    def part(hits: Sequence[bool]) -> float:
        return float(np.mean(hits)) if hits else float("nan")

    return Decisions(
        high_without_cause=part([s.verdict is Verdict.HIGH for s in at_target]),
        high_found=part([s.verdict is Verdict.HIGH for s in tall]),
        removal_useful=part([s.remove_mm >= 0.4 * s.true_excess_mm for s in tall]),
        unsure=part([s.verdict is Verdict.UNSURE for s in scores]),
        left_under=part([s.remove_mm > 0 and s.true_excess_mm - s.remove_mm < -0.02 for s in scores]),
    )
