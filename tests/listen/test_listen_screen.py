"""The screen of a session at the microphone: what stands on it at 80 and 60 columns, and as plain lines."""

from __future__ import annotations

import io
import os
from dataclasses import replace

import numpy as np
import pytest
from rich.console import Console

from helpers.system import needs
from pitchcheck.cli.keys import LineKeys
from pitchcheck.course import Thoroughness, survey_positions
from pitchcheck.guide.events import Accepted, GuideView, Phase, Reason, Refused, Silence
from pitchcheck.guide.scene import Entry, Key, Notice, NoticeKind, Scene
from pitchcheck.guide.take_list import PlannedTake, TakeState
from pitchcheck.report.screen.letters import big
from pitchcheck.report.screen.live import LiveScreen
from pitchcheck.report.screen.plain import PlainScreen
from pitchcheck.report.screen.trace import draw_trace
from pitchcheck.report.screen.view import level_line, level_word, screen_lines
from pitchcheck.session.presets import get_preset, presets
from pitchcheck.simulate.scenario import demo_settings
from pitchcheck.takes import Position, Stop
from pitchcheck.words.microphone import KEY_WORDS, how_words
from pitchcheck.workflow.listen.session import KEYS

PRESS = Position(2, Stop.PRESS, 1)
REFUSED = Refused(
    Position(2, Stop.FRET, 1), Reason.WRONG_FRET, heard=Position(2, Stop.FRET, 2), hz=277.2, cents=110.0
)


def scene(thoroughness: Thoroughness = Thoroughness.FULL, *, taken: int = 20, **more: object) -> Scene:
    positions = survey_positions([1, 2, 3, 4, 5, 6], thoroughness=thoroughness)
    states = [TakeState.TAKEN] * taken + [TakeState.TO_PLAY, TakeState.SKIPPED]
    states += [TakeState.TO_PLAY] * (len(positions) - len(states))
    view = GuideView(
        phase=Phase.WAITING,
        position=PRESS,
        seat_first=False,
        silence=Silence.ROOM,
        last=REFUSED,
        flash=False,
        lost="",
        early=False,
        level_db=-21.3,
        trace=((0.25, 31.0), (0.5, 22.0), (1.0, 18.0), (1.5, 17.4)),
        takes=tuple(PlannedTake(p, s) for p, s in zip(positions, states, strict=False)),
        now=taken,
        taken=taken,
        left_s=480.0,
    )
    return Scene(demo_settings().instrument, replace(view, **more), KEYS)


HINT = how_words(PRESS, instrument=demo_settings().instrument, seat_first=False)


@pytest.mark.parametrize("thoroughness", list(Thoroughness))
@pytest.mark.parametrize(("width", "height"), [(80, 24), (60, 24), (120, 40), (60, 20)])
def test_everything_needed_fits(thoroughness: Thoroughness, width: int, height: int) -> None:
    lines = screen_lines(scene(thoroughness), width=width, height=height)
    text = "\n".join(line.text for line in lines)
    assert len(lines) <= height
    assert max(len(line.text) for line in lines) <= width
    letters = big("PRESS 1", scale=2 if height > 36 and width > 100 else 1)
    assert letters is not None
    assert all(row.rstrip() in text for row in letters)
    words = " ".join(text.split())
    assert HINT in words
    assert "-21 dB good" in words
    assert "not fret 1. Play string 2 fret 1." in words
    assert "1 left out, about 8 minutes left" in words
    for key in KEYS:
        assert f"{key.value} {KEY_WORDS[key][0]}" in words
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
    assert any(line.startswith("keys: s skip") for line in lines)


@pytest.mark.parametrize("preset", presets(), ids=lambda p: p.name)
def test_every_instrument_has_a_map(preset: object) -> None:
    kind = get_preset(preset.name)
    instrument = replace(demo_settings().instrument, strings=kind.strings)
    positions = survey_positions([s.number for s in kind.strings], thoroughness=Thoroughness.FULL)
    view = replace(scene().view, takes=tuple(PlannedTake(p) for p in positions), now=0)
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
        back = Notice(NoticeKind.INPUT, "The input is hissing.")
        screen.show(replace(scene(taken=21), notices=(back,)))
        assert len(out.getvalue()) > second
    assert "\x1b[?1049h" in out.getvalue()  # the terminal's other page (xterm control sequences) ...
    assert out.getvalue().rstrip().count("\x1b[?1049l") == 1  # ... and back


