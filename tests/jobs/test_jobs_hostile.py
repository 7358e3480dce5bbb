"""Jobs and archives made to do harm: no path leads out, no strange content ends in a trace.

Everything here was found, or is of a kind that was found, by trying; each case stays.
"""

from __future__ import annotations

import json
import os
import random
import shutil
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from typer.testing import CliRunner

from helpers.jobs import NOW, SCHEMA_1, contents, full_job
from pitchcheck.cli.app import app
from pitchcheck.cli.output import say
from pitchcheck.errors import PitchcheckError
from pitchcheck.jobs.archive import export_job, import_job
from pitchcheck.jobs.errors import BadArchive, JobDamaged
from pitchcheck.jobs.read import list_jobs, read_job
from pitchcheck.jobs.sums import FINGERPRINT, SUMS, BadList, fingerprint_text, parse_sums, sum_of_bytes
from pitchcheck.jobs.verify import verify_job
from pitchcheck.jobs.write import add_note
from pitchcheck.workflow.jobs.compared import measurement_of, sound_job
from pitchcheck.workflow.jobs.export import Without, export
from pitchcheck.workflow.jobs.lines import list_lines, show_lines
from pitchcheck.workflow.jobs.result_file import earlier_passes, last_heard, read_result

HUGE = "9" * 5000  # digits; Python refuses to turn more than 4300 into a number or back
FUZZED = 400


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return full_job(tmp_path_factory.mktemp("whole")).folder


@pytest.fixture
def job(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(made, tmp_path / "jobs" / made.name))


def seal(job: Path) -> None:
    """Make all sums anew, as somebody does who wants an altered job to look untouched."""
    for folder in sorted((job / "passes").iterdir()):
        old = [line.partition("  ")[2] for line in (folder / SUMS).read_text().splitlines()]
        lines = []
        for name in old:
            path = folder / name
            lines.append(f"{sum_of_bytes(path.read_bytes())}  {name}\n")
        (folder / SUMS).write_text("".join(lines))
    names = [line.partition("  ")[2] for line in (job / SUMS).read_text().splitlines()]
    text = "".join(f"{sum_of_bytes((job / name).read_bytes())}  {name}\n" for name in names)
    put_sums(job, text)


def put_sums(job: Path, text: str) -> None:
    """Put a list of sums into a job, with the fingerprint that belongs to it."""
    (job / SUMS).write_text(text)
    (job / FINGERPRINT).write_text(fingerprint_text(sum_of_bytes(text.encode())))


def packed(job: Path, archive: Path) -> Path:
    """Pack a folder as it stands, without looking at it."""
    with zipfile.ZipFile(archive, "w") as out:
        for name, content in contents(job).items():
            out.writestr(f"{job.name}/{name}", content)
    return archive


OUT = [
    "/dev/zero",
    "../../../../../../dev/zero",
    "passes/../../../secret",
    "./job.toml",
    "a//b",
    "../x/sums.txt",
]


@pytest.mark.parametrize("name", OUT)
def test_sums_that_name_a_path_outside_are_not_followed(job: Path, tmp_path: Path, name: str) -> None:
    """An endless file hung the import for good, and a foreign one was read and kept."""
    line = f"{'0' * 64}  {name}\n"
    with pytest.raises(BadList):
        parse_sums(line.encode())
    lines = [*(job / SUMS).read_text().splitlines(keepends=True), line]
    put_sums(job, "".join(sorted(lines, key=lambda one: one[66:])))
    assert not verify_job(job).sound
    with pytest.raises(BadArchive):
        import_job(tmp_path / "there", packed(job, tmp_path / "bad.zip"))
    for refused in (lambda: export_job(job, tmp_path / "out.zip"), lambda: sound_job(job)):
        with pytest.raises(JobDamaged):
            refused()
    assert not (tmp_path / "out.zip").exists()
    assert not (tmp_path / "there").exists() or list((tmp_path / "there").iterdir()) == []


@pytest.mark.parametrize("name", ["passes/01-before/" + SUMS, "history/0001.txt"])
def test_inner_lists_are_not_followed_out_either(job: Path, tmp_path: Path, name: str) -> None:
    (job / name).write_text(f"{'0' * 64}  /dev/zero\n")
    assert not verify_job(job).sound


@pytest.mark.parametrize(
    "name", ["notes/0001.md", "job.toml", "passes/01-before/measurement.json", "lock", SUMS]
)
def test_links_are_never_followed(job: Path, tmp_path: Path, name: str) -> None:
    secret = tmp_path / "secret"
    path = job / name
    shutil.copy(path, secret) if path.exists() else secret.write_text("secret")
    path.unlink(missing_ok=True)
    path.symlink_to(secret)
    assert not verify_job(job).sound
    with pytest.raises(PitchcheckError):
        export_job(job, tmp_path / "out.zip")
    with pytest.raises(PitchcheckError):
        sound_job(job)
    before = secret.read_bytes()
    said_by(lambda: add_note(job, "x", now=NOW))
    assert secret.read_bytes() == before


