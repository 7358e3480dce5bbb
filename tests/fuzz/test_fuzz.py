"""Strange inputs for every reader: each ends in an answer or in a sentence, never in a trace, and none hangs.

A few thousand in CI. ``PITCHCHECK_FUZZ=25000 pytest -m fuzz`` tries so many of each cheap reader and a share
of them of the dear ones, 100,000 in all; ``PITCHCHECK_FUZZ_SEED`` begins elsewhere. What fails is named by
its reader and seed.
"""

from __future__ import annotations

import os
import shutil
import struct
import tempfile
import time
import traceback
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from io import BytesIO
from pathlib import Path
from random import Random
from urllib.parse import urlencode

import pytest

from fuzz import grammar
from helpers.bench_page import TOKEN, ask, in_process
from helpers.folders import READINGS, SETTINGS, TAKES, make_folder
from helpers.jobs import NOW, SCHEMA_1, contents, make_job
from pitchcheck.audio.faults import Unsound
from pitchcheck.audio.files import read_clip
from pitchcheck.course import Thoroughness, survey_positions
from pitchcheck.errors import NothingMeasured, PitchcheckError
from pitchcheck.jobs.archive import export_job, import_job
from pitchcheck.jobs.read import read_job
from pitchcheck.jobs.verify import verify_job
from pitchcheck.jobs.write import add_note
from pitchcheck.recorder.course_file import COURSE as COURSE_FILE
from pitchcheck.recorder.course_file import parse_course
from pitchcheck.recorder.disk import take_name
from pitchcheck.recorder.reconcile import reconcile
from pitchcheck.session.folder import read_session
from pitchcheck.session.rows import TAKES as TAKES_FILE
from pitchcheck.session.settings import read_settings
from pitchcheck.takes import Position, Stop
from pitchcheck.workflow.measure import measure_folder
from pitchcheck.workflow.memo import measure_memo

FIRST_SEED = int(os.environ.get("PITCHCHECK_FUZZ_SEED", "0"))
MOST = int(os.environ.get("PITCHCHECK_FUZZ", "10000"))
SLOWEST_S = 20.0  # of processor time for one input: the dearest here takes below 2 s
COURSE = """schema = 1
next_number = 3
places = [
  { string = 1, stop = "open", number = 1, state = "kept" },
  { string = 1, stop = "press", fret = 1, number = 2 },
  { string = 2, stop = "leaf", fret = 1, leaf_mm = 0.4 },
]
"""
FULL_SETTINGS = (
    SETTINGS
    + """[target]
third_fret_clearance = ["0.006 in", "0.010 in"]
tolerance = "0.10 mm"
aim = "set-up"
[[meter]]
what = "clearance_third"
string = 2
value = "0.010 in"
error = "0.001 in"
[before]
folder = "../before"
[[before.removed]]
string = 2
amount = "0.20 mm"
"""
)
GOOD_READINGS = [
    "1,open,,0,329.6",
    "1,press,1,0,351.9",
    "1,press,2,0,372.0",
    "1,open,,0,329.6",
    "2,open,,0,246.9",
]
GOOD_TAKES = ["a.wav,1,open,,0", "a.wav,1,press,1,0", "b.wav,2,open,,0"]


@contextmanager
def place() -> Iterator[Path]:
    with tempfile.TemporaryDirectory() as name:
        yield Path(name)


def settings(rng: Random) -> None:
    with place() as folder:
        text = grammar.toml(rng, FULL_SETTINGS).encode("utf-8", "surrogatepass")
        make_folder(folder / "s", settings=text, readings=READINGS + "\n".join(GOOD_READINGS))
        read_session(folder / "s")


def tables(rng: Random) -> None:
    with place() as folder:
        heads = {"takes": (TAKES.strip(), GOOD_TAKES), "readings": (READINGS.strip(), GOOD_READINGS)}
        name = rng.choice(list(heads))
        text = grammar.table(rng, *heads[name])
        make_folder(folder / "s")
        (folder / "s" / f"{name}.csv").write_bytes(text.encode("utf-8", "surrogatepass"))
        read_session(folder / "s")


