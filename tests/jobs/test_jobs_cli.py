"""``pitchcheck job`` from the outside: a whole job on the command line, and every refusal with its status."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from helpers.folders import FIXTURES, READINGS, SETTINGS, make_folder
from helpers.jobs import BOTH_HIGH, NOW, OPENS, contents, make_job, outer_strings, photo, quick_source
from helpers.system import needs
from pitchcheck.cli.app import app
from pitchcheck.jobs.layout import VARIABLE, jobs_place
from pitchcheck.jobs.sums import sum_of_file
from pitchcheck.jobs.write import new_job
from pitchcheck.words.checklist import CHECKLIST
from pitchcheck.workflow.jobs.result_file import read_result

SOURCE = FIXTURES / "session-readings"
MANY_JOBS, TAKES = 500, 100
LONGEST_S = (
    1.0  # [s] of work that a whole command may take with 500 jobs; other programs' work is not counted
)


def run(*words: str | Path, status: int = 0, stdin: str | None = None) -> tuple[str, str]:
    """Run ``pitchcheck`` and return standard output and standard error."""
    done = CliRunner().invoke(app, list(map(str, words)), input=stdin)
    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    assert done.exit_code == status, done.stdout + done.stderr
    return done.stdout, done.stderr


@pytest.fixture
def jobs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return the folder that the commands use without being told."""
    monkeypatch.setenv(VARIABLE, str(tmp_path / "jobs"))
    return tmp_path / "jobs"


def test_a_job_from_first_look_to_hand_over(jobs: Path, tmp_path: Path) -> None:
    source = outer_strings(tmp_path / "source", SOURCE, last="6")  # compared in a third of the time
    out, _ = run("job", "new", "Lamp room guitar", "--customer", "The lamp keeper", "--owner-words", "sharp")
    assert "Made" in out
    out, err = run("job", "add", "lamp", source, "--photo", photo(tmp_path))
    assert "File off" in out
    assert "Sealed as pass 1, before" in err
    run("job", "note", "lamp", "-", stdin="Filed six.\nThen one.\n")
    run("job", "note", "lamp", "Let", "it", "rest.")
    out, _ = run("job", "show", "lamp", "--all")
    assert "Let it rest." in out
    assert "2 notes: --all" in run("job", "show", "lamp")[0]
    out, _ = run("job", "step", "lamp", "thickness")
    assert "[ ] 4 Thickness snug" in out  # looking is not doing
    assert "Finish scored" not in out
    assert run("job", "show", "lamp", "--all")[0].count("Checklist") == 0
    out, _ = run("job", "step", "lamp", "thickness", "--measured", "5.9 mm", "--note", "snug")
    assert "[x] 4 Thickness snug" in out
    assert "5.9 mm; snug" in out
    out, err = run(
        "measure", source, "--json", "--job", "lamp", "--kind", "final", "--removed", "6=0.20 mm",
        "--removed", "1=4 thou", "--anyway",
    )  # fmt: skip
    json.loads(out)
    assert "Sealed as pass 2, final" in err
    out, _ = run("job", "show", "lamp", "--all")
    for words in ("The lamp keeper", "    sharp", "Pass 1: before", "Pass 2: final", "Then one.", "0001.jpg"):
        assert words in out
    told = "since the pass before: string 6 0.20 mm (7.9 thou), string 1 0.10 mm (4.0 thou)"
    assert told in " ".join(out.split())
    out, _ = run("job", "list")
    first, second = out.splitlines()
    assert first == "1 2026" + out[6:12] + "-lamp-room-guitar  Lamp room guitar  (2 passes, last: final)"
    assert second.strip().startswith("strings: ")
    page = tmp_path / "page.html"
    out, _ = run("job", "verify", "lamp")
    fingerprint = out.partition("Fingerprint: ")[2][:64]
    run("job", "report", "lamp", "--to", page, "--for", "player", "--without-sound")
    assert fingerprint in page.read_text(encoding="utf-8").replace(" ", "").replace("\n", "")
    run("job", "note", "lamp", "Handed back.")
    out, _ = run("job", "verify", "lamp", "--fingerprint", fingerprint)
    assert "every byte is as it was written" in out
    assert "does not show who changed it" in " ".join(out.split())
    assert "as it was 1 change ago" in out
    out, _ = run("job", "verify", "lamp", "--fingerprint", "0" * 64, status=1)
    assert "not of this job" in out