@pytest.mark.parametrize("folder", ["notes", "passes", "passes/01-before", "photos", "history", "ready"])
def test_a_folder_that_is_a_link_is_seen(job: Path, tmp_path: Path, folder: str) -> None:
    elsewhere = tmp_path / "elsewhere"
    if (job / folder).exists():
        shutil.move(job / folder, elsewhere)
    else:
        elsewhere.mkdir()
    (job / folder).symlink_to(elsewhere)
    assert not verify_job(job).sound
    with pytest.raises(PitchcheckError):
        export_job(job, tmp_path / "out.zip")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names here")
def test_a_pipe_in_place_of_a_file_does_not_hang(job: Path) -> None:
    for name in ("job.toml", "notes/0001.md", "steps.toml", "passes/01-before/measurement.json"):
        (job / name).unlink()
        os.mkfifo(job / name)
    assert not verify_job(job).sound
    with pytest.raises(JobDamaged):
        read_job(job)
    assert list_jobs(job.parent) == ()  # a folder whose job.toml is no file is no job


@pytest.mark.parametrize("photo", ["/etc/hostname", "../../secret.png", "photos/../../secret.png", ""])
def test_a_photo_outside_the_job_is_a_fault(job: Path, photo: str) -> None:
    text = (job / "steps.toml").read_text()
    (job / "steps.toml").write_text(text.replace('photo = "photos/0001-score.jpg"', f'photo = "{photo}"'))
    kept = read_job(job)
    assert kept.steps
    assert all(line.photo is None for line in kept.steps)
    assert [fault for fault in kept.faults if f"photo is {photo!r}" in fault]


def test_the_pass_before_is_the_one_of_the_job_whatever_the_settings_name(job: Path, tmp_path: Path) -> None:
    """`[before]` of a sealed pass could name any folder of this computer."""
    secret = tmp_path / "secret"
    shutil.copytree(SCHEMA_1 / "passes" / "01-before", secret)
    copy = Path(shutil.copytree(SCHEMA_1, tmp_path / "jobs" / SCHEMA_1.name))
    settings = copy / "passes/02-final/session.toml"
    settings.write_text(settings.read_text().replace('"../01-before"', f'"{secret}"'))
    seal(copy)
    opened: list[str] = []
    with pytest.MonkeyPatch.context() as patch:
        real = Path.open
        patch.setattr(Path, "open", lambda self, *a, **k: opened.append(str(self)) or real(self, *a, **k))
        passes = sound_job(copy).passes
        earlier_passes(passes)
        measurement_of(passes[1])
    assert opened
    assert not [path for path in opened if path.startswith(str(secret))]


@pytest.mark.parametrize(
    ("file", "content"),
    [
        ("job.toml", f"schema = {HUGE}\n"),
        ("job.toml", f"schema = 0x{HUGE}\ntitle = 3\n"),
        ("job.toml", f"schema = 1\ntitle = 0x{HUGE}\n"),
        ("job.toml", 'schema = 1\ntitle = "\\u001b[2J"\nmade = 2026-01-01T00:00:00Z\n'),
        ("job.toml", 'schema = 1\ntitle = "x"\nmade = 2026-01-01T00:00:00Z\ncopy = ["names"]\n'),
        ("job.toml", 'schema = 1\ntitle = "x"\nmade = 2026-01-01T00:00:00Z\ncopy = {left_out = "names"}\n'),
        ("job.toml", "a = " + "[" * 100_000),
        ("passes/01-before/pass.toml", f"schema = 1\ntakes = {HUGE}\n"),
        ("passes/01-before/pass.toml", 'schema = 1\nremoved = {string = 1}\n'),
        ("steps.toml", "schema = 1\n[step]\nname = 3\n"),
        ("notes/0001.md", "# 2026-01-01T00:00:00+00:00\n\n\x1b[31mred\n"),
    ],
)  # fmt: skip
def test_strange_files_are_faults_and_no_traces(job: Path, file: str, content: str) -> None:
    (job / file).write_text(content)
    walk(job)
    for line in list_jobs(job.parent):
        assert line.fault is None or line.fault.isprintable()


