"""``listen_folder``: a session at the microphone from the first prompt to the measurement."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from threading import Thread
from typing import TYPE_CHECKING

from pitchcheck.clip import Clip
from pitchcheck.errors import Problem
from pitchcheck.guide.events import GuideView, Sound
from pitchcheck.guide.guide import Guide
from pitchcheck.instrument import Instrument
from pitchcheck.pitch.read_note import read_note
from pitchcheck.pitch.reading import Unreadable
from pitchcheck.recorder.recorder import Recorder
from pitchcheck.session.settings import read_settings
from pitchcheck.takes import NextTake, Position, Stop
from pitchcheck.words.phrases import sentence
from pitchcheck.words.steps import narrowing
from pitchcheck.workflow.listen.input_line import InputLine
from pitchcheck.workflow.listen.measuring import Measuring, next_positions
from pitchcheck.workflow.listen.ports import Keys, NoTones, Screen, Source, Tones
from pitchcheck.workflow.listen.session import WISHES, Sitting

if TYPE_CHECKING:
    from pitchcheck.measurement import Measurement

LOOK_S = 0.05  # [s] between two looks at the keys
END_KEYS = (("f", "finish"),)
NEXT_KEYS = (("y", "play it"), ("r", "redo"), ("u", "undo"), *END_KEYS)


@dataclass(frozen=True)
class Listened:
    """What a sitting left behind.

    Attributes
    ----------
    folder : Path
    taken, asked : int
        Takes in the folder, and takes of its course.
    measurement : Measurement or None
        None when nothing was played or could be measured, or it was stopped before.
    problems : tuple of Problem
        Why nothing could be measured.
    stopped : bool
        Stopped from outside (Ctrl-C).
    notices : tuple of str
        What was found when the folder was opened.
    """

    folder: Path
    taken: int
    asked: int
    measurement: Measurement | None
    problems: tuple[Problem, ...]
    stopped: bool
    notices: tuple[str, ...]


def listen_folder(
    folder: Path,
    *,
    source: Source,
    screen: Screen,
    keys: Keys,
    planned: Sequence[Position] = (),
    replan: bool = False,
    tones: Tones | None = None,
    clock: Callable[[], float] = time.monotonic,
    sleep: Callable[[float], None] = time.sleep,
    measure: Callable[..., Measurement] | None = None,
) -> Listened:
    """Lead through the takes of a session folder, keep each, and measure.

    Parameters
    ----------
    folder : Path
        Holds ``session.toml``. A course that was begun in it goes on.
    source : Source
    screen : Screen
    keys : Keys
    planned : sequence of Position
        The course of a folder that asks for nothing yet.
    replan : bool
        True lets ``planned`` take the place of a course of which nothing was played.
    tones : Tones, optional
    clock, sleep : callable
        Seconds on a clock that never goes back, and waiting.
    measure : callable, optional
        In place of ``measure_folder``.

    Raises
    ------
    NothingMeasured
        If the settings cannot be used.
    BadInput
        If another process listens into the folder, or it cannot be written.
    CaptureFault
        If the input cannot be opened at the start.
    """
    instrument = read_settings(folder).settings.instrument
    loading = Thread(target=load_what_is_needed, args=(instrument,), name="loading", daemon=True)
    loading.start()
    with Recorder(folder, instrument=instrument, planned=planned, replan=replan) as recorder:
        line = InputLine(source, clock=clock, sleep=sleep)
        end, stopped = _End(None, ()), False
        try:
            sitting = Sitting(
                instrument,
                recorder=recorder,
                line=line,
                rate_hz=line.open(),
                screen=screen,
                keys=keys,
                tones=tones or NoTones(),
            )
            sitting.note = " ".join((*_resumed(recorder), *recorder.notices))
            while loading.is_alive():  # the first prompt is there to be read; sound waits in the input
                sitting.show()
                loading.join(LOOK_S)
            end = _to_the_end(
                sitting, folder, recorder=recorder, line=line, keys=keys, measure=measure, sleep=sleep
            )
        except KeyboardInterrupt:
            stopped = True
        finally:
            line.close()
        taken = sum(place.taken for place in recorder.places)
        asked = len(recorder.places)
    return Listened(folder, taken, asked, end.measurement, end.problems, stopped, recorder.notices)


@dataclass(frozen=True)
class _End:
    measurement: Measurement | None
    problems: tuple[Problem, ...]


def _to_the_end(
    sitting: Sitting,
    folder: Path,
    *,
    recorder: Recorder,
    line: InputLine,
    keys: Keys,
    measure: Callable[..., Measurement] | None,
    sleep: Callable[[float], None],
) -> _End:
    """Listen, measure, and play what helps most, until nothing more is to be played or the player ends it."""
    end = _End(None, ())
    while True:
        ended = sitting.listen()
        line.close()
        if not any(place.taken for place in recorder.places):
            return end
        work = Measuring(folder, measure=measure)
        while not work.wait(LOOK_S):
            sitting.show(_measuring(work), keys=END_KEYS)
            if "f" in keys.poll().lower():
                return end
        end = _End(work.measurement, () if work.fault is None else work.fault.problems)
        upcoming = None if work.measurement is None else work.measurement.plan.next_take
        if ended.early or upcoming is None:
            return end
        key = _ask(sitting, upcoming, keys=keys, sleep=sleep)
        if key == "f":
            return end
        if key == "y":
            sitting.extend(next_positions(upcoming))
        sitting.reopened(line.open())
        if key in WISHES:
            sitting.feed(WISHES[key])


def _ask(sitting: Sitting, upcoming: NextTake, *, keys: Keys, sleep: Callable[[float], None]) -> str:
    """Offer the take that would help most; return the key of the answer."""

    def offer(view: GuideView) -> GuideView:
        return replace(
            view, prompt=f"Next: {upcoming.position.words()}", hint=sentence(narrowing(upcoming.why)), said=""
        )

    try:
        while not keys.ended:
            sitting.show(offer, keys=NEXT_KEYS)
            for key in keys.poll().lower():
                if key in dict(NEXT_KEYS):
                    return key
            sleep(LOOK_S)
    except KeyboardInterrupt:  # there is a measurement: it is shown
        pass
    return "f"


def _measuring(work: Measuring) -> Callable[[GuideView], GuideView]:
    def change(view: GuideView) -> GuideView:
        return replace(
            view, prompt="Working it out", hint=f"{work.doing[0].upper()}{work.doing[1:]}.", said=""
        )

    return change


def _resumed(recorder: Recorder) -> tuple[str, ...]:
    """Return where a session that was begun goes on."""
    taken = sum(place.taken for place in recorder.places)
    if not taken:
        return ()
    upcoming = next((p.position for p in recorder.places if p.state.value == "to play"), None)
    on = "nothing is left to play." if upcoming is None else f"going on with {upcoming.words()}."
    return (f"{taken} of {len(recorder.places)} takes are here; {on}",)


def load_what_is_needed(instrument: Instrument) -> None:
    """Load what the first take will need, by hearing and reading half a second of a made-up note."""
    import numpy as np
    import soundfile  # noqa: F401

    seconds = np.arange(24_000) / 24_000
    note = np.exp(-3 * seconds) * np.sin(2 * np.pi * 440 * seconds)
    Guide(instrument, course=[Position(instrument.strings[0].number, Stop.OPEN)], rate_hz=24_000.0).step(
        Sound(note[:2400])
    )
    with suppress(Unreadable):
        read_note(Clip(note, 24_000.0), expected_hz=440.0)
