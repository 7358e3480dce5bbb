"""The screen of a session at the microphone: what stands on it at 80 and 60 columns, and as plain lines."""

from __future__ import annotations

import io
import os
from dataclasses import replace

import pytest
from rich.console import Console

from pitchcheck.cli.keys import LineKeys
from pitchcheck.course import Thoroughness, survey_positions
from pitchcheck.guide.events import GuideView, Phase, PlaceState
from pitchcheck.report.screen.letters import big
from pitchcheck.report.screen.live import LiveScreen
from pitchcheck.report.screen.plain import PlainScreen
from pitchcheck.report.screen.trace import draw_trace
from pitchcheck.report.screen.view import Scene, level_line, level_word, screen_lines
from pitchcheck.session.presets import get_preset, presets
from pitchcheck.simulate.scenario import demo_settings
from pitchcheck.workflow.listen.session import KEYS

HINT = (
    "The B3 string, number 2 from the floor: with a rounded wooden rod hold it down onto the board midway "
    "between nut and fret 1, straight down, neck supported. Damp the others, pluck once, let it ring 2 s."
)


def scene(thoroughness: Thoroughness = Thoroughness.FULL, *, taken: int = 20) -> Scene:
    positions = survey_positions([1, 2, 3, 4, 5, 6], thoroughness=thoroughness)
    states = [PlaceState.TAKEN] * taken + [PlaceState.NOW, PlaceState.SKIPPED]
    states += [PlaceState.TO_PLAY] * (len(positions) - len(states))
    view = GuideView(
        phase=Phase.HEARING,
        prompt="String 2: press 1",
        hint=HINT,
        said="That was string 2, fret 2, not fret 1. Play fret 1.",
        level_db=-21.3,
        trace=((0.25, 31.0), (0.5, 22.0), (1.0, 18.0), (1.5, 17.4)),
        course=tuple(zip(positions, states, strict=True)),
        taken=taken,
        left_s=480.0,
    )
    return Scene(demo_settings().instrument, view, KEYS)


@pytest.mark.parametrize("thoroughness", list(Thoroughness))
@pytest.mark.parametrize(("width", "height"), [(80, 24), (60, 24), (120, 40), (60, 18)])
def test_everything_needed_fits(thoroughness: Thoroughness, width: int, height: int) -> None:
    lines = screen_lines(scene(thoroughness), width=width, height=height)
    text = "\n".join(line.text for line in lines)
    assert len(lines) <= height
    assert max(len(line.text) for line in lines) <= width
    letters = big("PRESS 1")
    assert letters is not None
    assert all(row.rstrip() in text for row in letters)
    words = " ".join(text.split())
    assert HINT in words
    assert "-21 dB good" in words
    assert "Play fret 1." in words
    assert "1 left out, about 8 minutes left" in words
    for key, what in KEYS:
        assert f"{key} {what}" in words
    assert "17.4" in words


def test_the_map_counts_takes_and_marks_the_one_asked_for() -> None:
    lines = [line.text for line in screen_lines(scene(), width=80, height=24)]
    head = next(i for i, line in enumerate(lines) if line.split()[:2] == ["open", "f1"])
    assert lines[head].split() == ["open", "f1", "f2", "f3", "f12", "p1", "p2"]
    assert lines[head + 1].split() == ["1", "E4", "7/7", "2/2", "1/1", "1/1", "1/1", "2/2", "2/2"]
    assert lines[head + 2].split() == ["2", "B3", "[2/7]", "2/2", "-", "0/1", "0/1", "0/2", "0/2"]


def test_too_small_a_terminal_keeps_the_prompt_and_the_keys() -> None:
    lines = [line.text for line in screen_lines(scene(), width=60, height=10)]
    assert len(lines) == 10
    assert lines[-1].startswith("keys: s skip")


@pytest.mark.parametrize("preset", presets(), ids=lambda p: p.name)
def test_every_instrument_has_a_map(preset: object) -> None:
    kind = get_preset(preset.name)
    instrument = replace(demo_settings().instrument, strings=kind.strings)
    positions = survey_positions([s.number for s in kind.strings], thoroughness=Thoroughness.FULL)
    view = replace(scene().view, course=tuple((p, PlaceState.TO_PLAY) for p in positions))
    words = [line.text.split() for line in screen_lines(Scene(instrument, view, KEYS), width=80, height=30)]
    for spec in kind.strings:
        assert any(line[:2] == [str(spec.number), spec.note] for line in words)


