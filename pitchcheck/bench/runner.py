"""One session at a time, run by the code that runs it in a terminal; the page is its screen and its keyboard.

Conventions: the session has a thread of its own, measuring has a process of its own; both tell the hub.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from contextlib import suppress
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from queue import Empty, SimpleQueue
from threading import Lock, Thread
from typing import Any

from pitchcheck.bench.hub import Hub
from pitchcheck.bench.live_view import scene_parts
from pitchcheck.bench.nut_view import NutSoFar, measure_nut
from pitchcheck.bench.page_words import on_page
from pitchcheck.bench.worker import Refused, Worker
from pitchcheck.errors import NothingMeasured, PitchcheckError
from pitchcheck.guide.scene import Scene
from pitchcheck.takes import Position, Stop
from pitchcheck.workflow.listen.ports import Source, Tones
from pitchcheck.workflow.listen.run import Listened, listen_folder

END_S = 15.0  # [s] allowed for a session to end when it is stopped


class Stage(StrEnum):
    """What the bench is doing."""

    IDLE = "idle"
    OPENING = "opening"
    LISTENING = "listening"
    ENDED = "ended"  # measured, or left with nothing to measure
    STOPPED = "stopped"
    FAULT = "fault"


@dataclass(frozen=True)
class Begin:
    """A session to run.

    Attributes
    ----------
    folder : Path
    planned : tuple of Position
        What is asked of a folder that asks for nothing yet.
    replan : bool
        True lets ``planned`` take the place of a course of which nothing was played.
    name : str
        In addresses; the folder's by default.
    words : str
        To be told before listening.
    """

    folder: Path
    planned: tuple[Position, ...] = ()
    replan: bool = True
    name: str = ""
    words: str = ""


@dataclass(frozen=True)
class ChosenInput:
    """The input that sessions listen to; None is what the bench was started with."""

    device: str | None = None
    channel: int | None = None


class PageKeys:
    """Keys pressed on the page, by any tab."""

    ended = False

    def __init__(self) -> None:
        self._keys: SimpleQueue[str] = SimpleQueue()
        self._stop = False

    def press(self, keys: str) -> None:
        """Press keys."""
        self._keys.put(keys)

    def stop(self) -> None:
        """Break off: what was accepted is kept."""
        self._stop = True

    def poll(self) -> str:
        """Return the keys since the last call; break off if that was asked for."""
        if self._stop:
            raise KeyboardInterrupt
        found = ""
        with suppress(Empty):
            while True:
                found += self._keys.get_nowait()
        return found


class Runner:
    """Runs sessions one after the other.

    Parameters
    ----------
    source : callable
        Returns what opens the input that was chosen.
    tones : Tones
    hub : Hub
    worker : Worker
        Measures what was played so far.
    sleep : callable
        Waits so many seconds while sound gathers in the input.
    """

    def __init__(
        self,
        *,
        source: Callable[[ChosenInput], Source],
        tones: Tones,
        hub: Hub,
        worker: Worker,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        self._source, self._tones, self._hub, self._worker = source, tones, hub, worker
        self._sleep = sleep
        self._lock = Lock()
        self._thread: Thread | None = None
        self._keys = PageKeys()
        self._measuring: Future[NutSoFar | Refused] | None = None
        self._due = False  # takes have come since the measurement that is under way began
        self._taken = -1
        self._nuts = 0
        self._closed = False
        self.folder: Path | None = None
        self.name = ""
        self.nut: NutSoFar | None = None
        self.done: Listened | None = None
        self.input = ChosenInput()
        self.stage = Stage.IDLE

    @property
    def busy(self) -> bool:
        """Whether a session is under way."""
        return self._thread is not None and self._thread.is_alive()

    def begin(self, session: Begin) -> bool:
        """Begin or go on with a session; False while another one is under way."""
        with self._lock:
            if self.busy:
                return self.folder == session.folder
            if self.folder != session.folder:
                self.nut = None
            self.folder, self.done, self._keys, self._taken = session.folder, None, PageKeys(), -1
            self.name = session.name or session.folder.name
            self._tell(Stage.OPENING, session.words)
            self._hub.publish(scene=None, live=None)
            self._thread = Thread(target=self._run, args=(session,), name="listening", daemon=True)
            self._thread.start()
        self.measure(session.folder)
        return True

    def press(self, keys: str) -> None:
        """Press keys in the session that is under way."""
        self._keys.press(keys)

    def stop(self) -> None:
        """Break the session off and wait until its folder is free."""
        self._keys.stop()
        if self._thread is not None:
            self._thread.join(END_S)

    def close(self) -> None:
        """Stop whatever is under way."""
        self.stop()
        self._closed = True
        self._worker.close()

    def measure(self, folder: Path) -> None:
        """Measure a folder as far as it was played; while that lasts, remember that it is due again."""
        with self._lock:
            if self._closed:
                return
            if self._measuring is not None and not self._measuring.done():
                self._due = True
                return
            self._due = False
            self._measuring = self._worker.submit(measure_nut, str(folder))
        self._measuring.add_done_callback(lambda future: self._measured(folder, future))

    def _measured(self, folder: Path, future: Future[NutSoFar | Refused]) -> None:
        if future.cancelled():
            return
        error = future.exception()
        if folder == self.folder:
            words = f"It could not be measured ({type(error).__name__}: {error}); its takes are kept."
            found = Refused(words) if error is not None else future.result()
            self.nut = NutSoFar(problem=found.words) if isinstance(found, Refused) else found
            self._nuts += 1
            self._hub.publish(nut=self._nuts)
        if self._due and self.folder is not None and not self._closed:
            self.measure(self.folder)

    def _run(self, session: Begin) -> None:
        try:
            done = listen_folder(
                session.folder,
                source=self._source(self.input),
                screen=self,
                keys=self._keys,
                planned=session.planned,
                replan=session.replan and bool(session.planned),
                tones=self._tones,
                sleep=self._sleep,
            )
        except NothingMeasured as fault:
            self._tell(Stage.FAULT, " ".join([str(fault), *(p.sentence() for p in fault.problems)]))
        except PitchcheckError as fault:
            self._tell(Stage.FAULT, str(fault))
        except BaseException as error:
            # A fault of the program: whoever waits at the bench is told, then it is raised as it is.
            self._tell(Stage.FAULT, f"The session broke off ({type(error).__name__}); its takes are kept.")
            raise
        else:
            self.done = done
            words = " ".join(problem.sentence() for problem in done.problems)
            self._tell(Stage.STOPPED if done.stopped else Stage.ENDED, words)
        finally:
            self._hub.publish(live=None)
        self.measure(session.folder)

    def show(self, scene: Scene) -> None:
        """Hand a scene to the page; called many times a second by the session."""
        if self.stage is Stage.OPENING:
            self._tell(Stage.LISTENING, "")
        self._hub.publish(**scene_parts(scene))
        if scene.view.taken != self._taken:
            more = tells_more([t.position for t in scene.view.takes if t.taken])
            if self._taken >= 0 and more and self.folder is not None:
                self.measure(self.folder)
            self._taken = scene.view.taken

    def _tell(self, stage: Stage, words: str) -> None:
        self.stage = stage
        self._hub.publish(stage={"stage": stage.value, "words": on_page(words), "session": self.name or None})


def tells_more(taken: Sequence[Position]) -> bool:
    """Whether there is something new to measure: the last take closes a bracket, or is of a leaf."""
    last = taken[-1].stop if taken else None
    return last is Stop.LEAF or (last is Stop.OPEN and any(p.stop is not Stop.OPEN for p in taken))


def as_keys(name: str) -> str | None:
    """Return the key of a button; None if it is none."""
    from pitchcheck.guide.scene import Key

    keys: dict[str, Any] = {key.name.lower(): key.value for key in Key}
    return keys.get(name)
