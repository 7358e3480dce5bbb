"""``pitchcheck again``: one command goes on with a folder or a job; what cannot apply is refused.

The microphone is left out: the takes that it would have brought are written into the folder as readings.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner

import pitchcheck.workflow.listen.run as sitting
from helpers.jobs import NOW, make_job, sound
from helpers.pairs import lowered
from helpers.planted import SIX, heard, job_of, truth_of
from helpers.readings import write_readings
from pitchcheck.cli.app import app
from pitchcheck.guide.take_list import PlannedTake, TakeList, TakeState
from pitchcheck.jobs.read import read_job
from pitchcheck.recorder.course_file import COURSE, course_text
from pitchcheck.session.next_pass import last_pass, next_pass
from pitchcheck.session.settings import read_settings
from pitchcheck.simulate.folder import session_text
from pitchcheck.simulate.instrument import InstrumentTruth
from pitchcheck.takes import Position, Stop
from pitchcheck.workflow import hear
from pitchcheck.workflow.jobs.add_pass import add_pass
from pitchcheck.workflow.listen.run import Listened
from pitchcheck.workflow.measure import measure_folder

SETTINGS = job_of()
TRUTH = truth_of(SETTINGS, SIX)
FILED_MM = 0.20  # off string 4
PRESSES = tuple(Position(4, Stop.PRESS, fret) for fret in (1, 2))


def first_folder(place: Path) -> Path:
    """Return the folder of the pass before, measured with all strings."""
    place.mkdir(parents=True)
    (place / "session.toml").write_text("# my settings\n" + session_text(SETTINGS), encoding="utf-8")
    write_readings(place, heard(TRUTH))
    return place


def filed(string: int) -> InstrumentTruth:
    """The instrument with one slot filed."""
    pairs = enumerate(zip(TRUTH.strings, lowered(TRUTH, FILED_MM).strings, strict=True), 1)
    return replace(TRUTH, strings=tuple(new if n == string else old for n, (old, new) in pairs))


@pytest.fixture
def playing(monkeypatch: pytest.MonkeyPatch) -> list[tuple[Position, ...]]:
    """Stand in for the player: the filed instrument is heard at every place that is asked for."""
    asked: list[tuple[Position, ...]] = []

    def play(folder: Path, *, planned: tuple[Position, ...], **_: object) -> Listened:
        asked.append(planned)
        write_readings(folder, heard(filed(4), positions=planned))
        measured = measure_folder(folder, workers=1)
        return Listened(folder, len(planned), len(planned), measured, (), False, ())

    monkeypatch.setattr(sitting, "listen_folder", play)
    return asked


def again(*words: str | Path, status: int = 0) -> str:
    """Run the command; return all that was printed."""
    done = CliRunner().invoke(app, ["again", *map(str, words), "--plain"])
    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    assert done.exit_code == status, done.stdout + done.stderr
    return done.stdout + done.stderr


Playing = list[tuple[Position, ...]]


def test_the_next_pass_of_a_folder_holds_its_settings_and_the_pass_before(
    tmp_path: Path, playing: Playing
) -> None:
    first = first_folder(tmp_path / "bench" / "today")
    before = {path.name: path.read_bytes() for path in first.iterdir()}
    said = again(first, "--strings", "4", "--removed", "4=0.20 mm")
    second = tmp_path / "bench" / "today-2"
    assert "today-2" in said
    assert {place.string for place in playing[0]} == {4}
    text = (second / "session.toml").read_text()
    assert text.startswith("# my settings")
    assert tomllib.loads(text)["before"] == {
        "folder": "../today",
        "removed": [{"string": 4, "amount": "0.2 mm"}],
    }
    slots = {string.number: string for string in measure_folder(second, workers=1).plan.strings}
    for number, spec in enumerate(filed(4).strings, 1):
        height = slots[number].height_mm
        assert height is not None, number  # string 4 as filed, the others as heard before
        assert height.low < spec.slot_height_mm < height.high
    assert {path.name: path.read_bytes() for path in first.iterdir()} == before
    again(first, "--strings", "4")  # the same name again goes on from the last pass
    assert tomllib.loads((tmp_path / "bench" / "today-3" / "session.toml").read_text())["before"] == {
        "folder": "../today-2"
    }


def test_the_next_pass_of_a_job_is_played_measured_once_and_filed(
    tmp_path: Path, playing: Playing, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = make_job(tmp_path / "jobs")
    add_pass(job.folder, first_folder(tmp_path / "source"), now=NOW, workers=1)
    fits: list[int] = []
    real = __import__("pitchcheck.fit", fromlist=["fit_instrument"]).fit_instrument
    monkeypatch.setattr("pitchcheck.fit.fit_instrument", lambda *a, **k: fits.append(1) or real(*a, **k))
    words = ("lamp room", "--strings", "4", "--removed", "4=0.20 mm", "--jobs", tmp_path / "jobs")
    said = again(*words, "--final")
    assert "Sealed as pass 2, final" in said
    assert len(fits) == 1
    last = read_job(job.folder).passes[-1]
    assert [(r.string, r.amount_mm) for r in last.removed] == [(4, 0.2)]
    assert tomllib.loads((last.folder / "session.toml").read_text())["before"]["folder"] == "../01-before"
    sound(job.folder)


def test_a_sealed_pass_is_not_heard_again(
    tmp_path: Path, playing: Playing, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = make_job(tmp_path / "jobs")
    add_pass(job.folder, first_folder(tmp_path / "source"), now=NOW, workers=1)
    again(job.folder, "--strings", "4")
    read: list[Path] = []
    real: Callable[..., object] = hear.takes_from_readings

    def listening(rows: object) -> object:
        read.append(tmp_path)
        return real(rows)

    monkeypatch.setattr("pitchcheck.workflow.measure.takes_from_readings", listening)
    folder = next((tmp_path / "sessions").iterdir())
    whole = measure_folder(folder, workers=1)
    assert len(read) == 1  # this folder; the sealed one is taken as it was heard
    take = job.folder / "passes" / "01-before" / "readings.csv"
    take.write_text(take.read_text() + "# touched\n")
    assert len(measure_folder(folder, workers=1).takes) == len(whole.takes)
    assert len(read) == 3  # no longer as it was sealed: heard anew


@pytest.mark.parametrize(
    ("words", "fault"),
    [
        (["--strings", "9"], "string 9 is not one of this instrument's strings"),
        (["--strings", "four"], "must be numbers with commas"),
        (["--strings", "9" * 5000], "must be numbers with commas"),
        (["--removed", "4"], "write the string"),
        (["--removed", "9=0.1 mm"], "string 9"),
        (["--final"], "belongs to a job"),
        (["--kind", "bass"], "No such option"),
        (["--scale", "600 mm"], "No such option"),
    ],
)
def test_what_cannot_apply_is_refused_before_anything_is_made(
    tmp_path: Path, playing: Playing, words: list[str], fault: str
) -> None:
    first = first_folder(tmp_path / "bench" / "today")
    wrong_call = fault in ("belongs to a job", "No such option")
    assert fault in again(first, *words, status=64 if wrong_call else 2)
    assert [path.name for path in first.parent.iterdir()] == ["today"]
    assert playing == []


def test_a_pass_that_was_begun_goes_on_and_takes_no_new_removal(tmp_path: Path, playing: Playing) -> None:
    first = first_folder(tmp_path / "bench" / "today")
    said = again(first, "--strings", "4", "--removed", "4=0.20 mm", "--prepare")
    second = tmp_path / "bench" / "today-2"
    assert "pitchcheck measure" in said
    listed = (second / "takes.csv").read_text()
    assert {line.split(",")[1] for line in listed.splitlines()[1:]} == {"4"}
    (second / "takes.csv").unlink()
    assert "was begun already" in again(first, "--removed", "4=0.10 mm", status=2)
    assert "Goes on in" in again(first, "--strings", "4")
    assert [path.name for path in sorted(first.parent.iterdir())] == ["today", "today-2"]


def test_without_a_pass_before_there_is_nothing_to_go_on_from(tmp_path: Path) -> None:
    job = make_job(tmp_path / "jobs")
    assert "has no pass yet" in again(job.folder, status=2)
    empty = tmp_path / "empty"
    empty.mkdir()
    (empty / "session.toml").write_text(session_text(SETTINGS), encoding="utf-8")
    assert "holds no takes yet" in again(empty, status=2)
    assert "No job" in again("nobody", "--jobs", tmp_path / "jobs", status=2)


def test_a_gauge_reading_goes_into_the_last_pass_and_never_into_another_instrument(tmp_path: Path) -> None:
    first = first_folder(tmp_path / "guitar")
    other = first_folder(tmp_path / "guitar-2")  # only its name looks like a pass of the first
    second = next_pass(first, removed={4: "0.20 mm"})
    third = next_pass(second, removed={})
    assert (second.name, third.name) == ("guitar-3", "guitar-4")
    assert [last_pass(folder) for folder in (first, second, third, other)] == [third, third, third, other]
    before = {folder: (folder / "session.toml").read_bytes() for folder in (first, second, other)}
    done = CliRunner().invoke(app, ["gauge", str(first), "third", "4", "0.25", "mm"])
    assert done.exit_code == 0
    assert "guitar-4" in done.stdout
    assert {folder: (folder / "session.toml").read_bytes() for folder in before} == before
    (reading,) = read_settings(third).settings.meter
    assert (reading.string, reading.value_mm) == (4, 0.25)


@pytest.mark.parametrize("played", [True, False])
def test_takes_that_the_pass_before_left_unplayed_are_told_of(
    tmp_path: Path, playing: Playing, played: bool
) -> None:
    first = first_folder(tmp_path / "today")
    state = TakeState.SKIPPED if played else TakeState.TO_PLAY
    rest = [PlannedTake(position, state) for position in PRESSES]
    (first / COURSE).write_text(course_text(TakeList(rest, next_number=1)), encoding="utf-8")
    said = " ".join(again(first, "--strings", "4").split())
    assert ("today had 2 takes left to play" in said) != played
    assert (tmp_path / "today-2").is_dir()