@pytest.mark.parametrize(
    ("level_db", "word"), [(-120, "silent"), (-60, "quiet"), (-20, "good"), (-5, "loud"), (0.5, "too loud")]
)
def test_the_level_has_a_word(level_db: float, word: str) -> None:
    assert level_word(level_db) == word
    assert level_line(level_db, width=60).endswith(word)


def test_the_bar_grows_with_the_level() -> None:
    lengths = [level_line(db, width=80).count("█") for db in (-90, -60, -30, 0, 6)]
    assert lengths == [0, 10, 25, 40, 40]


def test_the_trace_stands_where_the_pitch_is() -> None:
    flat = draw_trace([(0.1, -15.0), (1.9, -15.0)], width=80, rows=5)
    inked = [any(0x2800 < ord(sign) <= 0x28FF for sign in line) for line in flat]
    assert inked == [False, False, False, False, True]  # 15 below, of 20
    assert flat[0].split() == ["+20"]
    assert draw_trace([(0.5, 90.0)], width=80, rows=5)[0].split()[0] == "+100"


def test_the_live_screen_draws_at_once_what_is_new_and_no_more_than_ten_times_a_second() -> None:
    out, now = io.StringIO(), [0.0]
    console = Console(file=out, force_terminal=True, width=80, height=24)
    with LiveScreen(console, clock=lambda: now[0]) as screen:
        screen.show(scene())
        first = len(out.getvalue())
        screen.show(scene())
        assert len(out.getvalue()) == first
        screen.show(scene(taken=21))
        assert len(out.getvalue()) == first  # only a count has changed
        now[0] = 0.2
        screen.show(scene(taken=21))
        assert len(out.getvalue()) > first
        second = len(out.getvalue())
        screen.show(replace(scene(taken=21), note="The input is back."))
        assert len(out.getvalue()) > second
    assert "\x1b[?1049h" in out.getvalue()  # the terminal's other page (xterm control sequences) ...
    assert out.getvalue().rstrip().count("\x1b[?1049l") == 1  # ... and back


def test_plain_lines_tell_each_prompt_and_verdict_once() -> None:
    lines: list[str] = []
    screen = PlainScreen(lines.append)
    start = replace(scene().view, said="", taken=0)
    for view in (
        start,
        start,
        replace(start, level_db=-3.0),
        replace(start, hint=HINT + " I hear nothing."),
        replace(start, said="Too quiet. Play again."),
        replace(
            start, said="Taken: string 2 press 1.", taken=1, prompt="String 2: press 2", hint="As before."
        ),
    ):
        screen.show(Scene(demo_settings().instrument, view, KEYS))
    assert lines == [
        "keys: s skip  r redo  p pause  u undo  f finish",
        f"String 2: press 1. {HINT}",
        "I hear nothing.",
        "Too quiet. Play again.",
        "Taken: string 2 press 1. (1 of 96 takes, 1 left out, about 8 minutes left)",
        "String 2: press 2. As before.",
    ]


def test_lines_give_their_first_letter_as_a_key() -> None:
    keys = LineKeys(io.StringIO("skip\n\n p\nFinish\n"))
    pressed = ""
    while not keys.ended:
        pressed += keys.poll()
    assert pressed == "spF"


@pytest.mark.skipif(os.name == "nt", reason="a pseudo terminal is a thing of Unix")
def test_a_terminal_gives_single_keys_and_arrows_are_none() -> None:
    import pty
    import tty

    from pitchcheck.cli.keys import TerminalKeys

    ours, theirs = pty.openpty()
    tty.setcbreak(theirs)
    keys = TerminalKeys(theirs)
    assert keys.poll() == ""
    os.write(ours, b"su")
    assert keys.poll() == "su"
    os.write(ours, b"\x1b[A")
    assert keys.poll() == ""
    os.close(ours)
    os.close(theirs)