def test_export_and_import_on_the_command_line(jobs: Path, tmp_path: Path) -> None:
    program = needs("ssh-keygen")
    job = make_job(jobs)
    run("job", "add", job.id, quick_source(tmp_path / "source"))
    key = tmp_path / "key"
    subprocess.run([program, "-q", "-t", "ed25519", "-N", "", "-f", str(key)], check=True)
    out, err = run("job", "export", job.id, "--to", tmp_path / "a.zip", "--sign", key)
    assert f"SHA-256 {sum_of_file(tmp_path / 'a.zip')}" in out
    assert "voices too" in err
    signers = tmp_path / "signers"
    signers.write_text(f"bench {key.with_suffix('.pub').read_text()}")
    there = tmp_path / "there"
    _, err = run("job", "import", tmp_path / "a.zip", "--jobs", there, "--signer", "bench", status=64)
    assert "belong together" in err
    asked = ("--signers", signers, "--signer")
    _, err = run("job", "import", tmp_path / "a.zip", "--jobs", there, *asked, "mill", status=2)
    assert "not-signed" in err
    assert not there.exists()
    run("job", "import", tmp_path / "a.zip", "--jobs", there, *asked, "bench")
    assert contents(there / job.id) == contents(job.folder)
    _, err = run("job", "import", tmp_path / "a.zip", "--jobs", there, status=2)
    assert "never replaced" in err
    _, err = run("job", "export", job.id, "--to", tmp_path / "b.zip", "--without-names", "--trim")
    assert "Left out: names, notes, sound around the notes" in err


def test_passes_are_compared_until_a_change_is_found(jobs: Path, tmp_path: Path) -> None:
    job = make_job(jobs)
    for _ in range(2):
        run("job", "add", job.id, quick_source(tmp_path / "source", extra=1), "--anyway")
    out, _ = run("job", "compare", job.id, "--before", "before", "--after", "after pass 1")
    assert "before against after pass 1" in out
    out, _ = run("job", "compare", job.id, "--json")
    assert [string["number"] for string in json.loads(out)["strings"]] == [1, 2]
    out, _ = run("job", "compare", job.id, "--csv")
    assert out.startswith("string,note,")
    _, err = run("job", "compare", job.id, "--csv", "--json", status=64)
    assert "Choose one" in err
    (job.folder / "passes/01-before/aside-00.wav").write_bytes(b"other")
    out, _ = run("job", "verify", job.id, status=1)
    assert "CHANGED: passes/01-before/aside-00.wav" in out
    _, err = run("job", "report", job.id, "--to", tmp_path / "page.html", status=2)
    assert "nothing is reported from it" in err
    assert not (tmp_path / "page.html").exists()


def test_a_job_is_also_named_by_its_folder(jobs: Path, tmp_path: Path) -> None:
    job = make_job(tmp_path / "elsewhere")
    out, _ = run("job", "show", job.folder)
    assert job.id in out
    run("job", "show", job.id, status=2)  # not in the usual place
    file = tmp_path / "file"
    file.write_text("")
    _, err = run("job", "list", "--jobs", file, status=2)
    assert "cannot be read" in err


def test_leftovers_are_named_and_removed_only_when_asked_twice(jobs: Path) -> None:
    job = make_job(jobs)
    left = job.folder / "unfinished-0001" / "passes" / "01-before"
    left.mkdir(parents=True)
    (left / "007.wav").write_bytes(b"a take")
    out, _ = run("job", "show", job.id)
    assert "Cut short: unfinished-0001" in out
    out, _ = run("job", "verify", job.id)
    assert "Leftover of a write that does not count: unfinished-0001" in out
    out, _ = run("job", "tidy", job.id)
    assert "passes/01-before/007.wav" in out
    _, err = run("job", "tidy", job.id, "--remove", stdin="y\n", status=2)
    assert "asks once more, on a terminal" in err
    assert (left / "007.wav").read_bytes() == b"a take"


def test_the_checklist_shows_its_cautions_and_the_cut_of_the_outer_strings(
    jobs: Path, tmp_path: Path
) -> None:
    job = make_job(jobs)
    out, _ = run("job", "step", job.id)
    assert all(step.title in out for step in CHECKLIST)
    assert out.count("Caution:") == 1  # of the next step
    out, _ = run("job", "step", job.id, "--all")
    flat = " ".join(out.split())
    for step in CHECKLIST:
        assert step.title in flat
        assert " ".join(step.caution.split()) in flat
    assert "nothing measured yet" in flat
    source = outer_strings(tmp_path / "outer", BOTH_HIGH, last="4")
    run("job", "add", job.id, source)
    out, _ = run("job", "step", job.id, "height", "--done")
    assert "from the two outer strings as last heard" in out
    assert "not in addition" in out
    assert "[x] 6 Height" in out
    truth = json.loads((BOTH_HIGH / "truth.json").read_text())["strings"]
    result = read_result(source.parent / "jobs" / job.id / "passes" / "01-before")
    assert result.outer_cut is not None
    ends = (result.outer_cut.treble_mm, result.outer_cut.bass_mm)
    for end_mm, slot in zip(ends, (result.slots[0], result.slots[-1]), strict=True):
        assert (
            0 < end_mm <= truth[str(slot.number)]["slot_height_mm"] - slot.target_mm
        )  # nothing goes too low


