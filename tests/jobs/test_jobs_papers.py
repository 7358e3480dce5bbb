"""What a job's report tells: everything said, nothing heard again; a changed job is refused."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from helpers.jobs import FINGERPRINT_1, NOW, SCHEMA_1
from pitchcheck.jobs.errors import JobDamaged
from pitchcheck.workflow import hear
from pitchcheck.workflow.jobs.compared import compare_job, sound_job
from pitchcheck.workflow.jobs.report import job_report, steps_done


def test_a_report_holds_what_the_job_holds(monkeypatch: pytest.MonkeyPatch) -> None:
    def deaf(*_: object, **__: object) -> None:
        raise AssertionError("a sound was read")

    monkeypatch.setattr(hear, "read_string", deaf)
    compared = compare_job(sound_job(SCHEMA_1))
    told = {slot.number: slot.told_mm for slot in compared.comparison.strings}
    assert (told[6], told[1]) == (0.2, 0.1)
    assert steps_done(compared.job) == ("Thickness snug: 5.9 mm",)  # the other step was taken back
    page = job_report(compared, now=NOW)
    for words in (
        "Lamp room parlour guitar",
        "The lamp keeper",
        "Sharp at the first fret.",
        "Thickness snug: 5.9",
        "2026-11-25: Old nut is let in.",
        "2026-03-04",
        "Filed twice, listened in between.",
        "Final, 2026-11-25",
    ):
        assert words in page
    assert FINGERPRINT_1 in page.replace(" ", "").replace("\n", "")


def test_nothing_is_reported_from_a_job_that_changed(tmp_path: Path) -> None:
    copy = Path(shutil.copytree(SCHEMA_1, tmp_path / SCHEMA_1.name))
    (copy / "passes/01-before/readings.csv").write_text("other")
    with pytest.raises(JobDamaged, match="nothing is reported from it"):
        sound_job(copy)
