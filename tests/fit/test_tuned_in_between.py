"""A string that is tuned, or slips, in the middle of its takes: nothing is filed by what lies between.

The truth is planted: string 3 stands at its target, or above it by a little; from some take on all its takes
are sharper or flatter. Whatever the moment, never more may come off than is there.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from helpers.planted import heard, job_of, truth_of
from helpers.readings import write_readings
from pitchcheck.course import Thoroughness
from pitchcheck.doubts import TunedBetween
from pitchcheck.findings import Cause
from pitchcheck.judgement import slot_goal
from pitchcheck.measurement import Measurement
from pitchcheck.placing import TUNED_CENTS
from pitchcheck.simulate.folder import session_text
from pitchcheck.takes import Stop
from pitchcheck.units import CENTS_PER_OCTAVE
from pitchcheck.words.brief import steps
from pitchcheck.workflow.measure import measure_folder

SETTINGS = job_of()
STRING = 3
UNDER_MM = 0.02  # the contract: no slot ends further below its target


def tuned(place: Path, cents: float, *, after: int, above_mm: float = 0.0) -> Measurement:
    """Measure a session of the base course in which string 3 was tuned after some of its takes."""
    heights = [slot_goal(SETTINGS, n).target_mm + (above_mm if n == STRING else 0.0) for n in range(1, 7)]
    takes = heard(truth_of(SETTINGS, heights), protocol=Thoroughness.BASE)
    late = [take.row for take in takes if take.position.string == STRING][after:]
    (place / "session.toml").write_text(session_text(SETTINGS), encoding="utf-8")
    sharper = 2 ** (cents / CENTS_PER_OCTAVE)
    write_readings(
        place, tuple(replace(t, hz=(t.hz or 0.0) * sharper) if t.row in late else t for t in takes)
    )
    return measure_folder(place, workers=1)


@pytest.mark.parametrize("after", [1, 3])
@pytest.mark.parametrize("cents", [TUNED_CENTS + 1, 30.0, -30.0, 80.0])
def test_takes_between_two_tunings_are_not_used(tmp_path: Path, cents: float, after: int) -> None:
    """At 30 cents, right after the first open take, 0.06 mm would come off a slot that is at its target."""
    found = tuned(tmp_path, cents, after=after)
    assert found.plan.strings[STRING - 1].remove_now_mm == 0.0
    if abs(cents) > 70.0:  # then the open string is another note
        assert any(f.cause is Cause.WRONG_NOTE and f.strings == (STRING,) for f in found.findings)
        return
    spared = [t for t in found.takes if any(isinstance(doubt, TunedBetween) for doubt in t.doubts)]
    assert {t.position.string for t in spared} == {STRING}
    stopped = [t for t in found.takes if t.position.string == STRING and t.position.stop is not Stop.OPEN]
    assert not any(t.used for t in stopped)
    assert any(f.cause is Cause.DRIFT and f.strings == (STRING,) for f in found.findings)
    assert [s.number for s in found.plan.strings if s.height_mm is None] == [STRING]
    assert any(step.startswith("String 3: not measured. Play the takes again") for step in steps(found))


@pytest.mark.parametrize("above_mm", [0.1, 0.2])
def test_a_little_less_is_used_and_never_files_too_much(tmp_path: Path, above_mm: float) -> None:
    found = tuned(tmp_path, TUNED_CENTS - 0.5, after=1, above_mm=above_mm)
    string = found.plan.strings[STRING - 1]
    assert string.height_mm is not None
    assert string.remove_now_mm <= above_mm + UNDER_MM
    assert any(f.cause is Cause.DRIFT and f.strings == (STRING,) for f in found.findings)