def whole_measurements(rng: Random) -> None:
    with place() as folder:
        text = grammar.toml(rng, SETTINGS) if rng.random() < 0.7 else SETTINGS
        table = grammar.table(rng, READINGS.strip(), GOOD_READINGS)
        make_folder(folder / "s", settings=text.encode("utf-8", "surrogatepass"))
        (folder / "s" / "readings.csv").write_bytes(table.encode("utf-8", "surrogatepass"))
        measure_folder(folder / "s")


def sounds(rng: Random) -> None:
    with place() as folder:
        name = rng.choice(["a.wav", "a.wav", "a.wav", "a.flac", "a.m4a", "a.ogg", "a.mp3", "a.aiff"])
        (folder / name).write_bytes(grammar.wav(rng))
        read_clip(folder / name)


def memos(rng: Random) -> None:
    with place() as folder:
        (folder / "memo.wav").write_bytes(grammar.wav(rng))
        kind = rng.choice(["electric", "electric", "bass", "spoon", "", None])
        measure_memo([folder / "memo.wav"], kind=kind, tuning=rng.choice([None, None, "x", "D A D G A D"]))


def courses(rng: Random) -> None:
    parse_course(grammar.toml(rng, COURSE))


OWN = tuple(
    take_name(number, place, ending=".wav")
    for number, place in (
        (1, Position(1, Stop.OPEN)),
        (2, Position(1, Stop.PRESS, 1)),
        (3, Position(1, Stop.PRESS, 1)),
        (9, Position(2, Stop.LEAF, 1, leaf_mm=0.4)),
        (4, Position(9, Stop.FRET, 3)),
    )
)
STRAY = (*OWN, "x.wav", "003-.wav", "0" * 90 + ".wav", ".x", "unfinished-001.wav")


def interrupted_courses(rng: Random) -> None:
    """A folder that a session left: nothing in it may be lost when another opens it."""
    with place() as folder:
        whole = folder / "s"
        text = grammar.table(rng, TAKES.strip(), [row.replace("a.wav", STRAY[0]) for row in GOOD_TAKES])
        make_folder(whole)
        for name, parts in ((TAKES_FILE, text), (COURSE_FILE, grammar.toml(rng, COURSE))):
            if rng.random() < 0.8:
                (whole / name).write_bytes(parts.encode("utf-8", "surrogatepass"))
        for name in rng.sample(STRAY, rng.randint(0, len(STRAY))):
            (whole / name).write_bytes(grammar.wav(rng) if rng.random() < 0.7 else b"")
        before = sorted(path.read_bytes() for path in whole.rglob("*") if path.is_file())
        instrument = read_settings(whole).settings.instrument
        planned = survey_positions((1, 2), thoroughness=Thoroughness.QUICK)
        try:
            reconcile(whole, instrument=instrument, planned=planned, replan=rng.random() < 0.5)
        finally:
            after = sorted(path.read_bytes() for path in whole.rglob("*") if path.is_file())
            assert after == before, "something was lost"


def archives(rng: Random) -> None:
    with place() as folder:
        job = _new_job(folder)
        export_job(job, folder / "a.zip")
        if rng.random() < 0.5:
            raw = grammar.changed_bytes(rng, (folder / "a.zip").read_bytes())
        else:
            raw = _repacked(rng, (folder / "a.zip").read_bytes())
        (folder / "b.zip").write_bytes(raw)
        before = {path.name for path in folder.iterdir()}
        try:
            import_job(folder / "there", folder / "b.zip")
        finally:
            assert {path.name for path in folder.iterdir()} <= before | {"there"}


def _repacked(rng: Random, raw: bytes) -> bytes:
    """The same archive with a member's name or content changed."""
    packed = BytesIO()
    with zipfile.ZipFile(BytesIO(raw)) as old, zipfile.ZipFile(packed, "w") as new:
        names = old.namelist()
        chosen = rng.choice(names)
        for name in names:
            content = old.read(name)
            if name == chosen:
                top = name.partition("/")[0]
                name = rng.choice(
                    [name, f"{top}/../x", "/x", f"{top}//x", f"{top}/CON", name.upper(), "x" * 300]
                )
                content = grammar.changed_bytes(rng, content)
            new.writestr(name, content)
    return packed.getvalue()


def _new_job(folder: Path) -> Path:
    job = make_job(folder / "jobs").folder
    add_note(job, "Old nut is let in.", now=NOW)
    return job


