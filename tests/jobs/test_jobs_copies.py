"""Copies for others: no name is left in any byte, sounds cut to the note still give the same pitches."""

from __future__ import annotations

import json
import math
import shutil
import zipfile
from pathlib import Path

import numpy as np
import pytest
import soundfile

from helpers.folders import FIXTURES
from helpers.jobs import NOW, contents, photo, sound
from pitchcheck.errors import BadInput
from pitchcheck.jobs.archive import import_job
from pitchcheck.jobs.errors import JobDamaged
from pitchcheck.jobs.read import read_job
from pitchcheck.jobs.records import Job
from pitchcheck.jobs.write import add_note, new_job, record_step
from pitchcheck.workflow.jobs.add_pass import add_pass
from pitchcheck.workflow.jobs.compared import measurement_of
from pitchcheck.workflow.jobs.export import Without, export
from pitchcheck.workflow.measure import measure_folder

NAME = "Quillfeather"  # stands for a person in every place where a person might be named
ROWS = 6  # takes of the fixture's string 1 that are used: open, frets, presses
SAME_CENTS = (
    0.05  # [cent] between a note and its cut copy: below the reading's own error, 24 bits and less room
)
QUIET_S = 1.2  # [s] of room put before every note
TALK = 0.02  # [full scale] of the noise that stands for talking in it


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Job:
    """Return a job that names a person wherever that can be, with talk before every note."""
    place = tmp_path_factory.mktemp("copies")
    source = place / f"{NAME} guitar"
    source.mkdir()
    rng = np.random.default_rng(3)
    settings = (FIXTURES / "session-sound" / "session.toml").read_text()
    (source / "session.toml").write_text(f'# {NAME}\nowner = "{NAME}"\n{settings}')
    rows = (FIXTURES / "session-sound" / "takes.csv").read_text().splitlines()
    lines = [rows[0] + ",player"]
    for row in rows[1 : ROWS + 1]:
        file, rest = row.split(",", 1)
        samples, rate = soundfile.read(FIXTURES / "session-sound" / file)
        talk = TALK * rng.standard_normal(round(QUIET_S * rate))
        talk[-round(0.4 * rate) :] *= 0.001  # a breath before the pluck, as after talking
        name = f"{NAME} {file.replace('.flac', '.wav')}"
        with soundfile.SoundFile(source / name, "w", rate, 1, "PCM_24") as out:
            out.comment = NAME
            out.write(np.concatenate([talk, samples]))
        lines.append(f"{name},{rest},{NAME}")
    (source / "takes.csv").write_text("\n".join(lines) + "\n")
    (source / f"{NAME}.txt").write_text(NAME)
    made = new_job(
        place / "jobs", title=f"{NAME}'s guitar", now=NOW, customer=NAME, owner_words=f"{NAME} says"
    )
    add_pass(made.folder, source, now=NOW, remarks=NAME, photos=[photo(place)], workers=1)
    add_note(made.folder, NAME, now=NOW)
    record_step(made.folder, "score", now=NOW, note=NAME, measured="1.2 mm", photo=photo(place))
    record_step(made.folder, "bed", now=NOW, measured=f"flat, says {NAME}")
    return read_job(made.folder)


def exported(job: Job, place: Path, without: Without) -> Job:
    """Return a copy after a trip through its archive."""
    export(job.folder, place / "copy.zip", without=without)
    made = import_job(place / "jobs", place / "copy.zip")
    sound(made.folder)
    assert made.faults == ()
    return made


@pytest.fixture(scope="module")
def nameless(job: Job, tmp_path_factory: pytest.TempPathFactory) -> Job:
    return exported(job, tmp_path_factory.mktemp("nameless"), Without(names=True))


@pytest.fixture(scope="module")
def cut(job: Job, tmp_path_factory: pytest.TempPathFactory) -> Job:
    return exported(job, tmp_path_factory.mktemp("cut"), Without(names=True, room=True))


def test_no_name_is_left_in_any_byte_of_a_copy(job: Job, nameless: Job, cut: Job) -> None:
    assert sum(NAME.encode() in content for content in contents(job.folder).values()) >= 10
    for copy in (nameless, cut):
        for name, content in contents(copy.folder).items():
            assert NAME.lower() not in name.lower()
            assert NAME.lower().encode() not in content.lower(), name
        archive = copy.folder.parent.parent / "copy.zip"
        assert NAME.encode() not in archive.read_bytes()
        assert copy.customer is copy.owner_words is copy.passes[0].remarks is None
        assert (copy.notes, copy.passes[0].photos) == ((), ())
        assert not list(copy.folder.rglob("photos"))


