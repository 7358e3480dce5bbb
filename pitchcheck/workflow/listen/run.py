"""``listen_folder``: a session at the microphone from the first prompt to the measurement."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from threading import Thread
from typing import TYPE_CHECKING

from pitchcheck.clip import Clip
from pitchcheck.errors import Problem
from pitchcheck.guide.events import Sound
from pitchcheck.guide.guide import Guide
from pitchcheck.guide.scene import Key, NoticeKind
from pitchcheck.guide.take_list import TakeList, TakeState
from pitchcheck.instrument import Instrument
from pitchcheck.pitch.read_note import read_note
from pitchcheck.pitch.reading import Unreadable
from pitchcheck.recorder.recorder import Recorder
from pitchcheck.session.gauge_entry import add_gauge, parse_gauge
from pitchcheck.session.settings import read_settings
from pitchcheck.takes import Position, Stop
from pitchcheck.workflow.listen.input_line import InputLine
from pitchcheck.workflow.listen.measuring import Measuring, next_positions
from pitchcheck.workflow.listen.ports import Keys, NoTones, Screen, Source, Tones
from pitchcheck.workflow.listen.session import ListenSession

if TYPE_CHECKING:
    from pitchcheck.measurement import Measurement

LOOK_S = 0.05  # [s] between two looks at the keys
END_KEYS = (Key.FINISH,)


@dataclass(frozen=True)
class Listened:
    """What a session left behind.

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
    missing : int
        Takes that were asked for when the sitting began and were neither played nor skipped; what would tell
        more and was asked for on the way does not count.
    """

    folder: Path
    taken: int
    asked: int
    measurement: Measurement | None
    problems: tuple[Problem, ...]
    stopped: bool
    notices: tuple[str, ...]
    missing: int = 0


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
        first = len(recorder.takes.entries)
        try:
            session = ListenSession(
                instrument,
                recorder=recorder,
                line=line,
                rate_hz=line.open(),
                screen=screen,
                keys=keys,
                tones=tones or NoTones(),
                gauge=lambda text: _write_gauge(folder, text),
            )
            session.notice(NoticeKind.RESUMED, _resumed(recorder))
            session.notice(NoticeKind.FOLDER, " ".join(recorder.notices))
            while loading.is_alive():  # the first prompt is there to be read; sound waits in the input
                session.show()
                loading.join(LOOK_S)
            end = _to_the_end(session, folder, recorder=recorder, line=line, keys=keys, measure=measure)
        except KeyboardInterrupt:
            stopped = True
        finally:
            line.close()
        taken, asked = len(recorder.takes.taken), len(recorder.takes.entries)
        missing = sum(entry.state is TakeState.TO_PLAY for entry in recorder.takes.entries[:first])
    notices = recorder.notices
    return Listened(folder, taken, asked, end.measurement, end.problems, stopped, notices, missing)


@dataclass(frozen=True)
class _End:
    measurement: Measurement | None
    problems: tuple[Problem, ...]


def _to_the_end(
    session: ListenSession,
    folder: Path,
    *,
    recorder: Recorder,
    line: InputLine,
    keys: Keys,
    measure: Callable[..., Measurement] | None,
) -> _End:
    """Listen, measure, and go on with what helps most, until nothing more does or the player ends it."""
    end = _End(None, ())
    upcoming: list[Position] = []
    taken = 0
    while True:
        ended = session.listen()
        line.close()
        if not recorder.takes.taken:
            return end
        work = Measuring(folder, measure=measure)
        while not work.wait(LOOK_S):
            session.show(measuring=work.doing, keys=END_KEYS)
            if Key.FINISH in keys.poll().lower():
                return end
        end = _End(work.measurement, () if work.fault is None else work.fault.problems)
        asked, upcoming = upcoming, [] if work.measurement is None else next_positions(work.measurement)
        # whoever has no leaves skips all of them, and would be asked for the same again
        skipped = upcoming == asked and len(recorder.takes.taken) == taken
        if ended.early or not upcoming or skipped:
            return end
        taken = len(recorder.takes.taken)
        session.notice(NoticeKind.MEASURED, f"Measured. {_more(len(upcoming))} would tell more: f ends.")
        session.extend(upcoming)
        session.reopened(line.open())


def _more(count: int) -> str:
    return "One more take" if count == 1 else f"{count} more takes"


def _write_gauge(folder: Path, text: str) -> str:
    """Write a typed gauge reading down; return what is said of it."""
    instead = ", in place of the earlier reading" if add_gauge(folder, parse_gauge(text)) else ""
    return f"Written down: {text.strip()}{instead}."


def _resumed(recorder: Recorder) -> str:
    """Return where a session that was begun goes on; empty for a new one."""
    takes = recorder.takes
    if not takes.taken:
        return ""
    upcoming = next((e.position for e in takes.entries if e.state is TakeState.TO_PLAY), None)
    on = "nothing is left to play." if upcoming is None else f"going on with {upcoming.words()}."
    return f"{len(takes.taken)} of {len(takes.entries)} takes are here; {on}"


def load_what_is_needed(instrument: Instrument) -> None:
    """Load what the first take will need, by hearing and reading half a second of a made-up note."""
    import numpy as np
    import soundfile  # noqa: F401

    seconds = np.arange(24_000) / 24_000
    note = np.exp(-3 * seconds) * np.sin(2 * np.pi * 440 * seconds)
    takes = TakeList.planned([Position(instrument.strings[0].number, Stop.OPEN)])
    Guide(instrument, takes=takes, rate_hz=24_000.0).step(Sound(note[:2400]))
    with suppress(Unreadable):
        read_note(Clip(note, 24_000.0), expected_hz=440.0)