def job_folders(rng: Random) -> None:
    with place() as folder:
        job = folder / SCHEMA_1.name
        shutil.copytree(SCHEMA_1, job)
        files = sorted(path for path in job.rglob("*") if path.is_file())
        for _ in range(rng.randint(1, 3)):
            path = rng.choice(files)
            if path.suffix == ".toml" and rng.random() < 0.6:
                text = grammar.toml(rng, path.read_text(encoding="utf-8", errors="replace"))
                path.write_bytes(text.encode("utf-8", "surrogatepass"))
            else:
                path.write_bytes(grammar.changed_bytes(rng, path.read_bytes()))
        before = contents(job)
        verify_job(job)
        try:
            read_job(job)
        finally:
            assert contents(job) == before


FORMS = {
    "sessions": ("name", "kind", "course", "scale", "tuning", "strings"),
    "session/one/open": ("strings", "course"),
    "session/one/press": ("key",),
    "session/one/gauge": ("what", "string", "value", "passes", "stops", "unit"),
    "session/one/filed": ("strings", "removed_1", "removed_2", "again"),
    "session/one/takes": ("string_1", "stop_1", "fret_1", "string_2"),
    "input": ("device", "channel"),
    "jobs": ("title", "customer", "words"),
    "job/JOB/again": ("course", "strings", "removed_1", "removed_2", "changed"),
    "job/JOB/note": ("words",),
    "job/JOB/step": ("step", "mark", "note", "measured"),
    "job/JOB/set-aside": ("pass", "reason"),
    "job/JOB/gauge": ("what", "string", "value", "passes", "stops", "unit"),
    "session/one/seal": ("job", "title", "kind", "remarks", "changed", "anyway", "removed_1"),
}
GET = ("job/JOB", "job/JOB/now", "job/JOB/change", "job/JOB/report", "job/JOB/photo/0", "job/JOB/check")
ODD_PATHS = (
    "",
    "session/..",
    "session/%2e%2e%2fx",
    "session/\x00",
    "session/" + "x" * 5000,
    "jobs/none",
    "job/..",
    "job/none/report",
    "job/JOB/photo/99999999999999999999",
    "nut",
    "static/../x",
)


def requests(rng: Random, app: object, job: str) -> None:
    draw = rng.random()
    if draw < 0.3:
        path = rng.choice(ODD_PATHS) if draw < 0.2 else rng.choice(GET)
        if draw >= 0.2 and rng.random() < 0.5:
            path += "?" + urlencode(
                {rng.choice(QUERY): rng.choice(grammar.CELLS) for _ in range(2)}, errors="replace"
            )
        answer = ask(app, f"/{TOKEN}/{path.replace('JOB', job)}")
    else:
        path = rng.choice(list(FORMS))
        form = {
            key: value.encode("utf-8", "replace").decode()
            for key, value in grammar.form(rng, FORMS[path]).items()
        }
        answer = ask(app, f"/{TOKEN}/{path.replace('JOB', job)}", method="POST", form=form)
    assert answer.status < 500, answer.text[:500]


QUERY = ("before", "after", "for", "without-names", "without-sound", "workshop", "signature", "sealed")


@contextmanager
def bench(root: Path) -> Iterator[tuple[object, str]]:
    """A bench with a session and a job."""
    with in_process(root) as (app, running):
        job = make_job(running.places.jobs).folder.name
        form = {"name": "one", "kind": "electric", "course": "quick"}
        ask(app, f"/{TOKEN}/sessions", method="POST", form=form)
        yield app, job


# Reader: what it may raise, and which share of the inputs it gets.
READERS: dict[str, tuple[Callable[[Random], None], tuple[type[Exception], ...], float]] = {
    "settings": (settings, (NothingMeasured,), 1.0),
    "tables": (tables, (NothingMeasured,), 1.0),
    "courses": (courses, (ValueError,), 1.0),
    "interrupted courses": (interrupted_courses, (PitchcheckError,), 0.3),
    "sounds": (sounds, (Unsound,), 0.5),
    "memos": (memos, (PitchcheckError, Unsound), 0.3),
    "archives": (archives, (PitchcheckError,), 0.1),
    "job folders": (job_folders, (PitchcheckError,), 0.05),
    "whole measurements": (whole_measurements, (NothingMeasured,), 0.01),
}