@pytest.mark.parametrize(("width", "height"), [(80, 24), (160, 50)])
def test_the_verdict_stands_large_and_inverse_for_its_second(width: int, height: int) -> None:
    for last, word in ((REFUSED, "AGAIN"), (accepted(), "TAKEN")):
        lines = screen_lines(scene(last=last, flash=True), width=width, height=height)
        scale = 2 if width > 100 else 1
        letters = big(word, scale=scale)
        assert letters is not None
        inverse = [line.text for line in lines if line.inverse]
        assert inverse == [row.ljust(width).rstrip() for row in letters]
    assert not any(line.inverse for line in screen_lines(scene(), width=width, height=height))


def accepted() -> Accepted:
    from pitchcheck.clip import Clip
    from pitchcheck.pitch.reading import Reading

    reading = Reading(247.0, 0.1, 5e-5, 1e-6, 1.0, 0.5, 30.0, 15, (0.3, 2.3))
    return Accepted(20, 20, PRESS, Clip(np.zeros(1), 48_000.0), reading)


def test_the_keys_are_explained_and_a_gauge_reading_shows_as_it_is_typed() -> None:
    shown = replace(scene(), help=True)
    words = " ".join(" ".join(line.text for line in screen_lines(shown, width=80, height=30)).split())
    for key in Key:
        assert f"{key.value} {KEY_WORDS[key][0]}: {KEY_WORDS[key][1]}" in words
    typing = replace(scene(), entry=Entry("third 6 0.0", "It has no unit."))
    lines = [line.text for line in screen_lines(typing, width=80, height=24)]
    assert lines[0] == "Gauge: third 6 0.0_"
    assert "It has no unit." in " ".join(lines)


def test_plain_lines_tell_each_prompt_and_verdict_once() -> None:
    lines: list[str] = []
    screen = PlainScreen(lines.append)
    start = replace(scene().view, last=None, taken=0)
    quiet = Refused(PRESS, Reason.TOO_QUIET)
    for view in (
        start,
        start,
        replace(start, level_db=-3.0),
        replace(start, silence=Silence.LONG),
        replace(start, last=quiet),
        replace(start, last=accepted(), taken=1, position=Position(2, Stop.PRESS, 2)),
    ):
        screen.show(Scene(demo_settings().instrument, view, KEYS))
    assert lines[:2] == [
        "keys: s skip  r redo  p pause  u undo  g gauge  f finish  ? help",
        f"String 2: press 1. {HINT}",
    ]
    assert lines[2].startswith("Waiting for your pluck.")
    assert lines[3].startswith("Too quiet:")
    assert lines[4] == "Taken: string 2 press 1. (1 of 96 takes, 1 left out, about 8 minutes left)"
    assert lines[5].startswith("String 2: press 2. String 2, B3: with the rod's rounded end")
    assert len(lines) == 6


def test_a_take_is_told_once_though_it_is_shown_again_and_a_second_refusal_is_told() -> None:
    lines: list[str] = []
    screen = PlainScreen(lines.append)
    start = replace(scene().view, last=None, taken=0)
    taken = replace(start, last=accepted(), taken=1)
    measuring = replace(taken, last=None)
    refused = replace(taken, last=Refused(PRESS, Reason.TOO_QUIET))
    for view in (
        start,
        taken,
        measuring,
        taken,
        refused,
        measuring,
        refused,
    ):  # measured, then listening goes on
        screen.show(Scene(demo_settings().instrument, view, KEYS))
    assert sum(line.startswith("Taken:") for line in lines) == 1
    assert sum(line.startswith("Too quiet:") for line in lines) == 2


def test_lines_give_their_first_letter_as_a_key() -> None:
    keys = LineKeys(io.StringIO("skip\n\n p\nFinish\n"))
    pressed = ""
    while not keys.ended:
        pressed += keys.poll()
    assert pressed == "spF"


def test_a_terminal_gives_single_keys_and_arrows_are_none() -> None:
    needs("pseudo terminal")
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