@pytest.mark.parametrize(
    "content",
    [
        "",
        "[]",
        "{}",
        "null",
        "[" * 100_000,
        '{"strings": []}',
        '{"strings": {}, "plan": [], "outer_cut": [], "errors": 3, "readings": 7, "takes": []}',
        f'{{"strings": [], "plan": null, "outer_cut": null, "errors": [], "readings": [{{"row": {HUGE}}}]}}',
    ],
)
def test_a_strange_result_is_a_fault(job: Path, tmp_path: Path, content: str) -> None:
    path = job / "passes/01-before/measurement.json"
    path.write_text(content)
    with pytest.raises(JobDamaged):
        read_result(path.parent)
    seal(job)
    walk(job)
    for without in (Without(names=True), Without(room=True)):
        with pytest.raises(PitchcheckError):
            export(job, tmp_path / "out.zip", without=without)
    assert not (tmp_path / "out.zip").exists()


def walk(job: Path) -> None:
    """Do everything that only reads; only errors in words may come."""
    steps: tuple[Callable[[], object], ...] = (
        lambda: list(show_lines(read_job(job))),
        lambda: list(list_lines(list_jobs(job.parent))),
        lambda: verify_job(job),
        lambda: last_heard(read_job(job)),
    )
    for step in steps:
        assert printable(said_by(step))


def said_by(step: Callable[[], object]) -> str:
    """Return the words of a refusal, or nothing."""
    try:
        step()
    except PitchcheckError as error:
        return str(error)
    return ""


def printable(text: str) -> bool:
    return all(sign.isprintable() or sign == "\n" for sign in text)


def test_results_with_wrong_kinds_anywhere_end_in_no_trace(job: Path) -> None:
    """One value of a sealed result after the other is exchanged for one of another kind."""
    rng = random.Random(12)
    path = job / "passes/01-before/measurement.json"
    right = json.loads(path.read_bytes())
    strange = [None, "x", -1, 1e400, 10**6, True, [], {}, [[]], "\x1b[2J"]
    for _ in range(FUZZED):
        content = json.loads(json.dumps(right))
        place: object = content
        while True:
            if isinstance(place, dict) and place:
                key: object = rng.choice(sorted(place))
            elif isinstance(place, list) and place:
                key = rng.randrange(len(place))
            else:
                break
            if rng.random() < 0.3 or not isinstance(place[key], dict | list) or not place[key]:
                place[key] = rng.choice(strange)
                break
            place = place[key]
        path.write_text(json.dumps(content))
        assert all(map(printable, show_lines(read_job(job))))
        assert printable(said_by(lambda: read_result(path.parent)))


@pytest.mark.parametrize(
    "name", ["", "/", "//", "\x00", "x" * 5000, "{id}/notes/\x1b.md", "{id}/con", "{id}/" + "n/" * 200]
)
def test_members_with_strange_names_are_refused(job: Path, tmp_path: Path, name: str) -> None:
    path = packed(job, tmp_path / "bad.zip")
    with zipfile.ZipFile(path, "a") as out:
        info = zipfile.ZipInfo("placeholder")
        info.filename = name.format(id=job.name)
        out.writestr(info, "x")
    with pytest.raises(BadArchive) as told:
        import_job(tmp_path / "there", path)
    assert str(told.value).isprintable()
    assert not (tmp_path / "there").exists() or list((tmp_path / "there").iterdir()) == []


@pytest.mark.parametrize(
    "words",
    [
        ["job", "show", HUGE],
        ["job", "show", "\x1b[2J"],
        ["job", "show", "x" * 5000],
        ["job", "add", "{job}", "x" * 5000],
        ["job", "add", "{job}", ".", "--removed", f"{HUGE}=0.1 mm"],
        ["job", "add", "{job}", ".", "--removed", f"6={HUGE} mm"],
        ["job", "step", "{job}", HUGE],
        ["job", "set-aside", "{job}", HUGE, "--reason", "x"],
        ["job", "compare", "{job}", "--before", HUGE],
        ["job", "import", "x" * 5000],
        ["job", "verify", "x/" * 5000],
        ["job", "export", "{job}", "--to", "x" * 5000 + ".zip"],
        ["job", "report", "{job}", "--to", "x" * 5000 + ".html"],
        ["gauge", "{job}", "third", HUGE, "0.3", "mm"],
        ["gauge", "{job}", "third", "6", HUGE, "mm"],
        ["again", "{job}", "--strings", HUGE],
    ],
)
def test_strange_words_on_the_command_line_are_refused(job: Path, words: list[str]) -> None:
    before = contents(job)
    done = CliRunner().invoke(app, [word.format(job=job) for word in words])
    assert isinstance(done.exception, SystemExit), done.exception
    assert done.exit_code == 2
    assert contents(job) == before


def test_a_name_in_a_message_moves_no_cursor(capsys: pytest.CaptureFixture[str]) -> None:
    say("bench/\x1b[2J\u202e\x07 holds\nno takes, 0.2\u00a0mm")
    assert capsys.readouterr().err == "bench/?[2J?? holds\nno takes, 0.2\u00a0mm\n"