def tried(
    name: str, read: Callable[[Random], None], allowed: tuple[type[Exception], ...], count: int
) -> list[str]:
    """What went wrong, by seed."""
    wrong = []
    for seed in range(FIRST_SEED, FIRST_SEED + count):
        start = time.process_time()
        try:
            read(Random(f"{name} {seed}"))
        except allowed as told:
            if not all(sign.isprintable() or sign in "\n\t" for sign in str(told)):
                wrong.append(f"{name} {seed}: not printable: {str(told)[:200]!r}")
        except Exception:  # whatever else a reader lets through is what is looked for
            wrong.append(f"{name} {seed}: {traceback.format_exc()[-600:]}")
        if time.process_time() - start > SLOWEST_S:
            wrong.append(f"{name} {seed}: {time.process_time() - start:.0f} s")
        if len(wrong) > 4:
            break
    return wrong


@pytest.mark.parametrize("name", list(READERS))
def test_a_few_strange_inputs(name: str) -> None:
    read, allowed, share = READERS[name]
    assert tried(name, read, allowed, max(4, round(600 * share))) == []


def test_a_few_strange_requests(tmp_path: Path) -> None:
    with bench(tmp_path / "root") as (app, job):
        assert tried("requests", lambda rng: requests(rng, app, job), (), 200) == []


@pytest.mark.parametrize(
    ("good", "absurd"),
    [
        ('scale = "628 mm"', 'scale = "3 mm"'),
        ('scale = "628 mm"', 'scale = "400 m"'),
        ('note = "E4"', 'note = "E12"'),
        ('gauge = "0.010 in"', 'gauge = "2 in"'),
        ("number = 1\n", "number = 0\n"),
        (
            "[[strings]]\n",
            "\n".join(f'[[strings]]\nnumber = {n}\nnote = "E4"' for n in range(3, 43)) + "\n[[strings]]\n",
        ),
    ],
)
def test_absurd_settings_get_a_sentence(tmp_path: Path, good: str, absurd: str) -> None:
    text = SETTINGS.replace(good, absurd, 1)
    assert text != SETTINGS
    make_folder(tmp_path / "s", settings=text, readings=READINGS + "\n".join(GOOD_READINGS))
    with pytest.raises(NothingMeasured) as told:
        measure_folder(tmp_path / "s")
    assert all(problem.limit and problem.action for problem in told.value.problems)


@pytest.mark.parametrize(
    ("rate_hz", "hours", "says"),
    [(1, 0.01, "8000 to 768000"), (8000, 10.0, ""), (2**31, 1e-7, "")],
)
def test_absurd_recordings_get_a_sentence(tmp_path: Path, rate_hz: int, hours: float, says: str) -> None:
    # A file with holes: ten hours of it take no room on the disk.
    size = round(hours * 3600 * rate_hz) * 2
    head = struct.pack("<HHIIHH", 1, 1, rate_hz, rate_hz * 2 % 2**32, 2, 16)
    path = tmp_path / "memo.wav"
    path.write_bytes(
        b"RIFF" + struct.pack("<I", 36 + size) + b"WAVEfmt " + struct.pack("<I", 16) + head + b"data"
        + struct.pack("<I", size)
    )  # fmt: skip
    os.truncate(path, 44 + size)
    start = time.process_time()
    with pytest.raises(Unsound) as told:
        read_clip(path)
    assert says in str(told.value)
    with pytest.raises((PitchcheckError, Unsound)) as told_of_memo:
        measure_memo([path], kind="electric")
    assert str(told_of_memo.value)
    assert time.process_time() - start < SLOWEST_S


@pytest.mark.fuzz
@pytest.mark.parametrize("name", list(READERS))
def test_many_strange_inputs(name: str) -> None:
    read, allowed, share = READERS[name]
    assert tried(name, read, allowed, max(10, round(MOST * share))) == []


@pytest.mark.fuzz
def test_many_strange_requests(tmp_path: Path) -> None:
    with bench(tmp_path / "root") as (app, job):
        assert tried("requests", lambda rng: requests(rng, app, job), (), round(MOST * 0.1)) == []
