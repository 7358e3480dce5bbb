"""What stays on a terminal of 80 x 24 when a command ends: one screen, the amounts on it, no word broken."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from helpers.bench_player import BenchPlayer, bench_room
from helpers.jobs import NOW, make_job
from helpers.microphone import INPUT
from helpers.planted import heard, job_of, truth_of
from helpers.readings import write_readings
from helpers.terminal import COLUMNS, LINES, Terminal, screen_after
from pitchcheck.cli.explain import read_sections
from pitchcheck.cli.output import wrapped
from pitchcheck.course import Thoroughness, survey_positions
from pitchcheck.instrument import Removal
from pitchcheck.jobs.layout import VARIABLE
from pitchcheck.simulate.folder import session_text
from pitchcheck.workflow.jobs.add_pass import add_pass

SETTINGS = job_of()
HEIGHTS_MM = (0.62, 0.75, 0.70, 0.66, 0.80, 0.85)
FILED_MM = 0.25  # off string 3
AMOUNTS = "at most:"


def session(place: Path, *, filed_mm: float = 0.0, strings: tuple[int, ...] = (1, 2, 3, 4, 5, 6)) -> Path:
    """A session folder with readings of some strings."""
    place.mkdir(parents=True)
    heights = [height - (filed_mm if n == 3 else 0.0) for n, height in enumerate(HEIGHTS_MM, 1)]
    (place / "session.toml").write_text(session_text(SETTINGS), encoding="utf-8")
    takes = heard(truth_of(SETTINGS, heights))
    write_readings(place, tuple(take for take in takes if take.position.string in strings))
    return place


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job of two passes in ``jobs``, one of a single pass beside it, and folders that can be added."""
    top = tmp_path_factory.mktemp("end")
    first = session(top / "all")
    job = make_job(top / "jobs", title="Lamp room guitar", customer="The lamp keeper").folder
    add_pass(job, first, now=NOW, workers=1)
    second = session(top / "third", filed_mm=FILED_MM, strings=(3,))
    add_pass(job, second, now=NOW, removed=[Removal(3, FILED_MM)], workers=1)
    make_job(top / "jobs", title="Empty shelf")
    session(top / "outer", strings=(1, 6))
    return top


@pytest.fixture
def here(place: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv(VARIABLE, str(place / "jobs"))
    monkeypatch.setenv("OMP_NUM_THREADS", "1")
    return place


COMMANDS: dict[str, tuple[list[str], bool]] = {  # and whether amounts stand at the end
    "measure": (["measure", "all"], True),
    "gauge a folder": (["gauge", "all", "third", "6", "0.40", "mm"], True),
    "again": (["again", "all", "--strings", "3", "--prepare"], False),
    "new": (["new", "fresh", "--kind", "electric", "--aim", "new nut"], False),
    "kinds": (["kinds"], False),
    "demo": (["demo"], False),
    "help": (["--help"], False),
    "help of job": (["job", "--help"], False),
    "explain": (["explain"], False),
    "explain one": (["explain", "input"], False),  # the longest
    "inputs, none": (["inputs"], False),
    "job new": (["job", "new", "Another guitar of the workshop"], False),
    "job list": (["job", "list"], False),
    "job show": (["job", "show", "lamp"], True),
    "job show, empty": (["job", "show", "shelf"], False),
    "job add": (["job", "add", "lamp", "outer", "--final"], True),
    "gauge a job": (["gauge", "lamp", "third", "3", "0.21", "mm"], True),
    "job compare": (["job", "compare", "lamp"], False),
    "job report": (["job", "report", "lamp", "--to", "lamp.html"], False),
    "job step": (["job", "step", "lamp"], False),
    "job note": (["job", "note", "lamp", "a", "note"], False),
    "job export": (["job", "export", "lamp", "--to", "lamp.zip", "--without-names"], False),
    "job set-aside": (["job", "set-aside", "lamp", "2", "--reason", "the wrong folder"], False),
    "job verify": (["job", "verify", "lamp"], False),
    "job tidy": (["job", "tidy", "lamp"], False),
    "a refusal": (["job", "report", "shelf", "--to", "shelf.html"], False),
    "nobody's job": (["job", "show", "a job that nobody ever had"], False),
}


@pytest.mark.slow
@pytest.mark.parametrize("name", COMMANDS)
def test_the_end_of_every_command_is_one_screen(here: Path, name: str) -> None:
    words, amounts = COMMANDS[name]
    one_screen(screen_after(*words, cwd=here), amounts=amounts)


def one_screen(shown: list[str], *, amounts: bool) -> None:
    """Nothing is cut; where amounts belong, they stand last, below all six strings."""
    assert shown[LINES - 1] == "", f"the last line is for the prompt: {shown[-1]}"
    text = [line for line in shown if line]
    assert text
    assert max(len(line) for line in text) <= COLUMNS
    if amounts:
        end = " ".join(line.strip() for line in text[-3:])
        assert AMOUNTS in end or "file nothing" in end.lower(), end
        heads = [line.split()[0] for line in text if re.match(r"\d+ [A-G][#b]?\d", line)]  # 1 E4
        assert heads == ["1", "2", "3", "4", "5", "6"]
        assert any("the nut" in line or "Lamp room guitar" in line for line in text)  # the answer too


@pytest.mark.slow
def test_the_end_of_a_session_at_the_microphone_is_one_screen(tmp_path: Path) -> None:
    """Played on string 3, filed, and played again, on the screen that a person sees."""
    course = survey_positions((3,), thoroughness=Thoroughness.BASE)
    listen = ["listen", "bench/lamp", "--kind", "electric", "--level-frets"]
    truth = truth_of(SETTINGS, HEIGHTS_MM)
    with bench_room(tmp_path) as microphone:
        player = BenchPlayer(microphone, tmp_path, instrument=SETTINGS.instrument, truth=truth)
        for words in (listen, ["again", "bench/lamp"]):
            command = [*words, "--strings", "3", "--input", INPUT, "--no-tones"]
            with Terminal(*command, cwd=tmp_path, environment=microphone.environment) as terminal:
                for taken, place in enumerate(course):
                    terminal.until(f"{taken} of {len(course)} takes")
                    player.pluck(place)
                terminal.until("would tell more", or_end=True)
                if terminal.process.poll() is None:
                    terminal.press("f")
                assert terminal.end() == 0
                one_screen(terminal.lines, amounts=True)
            player.file({3: FILED_MM})
        inputs = Terminal("inputs", cwd=tmp_path, environment=microphone.environment)
        with inputs:
            assert inputs.end() == 0
            one_screen(inputs.lines, amounts=False)


def test_every_explanation_fits_a_screen(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", str(COLUMNS))
    lengths = {name: len(list(wrapped(lines))) for name, lines in read_sections().items()}
    assert max(lengths, key=lambda name: lengths[name]) == "input"
    assert lengths["input"] <= LINES - 1


def test_lines_break_between_words_and_paths_stay_whole(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", str(COLUMNS))
    path = "/" + "a-long-name/" * 8 + "end"
    lines = list(wrapped([f"Sealed as pass 1, before: {path}", "  and some words " + "more " * 20, ""]))
    assert path in [line.strip() for line in lines]
    assert all(len(line) <= COLUMNS for line in lines if path not in line)
    assert (
        " ".join(" ".join(lines).split()) == f"Sealed as pass 1, before: {path} and some words" + " more" * 20
    )
    assert lines[-2].startswith("    more")  # hangs under its start
    assert lines[-1] == ""
