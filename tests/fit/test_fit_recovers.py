"""The fit finds what was planted, and says the same of the same instrument however it was played."""

from __future__ import annotations

import itertools
import time
from dataclasses import replace

import numpy as np
import pytest

from bench.fit_bench import FULL, THOROUGH, first_takes, fit_of, folders, load
from helpers.planted import SIX, heard, job_of, shifted, transposed, truth_of
from pitchcheck.course import Thoroughness
from pitchcheck.fit import Belief, Fit, fit_instrument
from pitchcheck.fit.skewness import _cut
from pitchcheck.instrument import SessionSettings
from pitchcheck.survey import build_survey
from pitchcheck.takes import Stop, Take

# Nothing is noisy, so only the pull of the priors is left. It moves an estimate towards the mean of its nut
# by (sd / 0.25)^2 of the distance, with the sd that is its own and not the other slots' as well: 0.06 mm for
# the loosest slot below, which lies 0.33 mm off, so 0.02 mm or 0.2 of its whole sd, and about as much again
# through what the strings share.
# Besides, a belief is told by its middle, which lies up to 0.5 sd above a top that is exact (decision 8).
PULL_SD = 0.5
PULL_MM = 0.02  # the same for a steel six-string, of sd 0.05 to 0.07 mm
# The nut is known to 0.2 or 0.3 mm only, and gives way to slots and touch that are pulled by 0.1 to 0.3 sd.
NUT_PULL_SD = 0.25
SAME_MM = 1e-6  # the same numbers in another order: rounding, and nothing else
JOB = job_of()
TRUTH = truth_of(JOB, SIX)


def heights(fit: Fit) -> np.ndarray:
    return np.array([s.height_mm.median for s in fit.strings])


def widths(fit: Fit) -> np.ndarray:
    return np.array([s.height_mm.high - s.height_mm.low for s in fit.strings])


def fitted(takes: tuple[Take, ...], settings: SessionSettings = JOB) -> Fit:
    return fit_instrument(settings, build_survey(takes))


@pytest.mark.parametrize("protocol", [Thoroughness.FULL, Thoroughness.THOROUGH])
@pytest.mark.parametrize("kind", ["electric", "classical", "bass"])
def test_planted_heights_are_found(kind: str, protocol: Thoroughness) -> None:
    settings = job_of(kind)
    planted = SIX[: len(settings.instrument.strings)]
    fit = fitted(heard(truth_of(settings, planted), protocol=protocol), settings)
    assert np.all(np.abs(heights(fit) - planted) < PULL_SD * widths(fit) / 3.29)
    assert fit.fret_height_mm.median == pytest.approx(truth_of(settings, planted).fret_height_mm, abs=PULL_MM)
    nut = fit.nut_offset_mm
    assert abs(nut.median) < NUT_PULL_SD * (nut.high - nut.low) / 3.29


def test_slots_at_and_below_the_fret_plane_are_found() -> None:
    """All six low at once: their mean has a prior of 0.5 / sqrt(6) = 0.2 mm and is known to 0.05.

    So it is pulled by (0.05 / 0.2)^2 of its 0.46 mm, 0.03 mm: less than one sd of any slot.
    """
    planted = (0.0, -0.10, 0.02, 0.0, -0.05, 0.05)
    fit = fitted(heard(truth_of(JOB, planted)))
    assert np.all(np.abs(heights(fit) - planted) < widths(fit) / 3.29)


def test_one_string_higher_moves_only_its_own_height() -> None:
    raised = (*SIX[:3], SIX[3] + 0.2, *SIX[4:])
    moved = heights(fitted(heard(truth_of(JOB, raised)))) - heights(fitted(heard(TRUTH)))
    assert moved == pytest.approx([0, 0, 0, 0.2, 0, 0], abs=PULL_MM)