def test_a_copy_says_what_it_leaves_out_and_of_which_job_it_is(job: Job, nameless: Job, cut: Job) -> None:
    assert nameless.left_out == ("names", "notes")
    assert cut.left_out == ("names", "notes", "sound around the notes")
    assert f'of = "{job.fingerprint}"' in (cut.folder / "job.toml").read_text()
    assert [(line.name, line.measured) for line in nameless.steps] == [("score", "1.2 mm"), ("bed", None)]


def test_sounds_of_a_copy_without_names_keep_every_bit(job: Job, nameless: Job) -> None:
    for row in range(1, ROWS + 1):
        was, _ = soundfile.read(job.passes[0].folder / f"{NAME} {row - 1:03d}.wav", dtype="int32")
        now, _ = soundfile.read(nameless.passes[0].folder / f"{row:03d}.flac", dtype="int32")
        assert np.array_equal(was, now)


def test_a_copy_carries_the_readings_and_measures_alike(job: Job, nameless: Job) -> None:
    was, now = (measurement_of(one.passes[0]) for one in (job, nameless))
    assert [take.hz for take in was.takes] == [take.hz for take in now.takes]
    assert was.fit is not None
    assert now.fit is not None
    assert [s.height_mm.median for s in was.fit.strings] == [s.height_mm.median for s in now.fit.strings]
    stored = json.loads((nameless.passes[0].folder / "measurement.json").read_text())
    assert [take["file"] for take in stored["takes"]] == [f"{row:03d}.flac" for row in range(1, ROWS + 1)]


def test_cut_sounds_hold_the_note_and_nothing_before_it(job: Job, cut: Job) -> None:
    heard = measure_folder(cut.passes[0].folder, workers=1)
    for take, stored in zip(heard.takes, measurement_of(job.passes[0]).takes, strict=True):
        assert take.hz is not None
        assert stored.hz is not None
        assert 1200 * abs(math.log2(take.hz / stored.hz)) < SAME_CENTS
        samples, rate = soundfile.read(cut.passes[0].folder / str(take.file))
        before = samples[: round(0.08 * rate)]
        assert np.sqrt(np.mean(before**2)) < TALK / 10  # the talk is gone
    was = sum(path.stat().st_size for path in job.passes[0].folder.glob("*.wav"))
    assert sum(path.stat().st_size for path in cut.passes[0].folder.glob("*.flac")) < was


def test_a_take_without_a_note_leaves_no_sound_in_a_cut_copy(tmp_path: Path) -> None:
    source = Path(shutil.copytree(FIXTURES / "session-sound", tmp_path / "source"))
    rows = (source / "takes.csv").read_text().splitlines()[:4]
    (source / "takes.csv").write_text("\n".join(rows) + "\n")
    soundfile.write(source / "001.flac", 1e-4 * np.random.default_rng(1).standard_normal(48_000), 48_000)
    made = new_job(tmp_path / "jobs", title="x", now=NOW)
    add_pass(made.folder, source, now=NOW, workers=1)
    (tmp_path / "out").mkdir()
    copy = exported(read_job(made.folder), tmp_path / "out", Without(room=True))
    kept = {path.name for path in copy.passes[0].folder.glob("*.flac")}
    assert kept == {"001.flac", "003.flac"}
    assert copy.title == "x"


def test_the_same_copy_twice_is_the_same_archive(job: Job, tmp_path: Path) -> None:
    sums = set()
    for number in (1, 2):
        done = export(job.folder, tmp_path / f"{number}.zip", without=Without(names=True), title="Lamp")
        sums.add(done.sha256)
        with zipfile.ZipFile(done.archive) as packed:
            assert {name.split("/")[0] for name in packed.namelist()} == {"2026-03-04-lamp"}
    assert len(sums) == 1
    assert sorted(path.name for path in tmp_path.iterdir()) == ["1.zip", "2.zip"]


def test_no_copy_is_made_of_a_changed_job_or_over_a_file(job: Job, tmp_path: Path) -> None:
    changed = Path(shutil.copytree(job.folder, tmp_path / job.id))
    (changed / "notes/0001.md").write_text("other")
    with pytest.raises(JobDamaged, match="no copy is made"):
        export(changed, tmp_path / "out.zip", without=Without(names=True))
    (tmp_path / "there.zip").write_bytes(b"mine")
    with pytest.raises(BadInput):
        export(job.folder, tmp_path / "there.zip", without=Without(room=True))
    with pytest.raises(BadInput, match="key"):
        export(job.folder, tmp_path / "new.zip", key=tmp_path / "no-key")
    assert (tmp_path / "there.zip").read_bytes() == b"mine"
    assert not (tmp_path / "new.zip").exists()
