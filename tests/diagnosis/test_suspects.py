"""Whom to suspect from fretted notes alone: never called high, and how often the first suspects really are.

The sixty instruments of ``fixtures/`` come from independent finite-element code; their presses are left out
here. A slot is really high when it lies more than the tolerance above its target. The figures that
``words.questions`` tells are those of this file.
"""

from __future__ import annotations

import csv
import json
import shutil
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from helpers.fits import make_job
from pitchcheck.findings import Cause, Question
from pitchcheck.fit.belief import Belief
from pitchcheck.instrument import Board, Nut
from pitchcheck.judgement import FIRST_SUSPECTS, SlotGoal, SlotJudgement, Verdict, Witness, suspects
from pitchcheck.measurement import Measurement
from pitchcheck.takes import Position, Stop
from pitchcheck.words.questions import SUSPECTS_RIGHT, question_briefs, suspicion
from pitchcheck.workflow import measure_folder

FIXTURES = Path(__file__).parents[2] / "fixtures"
RATE_TOLERANCE = 0.10  # of some fifty slots: one and a half standard errors; told as "of ten"
INSTRUMENT = make_job().instrument
SCREEN_LETTERS = 80
GROSS_MM = 0.5  # a slot this far above its target is grossly high
GOAL = SlotGoal(0.40, 0.10, 0.08)


def slot(number: int, height_mm: float, *, witness: Witness = Witness.FRETTED) -> SlotJudgement:
    belief = Belief.normal(height_mm, 0.2)
    return SlotJudgement(number, "E4", GOAL, Nut.SLOTTED, belief, Verdict.UNSURE, witness)


def test_the_most_suspicious_slot_comes_first_and_what_was_pressed_is_no_suspect() -> None:
    slots = [slot(1, 0.55), slot(2, 1.2, witness=Witness.PRESS), slot(3, 0.9), slot(4, 0.45), slot(5, 0.5001)]
    assert suspects(slots) == (3, 1, 5)  # 4 is likelier below the tolerance than above it
    assert suspects(slots[1:2]) == ()


@dataclass(frozen=True)
class Guitar:
    """What was said of one guitar from its fretted notes, and the true excesses. [mm]"""

    said: Measurement
    excess_mm: dict[int, float]

    @property
    def first(self) -> list[float]:
        """True excess of the first suspects."""
        return [self.excess_mm[number] for number in self.said.suspects[:FIRST_SUSPECTS]]


def fretted_only(source: Path, folder: Path) -> Guitar:
    """Measure a fixture without its presses."""
    folder.mkdir()
    shutil.copy(source / "session.toml", folder)
    with (source / "readings.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    with (folder / "readings.csv").open("w", newline="") as file:
        writer = csv.DictWriter(file, fieldnames=list(rows[0]))
        writer.writeheader()
        writer.writerows(row for row in rows if row["stop"] != "press")
    said = measure_folder(folder, workers=1)
    truth = json.loads((source / "truth.json").read_text())["strings"]
    target = {plan.number: plan.target_mm for plan in said.plan.strings}
    return Guitar(said, {int(n): one["slot_height_mm"] - target[int(n)] for n, one in truth.items()})


@pytest.fixture(scope="module")
def guitars(tmp_path_factory: pytest.TempPathFactory) -> list[Guitar]:
    home = tmp_path_factory.mktemp("fretted")
    sources = [
        path
        for group in ("instruments", "thorough")
        for path in sorted((FIXTURES / group).iterdir())
        if path.name.rpartition("-")[2] in ("electric", "acoustic", "classical")
    ]
    return [fretted_only(path, home / f"{i:02d}") for i, path in enumerate(sources)]


@pytest.mark.slow
def test_from_fretted_notes_alone_nobody_says_high(guitars: list[Guitar]) -> None:
    for guitar in guitars:
        assert all(plan.verdict is not Verdict.HIGH for plan in guitar.said.plan.strings)
        assert all(plan.remove_now_mm == 0 for plan in guitar.said.plan.strings)
        assert all(finding.cause.value != "slot_high" for finding in guitar.said.findings)


@pytest.mark.slow
def test_the_first_suspects_are_as_often_right_as_is_told(guitars: list[Guitar]) -> None:
    told = [excess for guitar in guitars for excess in guitar.first]
    right = sum(excess > GOAL.tolerance_mm for excess in told)
    print(f"{right} of {len(told)}")
    assert right / len(told) == pytest.approx(SUSPECTS_RIGHT, abs=RATE_TOLERANCE)


def test_the_suspicion_names_two_strings_its_hit_rate_and_the_presses_that_settle_it() -> None:
    who, rate, settle = suspicion((3, 6, 1), instrument=INSTRUMENT)
    assert who == "First to suspect: strings 3 and 6."
    assert "of ten" in rate
    assert "seven" in rate
    assert "press 1" in settle
    assert "press 2" in settle
    assert "gauged" in suspicion((3,), instrument=replace(INSTRUMENT, board=Board.SCALLOPED))[2]
    assert suspicion((), instrument=INSTRUMENT) == ()


def test_questions_are_lines_of_a_screen() -> None:
    asked = tuple(
        Question(cause, tuple(range(1, 7)), Position(1, Stop.FRET, 12), heard=heard)
        for cause in (Cause.SADDLE, Cause.NUT_POSITION)
        for heard in (True, False)
    )
    told = question_briefs(asked)
    assert len(told) == 2  # one a cause
    assert all(len(line) <= SCREEN_LETTERS for line in told)
    assert "fret 12" in told[0]
    assert "lightly" in told[0]


@pytest.mark.slow
def test_of_guitars_with_grossly_high_slots_the_two_first_suspects_are_high(guitars: list[Guitar]) -> None:
    gross = [
        g for g in guitars if sum(excess > GROSS_MM for excess in g.excess_mm.values()) >= FIRST_SUSPECTS
    ]
    right = [len(g.first) == FIRST_SUSPECTS and all(e > GOAL.tolerance_mm for e in g.first) for g in gross]
    print(f"{sum(right)} of {len(gross)}")
    assert sum(right) >= 14 / 16 * len(gross)