def test_another_pitch_of_the_whole_instrument_changes_nothing() -> None:
    """A4 = 432, or a sound card whose clock is off: only intervals against the open string count."""
    takes = heard(TRUTH)
    assert heights(fitted(transposed(takes, -31.8))) == pytest.approx(heights(fitted(takes)), abs=SAME_MM)


def test_strings_in_another_order_change_nothing() -> None:
    takes = heard(TRUTH)
    turned = tuple(sorted(takes, key=lambda t: (-t.position.string, t.when)))
    assert heights(fitted(turned)) == pytest.approx(heights(fitted(takes)), abs=SAME_MM)


def test_repeats_in_another_order_change_nothing() -> None:
    """A run of two presses swapped with the other run, its opens with it."""
    takes = list(heard(TRUTH))
    runs = takes[10:12], takes[13:15]
    times = [t.when for t in (*runs[0], *runs[1])]
    again = [replace(t, when=w) for t, w in zip((*runs[1], *runs[0]), times, strict=True)]
    swapped = (*takes[:10], *again[:2], takes[12], *again[2:], *takes[15:])
    assert all(t.position.stop is Stop.PRESS for t in again)
    assert heights(fitted(swapped)) == pytest.approx(heights(fitted(tuple(takes))), abs=SAME_MM)


# New takes that do not agree with the old ones lower weights and move the point about which slopes are taken,
# so an interval may grow by some per cent though information was added.
NOTICEABLE = 1.05
STEPS = ((1, (1, 2)), (2, (1, 2)), (4, (1, 2)), (4, (1, 2, 3, 4)))


@pytest.mark.parametrize("which", [3, *(pytest.param(i, marks=pytest.mark.slow) for i in (0, 1, 2, 4))])
def test_more_takes_never_widen_an_interval_noticeably(which: int) -> None:
    known = load(folders(THOROUGH)[which], np.random.default_rng(which))
    seen = [widths(fit_of(first_takes(known, presses=n, frets=frets))) for n, frets in STEPS]
    for before, after in itertools.pairwise(seen):
        assert np.all(after <= NOTICEABLE * before)
    assert np.all(seen[-1] < seen[0])


MOST_SECONDS = 2.0  # asked of a six-string full survey, on one core


def test_a_six_string_full_fit_is_quick() -> None:
    known = load(folders(FULL)[0], np.random.default_rng(0))
    survey = build_survey(known.takes)
    start = time.process_time()
    fit_instrument(known.settings, survey)
    assert time.process_time() - start <= MOST_SECONDS


def test_a_string_without_takes_is_left_out_and_the_others_stay() -> None:
    takes = tuple(t for t in heard(TRUTH) if t.position.string != 4)
    fit = fitted(takes)
    assert [s.number for s in fit.strings] == [1, 2, 3, 5, 6]
    assert heights(fit) == pytest.approx([h for i, h in enumerate(SIX) if i != 3], abs=PULL_MM)


def test_a_belief_ends_where_the_open_string_lies_on_fret_1() -> None:
    """Half of a normal belief cut off: the rest is a half-normal, with its median at 0.6745 sd (tables)."""
    half = _cut(Belief.normal(0.0, 0.1), 0.0)
    assert half.low > 0.0
    assert half.median == pytest.approx(0.06745, abs=5e-4)  # the table's step is 0.005 mm
    untouched = Belief.normal(0.5, 0.1)
    assert _cut(untouched, -0.2) is untouched


def test_a_gross_bad_press_is_set_aside() -> None:
    """See also test_fit_bad_takes for those of which the sound cannot tell which one is bad."""
    takes = heard(TRUTH)
    assert takes[10].position.stop is Stop.PRESS
    good, bad = fitted(takes), fitted(shifted(takes, 11, 15.0))
    assert heights(bad) == pytest.approx(heights(good), abs=PULL_MM)
    weights = {r.row: r.weight for r in bad.residuals}
    assert weights[11] < 0.1 < 0.5 < weights[14]