@pytest.mark.parametrize(
    ("words", "slug"),
    [
        (["job", "show", "nobody"], "no-such-job"),
        (["job", "new", ""], "bad-value"),
        (["job", "add", "{id}", "nowhere"], "nothing-measured"),
        (["job", "add", "{id}", "{source}", "--removed", "6"], "bad-value"),
        (["job", "add", "{id}", "{source}", "--kind", "later"], "bad-value"),
        (["job", "note", "{id}", "  "], "bad-value"),
        (["job", "step", "{id}", "varnish"], "bad-value"),
        (["job", "step", "{id}", "--done"], "wrong-call"),
        (["job", "step", "{id}", "score", "--done", "--undo"], "wrong-call"),
        (["job", "compare", "{id}"], "bad-value"),
        (["job", "export", "{id}", "--to", "job.tar"], "bad-input"),
        (["job", "import", "{source}/readings.csv"], "bad-archive"),
        (["job", "report", "{id}", "--to", "page.html", "--for", "nobody"], "bad-value"),
        (["measure", "{source}", "--removed", "1=0.1 mm"], "wrong-call"),
    ],
)
def test_a_refusal_names_its_section(jobs: Path, tmp_path: Path, words: list[str], slug: str) -> None:
    job = make_job(jobs)
    source = make_folder(tmp_path / "source", settings=SETTINGS, readings=OPENS)
    before = contents(job.folder)
    _, err = run(
        *(word.format(id=job.id, source=source) for word in words), status=64 if slug == "wrong-call" else 2
    )
    assert f"pitchcheck explain {slug})" in err
    assert contents(job.folder) == before


def test_the_usual_place_follows_the_system(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.delenv(VARIABLE, raising=False)
    if sys.platform == "linux":  # XDG base directory specification: data in $XDG_DATA_HOME
        monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
        assert jobs_place() == tmp_path / "pitchcheck" / "jobs"
    assert jobs_place(tmp_path) == tmp_path
    monkeypatch.setenv(VARIABLE, str(tmp_path / "else"))
    assert jobs_place() == tmp_path / "else"


def many_jobs(place: Path, count: int) -> None:
    """Make jobs of a hundred takes: one by the public functions, the others as copies under other names."""
    rows = "".join(f"{1 + n % 2},open,,0,{(329.6, 246.9)[n % 2]}\n" for n in range(TAKES))
    source = make_folder(place / "source", readings=READINGS + rows)
    for number in range(TAKES):
        (source / f"{number:03d}.wav").write_bytes(bytes(200))
    first = new_job(place / "jobs", title="Lamp 0", now=NOW).folder
    run("job", "add", first.name, source, "--jobs", first.parent)
    files = contents(first)
    for number in range(1, count):
        folder = first.parent / f"2026-03-04-lamp-{number}"
        for name, content in files.items():
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            (folder / name).write_bytes(content)


def seconds(*words: str) -> float:
    """Processor time of a whole command, start of Python included: the least of three."""
    resource = pytest.importorskip("resource", reason="processor times of other processes are not told here")
    code = "import sys; from pitchcheck.cli import main; sys.argv[0] = 'pitchcheck'; main()"
    times = []
    for _ in range(3):
        start = sum(resource.getrusage(resource.RUSAGE_CHILDREN)[:2])
        done = subprocess.run(
            [sys.executable, "-c", code, *words], capture_output=True, text=True, check=True
        )
        times.append(sum(resource.getrusage(resource.RUSAGE_CHILDREN)[:2]) - start)
        assert "lamp" in done.stdout
    return min(times)


@pytest.mark.slow
def test_five_hundred_jobs_of_a_hundred_takes_are_listed_and_shown_in_a_second(tmp_path: Path) -> None:
    many_jobs(tmp_path, MANY_JOBS)
    place = ("--jobs", str(tmp_path / "jobs"))
    listed, shown = seconds("job", "list", *place), seconds("job", "show", "2026-03-04-lamp-77", *place)
    print(f"list {listed:.2f} s, show {shown:.2f} s")
    assert listed < LONGEST_S
    assert shown < LONGEST_S


def test_a_list_reads_no_sound_and_no_result(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What keeps the list quick: it opens one small file of a job, and imports no numbers."""
    many_jobs(tmp_path, 3)
    code = (
        "import sys; from pitchcheck.jobs.read import list_jobs; from pathlib import Path\n"
        "opened = []; sys.addaudithook(lambda e, a: opened.append(str(a[0])) if e == 'open' else None)\n"
        "assert len(list_jobs(Path(sys.argv[1]))) == 3\n"
        "print('\\n'.join(opened)); print('numpy' in sys.modules)"
    )
    words = [sys.executable, "-c", code, str(tmp_path / "jobs")]
    done = subprocess.run(words, capture_output=True, text=True, check=True)
    lines = done.stdout.splitlines()
    assert lines[-1] == "False"
    assert {Path(line).name for line in lines[:-1] if "lamp" in line} == {"job.toml"}
