"""From a job's folders to its comparison and its page: which passes, what is left out, which sounds."""

from __future__ import annotations

import base64
import io
import re
from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import soundfile

from helpers.folders import RATE_HZ, pluck, write_sound
from helpers.pairs import lowered, measured
from helpers.planted import SIX, heard, job_of, truth_of
from pitchcheck.compare import Change, Match
from pitchcheck.errors import BadValue, NothingMeasured
from pitchcheck.instrument import Removal
from pitchcheck.measurement import Measurement
from pitchcheck.simulate.folder import session_text
from pitchcheck.takes import Position, Stop, Take
from pitchcheck.workflow.jobs import snippets
from pitchcheck.workflow.jobs.report import JobPapers, JobPass, Reader, compare_job, job_report

JOB = job_of()
TRUTH = truth_of(JOB, SIX)
FILED_MM = 0.20
ALL = tuple(Removal(n, FILED_MM) for n in range(1, 7))


def readings(folder: Path, takes: Sequence[Take]) -> Path:
    """Write a session folder of readings."""
    folder.mkdir()
    (folder / "session.toml").write_text(session_text(JOB), encoding="utf-8")
    rows = ["string,stop,fret,capo,hz,sd_cents"]
    for take in takes:
        place = take.position
        rows.append(f"{place.string},{place.stop.value},{place.fret or ''},0,{take.hz:.7f},{take.sd_cents}")
    (folder / "readings.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    return folder


@cache
def before_and_after() -> tuple[Measurement, Measurement]:
    """The instrument as it came in, and filed."""
    return measured(JOB, heard(TRUTH)), measured(JOB, heard(lowered(TRUTH, FILED_MM)))


def quick_papers(tmp_path: Path) -> JobPapers:
    """A job of three passes that were measured before; the last changed nothing."""
    before, after = before_and_after()
    half = tuple(Removal(n, FILED_MM / 2) for n in range(1, 7))
    return JobPapers(
        title="parlour guitar",
        passes=(
            JobPass("before", tmp_path, measurement=before, notes=("neck note",)),
            JobPass("after pass 1", tmp_path, removed=half, measurement=after),
            JobPass("final", tmp_path, removed=half, measurement=after),
        ),
        owner="A. Player",
        owner_words="sour",
        notes=("bench note",),
        done=("ends flush",),
        fingerprint="f" * 64,
    )


def test_two_folders_become_a_comparison_and_a_page(tmp_path: Path) -> None:
    papers = JobPapers(
        title="parlour guitar",
        passes=(
            JobPass("before", readings(tmp_path / "a", before_and_after()[0].takes)),
            JobPass("final", readings(tmp_path / "b", before_and_after()[1].takes), removed=ALL),
        ),
    )
    comparison = compare_job(papers)
    assert [s.change for s in comparison.strings] == [Change.LOWER] * 6
    assert [s.match for s in comparison.strings] == [Match.AGREES] * 6
    page = job_report(papers)
    assert "Six slots are lower than before" in page
    assert "How the open chords sound" in page
    assert "<audio" not in page  # readings have no sound


def test_told_amounts_count_from_the_pass_compared(tmp_path: Path) -> None:
    papers = quick_papers(tmp_path)
    assert compare_job(papers).strings[0].told_mm == pytest.approx(FILED_MM)
    later = compare_job(papers, before="after pass 1")
    assert later.strings[0].told_mm == pytest.approx(FILED_MM / 2)
    assert later.strings[0].match is Match.LESS  # the last pass filed nothing, whatever was noted
    first = compare_job(papers, after="after pass 1")
    assert first.strings[0].told_mm == pytest.approx(FILED_MM / 2)
    assert first.strings[0].match is Match.MORE


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"before": "tomorrow"}, "no pass is called 'tomorrow'; there are before, after pass 1, final"),
        ({"before": "final", "after": "before"}, "'final' does not come before 'before'"),
        ({"before": "final"}, "'final' does not come before 'final'"),
    ],
)
def test_passes_that_cannot_be_compared(tmp_path: Path, change: dict[str, str], words: str) -> None:
    with pytest.raises(BadValue, match=re.escape(words)):
        compare_job(quick_papers(tmp_path), **change)


@pytest.mark.parametrize("count", [0, 1])
def test_a_job_needs_two_passes(tmp_path: Path, count: int) -> None:
    papers = quick_papers(tmp_path)
    with pytest.raises(BadValue, match="two are needed to compare"):
        compare_job(replace(papers, passes=papers.passes[:count]))


def test_a_pass_that_is_gone_is_named(tmp_path: Path) -> None:
    papers = quick_papers(tmp_path)
    gone = replace(papers.passes[0], folder=tmp_path / "gone", measurement=None)
    with pytest.raises(NothingMeasured, match="gone"):
        compare_job(replace(papers, passes=(gone, *papers.passes[1:])))


