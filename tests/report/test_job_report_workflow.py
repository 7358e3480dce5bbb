"""From a job's folders to its comparison and its page: which passes, what is left out, which sounds."""

from __future__ import annotations

import base64
import io
import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

from helpers.folders import RATE_HZ, pluck, write_sound
from helpers.jobs import NOW
from helpers.pairs import lowered
from helpers.planted import SIX, heard, job_of, truth_of
from pitchcheck.compare import Change, Match
from pitchcheck.errors import BadValue
from pitchcheck.instrument import Removal
from pitchcheck.jobs.records import Job, PassKind, StoredPass
from pitchcheck.jobs.write import add_note, new_job, record_step, set_pass_aside
from pitchcheck.simulate.folder import session_text
from pitchcheck.takes import Stop, Take
from pitchcheck.workflow.jobs import snippets
from pitchcheck.workflow.jobs.add_pass import add_pass
from pitchcheck.workflow.jobs.compared import Compared, compare_job, sound_job
from pitchcheck.workflow.jobs.report import Reader, job_report

WITHIN_MM = 0.05  # [mm] of a planted change, as the compare tables promise
JOB = job_of()
TRUTH = truth_of(JOB, SIX)
FILED_MM = 0.20


def readings(folder: Path, takes: Sequence[Take]) -> Path:
    """Write a session folder of readings."""
    folder.mkdir(parents=True)
    (folder / "session.toml").write_text(session_text(JOB), encoding="utf-8")
    rows = ["string,stop,fret,capo,hz,sd_cents"]
    for take in takes:
        place = take.position
        rows.append(f"{place.string},{place.stop.value},{place.fret or ''},0,{take.hz:.7f},{take.sd_cents}")
    (folder / "readings.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Job:
    """A job of four passes: as it came, filed, a wrong folder, and filed on paper only."""
    place = tmp_path_factory.mktemp("job")
    half = tuple(Removal(n, FILED_MM / 2) for n in range(1, 7))
    was, now = readings(place / "a", heard(TRUTH)), readings(place / "b", heard(lowered(TRUTH, FILED_MM)))
    made = new_job(
        place / "jobs", title="parlour guitar", now=NOW, customer="A. Player", owner_words="sour"
    ).folder
    add_pass(made, was, now=NOW, remarks="neck note", workers=1)
    add_pass(made, now, now=NOW, removed=half, workers=1)
    opens = [take for take in heard(TRUTH) if take.position.stop is Stop.OPEN]
    add_pass(made, readings(place / "c", opens), now=NOW, workers=1)
    set_pass_aside(made, "3", reason="the wrong folder", now=NOW)
    add_pass(made, now, now=NOW, removed=half, kind=PassKind.FINAL, anyway=True, workers=1)
    add_note(made, "bench note", now=NOW)
    record_step(made, "ends", now=NOW, note="ends so flush")
    return sound_job(made)


@pytest.fixture(scope="module")
def compared(job: Job) -> Compared:
    return compare_job(job)


def test_passes_of_a_job_become_a_comparison_and_a_page(compared: Compared) -> None:
    assert [s.change for s in compared.comparison.strings] == [Change.LOWER] * 6
    assert [s.match for s in compared.comparison.strings] == [Match.AGREES] * 6
    assert [p.name for p in compared.passes] == ["before", "after pass 1", "final"]  # one is set aside
    page = job_report(compared, now=NOW)
    assert "Six slots are lower than before" in page
    assert "How the open chords sound" in page
    assert "<audio" not in page  # readings have no sound


def test_told_amounts_count_from_the_pass_compared(job: Job, compared: Compared) -> None:
    fifth = 4  # its slot stays well above the fret plane, where a change is heard to 0.06 mm
    assert compared.comparison.strings[fifth].told_mm == pytest.approx(FILED_MM)
    later = compare_job(job, before="after pass 1").comparison
    assert later.strings[fifth].told_mm == pytest.approx(FILED_MM / 2)
    assert later.strings[fifth].match is Match.LESS  # the last pass filed nothing, whatever was noted
    first = compare_job(job, before="1", after="2").comparison
    assert first.strings[fifth].told_mm == pytest.approx(FILED_MM / 2)
    assert first.strings[fifth].match is Match.MORE


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"before": "tomorrow"}, "no pass is called 'tomorrow'; there are 1 (before), 2 (after pass 1)"),
        ({"before": "final", "after": "before"}, "'final' does not come before 'before'"),
        ({"before": "final"}, "'final' does not come before 'final'"),
        ({"after": "3"}, "'after pass 2' was set aside (the wrong folder)"),
    ],
)
def test_passes_that_cannot_be_compared(job: Job, change: dict[str, str], words: str) -> None:
    with pytest.raises(BadValue, match=re.escape(words)):
        compare_job(job, **change)


@pytest.mark.parametrize("count", [0, 1])
def test_a_comparison_needs_two_passes(job: Job, count: int) -> None:
    with pytest.raises(BadValue, match="two are needed to compare"):
        compare_job(replace(job, passes=job.passes[:count]))


def test_a_page_without_names_has_none(compared: Compared) -> None:
    named, nameless = (job_report(compared, now=NOW, names=names) for names in (True, False))
    for words in ("parlour guitar", "A. Player", "sour</dd>", "bench note", "neck note", "ends so flush"):
        assert words in named
        assert words not in nameless
    assert str(compared.job.fingerprint)[:8] in nameless
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


def stored_sounds(place: Path, *, cents: float = 0.0) -> StoredPass:
    """A sealed pass of such a folder."""
    made = new_job(place / "jobs", title="sounds", now=NOW).folder
    return add_pass(made, sounds(place / "source", cents=cents), now=NOW, workers=1).stored


def peak_hz(samples: np.ndarray, rate: int) -> float:
    """Strongest frequency, by a padded transform."""
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(samples.size), 1 << 18))
    return float(np.argmax(spectrum) * rate / (1 << 18))


def test_sounds_are_open_string_then_first_fret_cut_to_the_notes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before, after = stored_sounds(tmp_path / "a"), stored_sounds(tmp_path / "b", cents=-20.0)
    both = [(number, "E4", before, after) for number in (2, 1)]
    found = snippets.cut_snippets(both, most=6)
    assert [s.number for s in found] == [1]  # of the other the first fret has no sound
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
    monkeypatch.setattr(snippets, "MOST_BYTES", 1000)
    assert snippets.cut_snippets(both, most=6) == ()  # the page is full


def test_the_page_carries_the_sounds_unless_asked_not_to(tmp_path: Path) -> None:
    made = new_job(tmp_path / "jobs", title="sounds", now=NOW).folder
    for name, cents in (("a", 0.0), ("b", -20.0)):
        add_pass(made, sounds(tmp_path / name, cents=cents), now=NOW, workers=1)
    found = compare_job(sound_job(made))
    page = job_report(found, now=NOW, reader=Reader.PLAYER)
    held = re.findall(r'src="data:audio/flac;base64,([^"]+)"', page)
    assert len(held) == 2
    assert all(base64.b64decode(sound).startswith(b"fLaC") for sound in held)
    assert "<audio" not in job_report(found, now=NOW, clips=False)
