"""A kept job as papers for its report: everything told, nothing heard again; a changed job is refused."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from helpers.jobs import FINGERPRINT_1, NOW, SCHEMA_1, full_job, make_job
from pitchcheck.instrument import Removal
from pitchcheck.jobs.errors import JobDamaged
from pitchcheck.workflow import hear
from pitchcheck.workflow.jobs.report import compare_job
from pitchcheck.workflow.jobs.report_input import papers_of


def test_papers_hold_what_the_job_holds(monkeypatch: pytest.MonkeyPatch) -> None:
    def deaf(*_: object, **__: object) -> None:
        raise AssertionError("a sound was read")

    monkeypatch.setattr(hear, "read_string", deaf)
    papers = papers_of(SCHEMA_1, now=NOW)
    assert (papers.title, papers.owner) == ("Lamp room parlour guitar", "The lamp keeper")
    assert papers.owner_words == "Sharp at the first fret.\nFine from the fifth on."
    assert papers.done == ("Thickness snug: 5.9 mm",)  # the other step was taken back
    assert papers.notes == ("2026-11-25: Old nut is let in.\nTake care.",)
    assert (papers.fingerprint, papers.made) == (FINGERPRINT_1, "2026-03-04")
    before, final = papers.passes
    assert (before.name, final.name, final.when) == ("before", "final", "2026-11-25")
    assert final.removed == (Removal(6, 0.2), Removal(1, 0.1))
    assert final.notes == ("Filed twice, listened in between.",)
    assert before.measurement is not None
    assert final.measurement is not None
    comparison = compare_job(papers)
    told = {slot.number: slot.told_mm for slot in comparison.strings}
    assert (told[6], told[1]) == (0.2, 0.1)


def test_only_the_passes_that_are_compared_are_measured(tmp_path: Path) -> None:
    job = full_job(tmp_path).folder
    papers = papers_of(job, now=NOW, before="before", after="before")
    assert [one.measurement is not None for one in papers.passes] == [True, False]
    assert papers_of(make_job(tmp_path / "empty").folder, now=NOW).passes == ()


def test_nothing_is_reported_from_a_job_that_changed(tmp_path: Path) -> None:
    copy = Path(shutil.copytree(SCHEMA_1, tmp_path / SCHEMA_1.name))
    (copy / "passes/01-before/readings.csv").write_text("other")
    with pytest.raises(JobDamaged, match="nothing is reported from it"):
        papers_of(copy, now=NOW)