def test_a_page_without_names_has_none(tmp_path: Path) -> None:
    papers = quick_papers(tmp_path)
    named, nameless = (job_report(papers, names=names) for names in (True, False))
    for words in ("parlour guitar", "A. Player", "sour</dd>", "bench note", "neck note", "ends flush"):
        assert words in named
        assert words not in nameless
    assert "f" * 8 in nameless
    assert f"Nut work: {JOB.instrument.kind}" in nameless


def sounds(folder: Path, *, cents: float = 0.0) -> Path:
    """Write a session folder of sound: strings 1 and 2, open and fret 1, the second with a fault."""
    folder.mkdir()
    (folder / "session.toml").write_text(session_text(JOB), encoding="utf-8")
    rows = ["file,string,stop,fret,capo"]
    for number, hz in ((1, 329.63), (2, 246.94)):
        for name, stop, fret, up in (
            (f"{number}o.wav", "open", "", 0.0),
            (f"{number}f.wav", "fret", 1, 100.0),
        ):
            rows.append(f"{name},{number},{stop},{fret},0")
            if (number, stop) != (2, "fret"):
                write_sound(folder / name, pluck(hz * 2 ** ((up + cents) / 1200), seconds=2.5))
    (folder / "takes.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    return folder


def played(*, both: bool = True) -> tuple[Take, ...]:
    places = [(1, Stop.OPEN, None), (1, Stop.FRET, 1), (2, Stop.OPEN, None), (2, Stop.FRET, 1)]
    return tuple(
        Take(row, None, Position(*place), 100.0 if both or row != 2 else None, 0.1, float(row))
        for row, place in enumerate(places, start=1)
    )


def test_sounds_are_open_string_then_first_fret_cut_to_the_notes(tmp_path: Path) -> None:
    before, after = sounds(tmp_path / "a"), sounds(tmp_path / "b", cents=-20.0)
    passed = measured(JOB, played())
    found = snippets.cut_snippets(
        JOB.instrument.strings, most=6, before=(before, passed), after=(after, passed)
    )
    assert [s.number for s in found] == [1]  # the others have no sound of both notes
    samples, rate = soundfile.read(io.BytesIO(found[0].before))
    assert rate == snippets.RATE_HZ
    assert samples.size / rate == pytest.approx(2 * snippets.NOTE_S + snippets.GAP_S, abs=0.01)
    assert np.abs(samples).max() == pytest.approx(snippets.PEAK, abs=0.01)
    assert rate < RATE_HZ
    for data, cents in ((found[0].before, 0.0), (found[0].after, -20.0)):
        samples, rate = soundfile.read(io.BytesIO(data))
        notes = samples[: round(snippets.NOTE_S * rate)], samples[-round(snippets.NOTE_S * rate) :]
        for note, up in zip(notes, (0.0, 100.0), strict=True):
            assert peak_hz(note, rate) == pytest.approx(329.63 * 2 ** ((up + cents) / 1200), rel=0.003)
            assert np.argmax(np.abs(note)) / rate < 0.1  # the note begins at once


def peak_hz(samples: np.ndarray, rate: int) -> float:
    """Strongest frequency, by a padded transform."""
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(samples.size), 1 << 18))
    return float(np.argmax(spectrum) * rate / (1 << 18))


def test_a_note_that_could_not_be_read_is_not_played(tmp_path: Path) -> None:
    folder = sounds(tmp_path / "a")
    good, bad = measured(JOB, played()), measured(JOB, played(both=False))
    strings = JOB.instrument.strings
    assert snippets.cut_snippets(strings, most=6, before=(folder, good), after=(folder, bad)) == ()


def test_sounds_stop_where_the_page_is_full(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = sounds(tmp_path / "a")
    passed = measured(JOB, played())
    monkeypatch.setattr(snippets, "MOST_BYTES", 1000)
    found = snippets.cut_snippets(
        JOB.instrument.strings, most=6, before=(folder, passed), after=(folder, passed)
    )
    assert found == ()


def test_the_page_carries_the_sounds_unless_asked_not_to(tmp_path: Path) -> None:
    papers = quick_papers(tmp_path)
    one, two = (sounds(tmp_path / name) for name in "ab")
    takes = tuple(t for m in (papers.passes[0].measurement,) if m for t in m.takes)
    rows = {
        t.position: t for t in takes if t.position.fret in (None, 1) and t.position.stop is not Stop.PRESS
    }
    in_rows = tuple(replace(rows[t.position], row=t.row, when=t.when) for t in played() if t.position in rows)
    passed = replace(measured(JOB, takes), takes=in_rows)
    job = replace(
        papers,
        passes=(
            replace(papers.passes[0], folder=one, measurement=passed),
            replace(papers.passes[2], folder=two, measurement=passed),
        ),
    )
    page = job_report(job, reader=Reader.PLAYER)
    held = re.findall(r'src="data:audio/flac;base64,([^"]+)"', page)
    assert len(held) == 2
    assert all(base64.b64decode(sound).startswith(b"fLaC") for sound in held)
    assert "<audio" not in job_report(job, clips=False)
