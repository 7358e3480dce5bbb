"""Whatever takes long is worked out in processes beside, so that the sound that is heard is never late.

Conventions: functions and their arguments go to the other process by name and value; what they raise and may
be told to a person comes back as ``Refused``, as not every exception survives the way.
"""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import suppress
from dataclasses import dataclass, replace
from multiprocessing.process import BaseProcess
from pathlib import Path
from threading import Lock, Thread
from typing import Any, TypeVar

from pitchcheck.bench.page_words import on_page
from pitchcheck.errors import BadInput, NothingMeasured, PitchcheckError
from pitchcheck.jobs.errors import ConfirmFirst

NICENESS = 10  # below whatever captures sound
PROCESSES = 2
Result = TypeVar("Result")


@dataclass(frozen=True)
class Refused:
    """Why something was not done; ``confirm`` says that a word that it is meant would do it."""

    words: str
    confirm: bool = False


class Worker:
    """Two processes, each started when it is first needed: what was asked for need not wait for the nut."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._pool: ProcessPoolExecutor | None = None
        self._closed = False

    def submit(self, work: Callable[..., Result], *args: Any) -> Future[Result | Refused]:
        """Let something be done; the future holds its result, or why it was refused."""
        with self._lock:
            if self._closed:
                refused: Future[Result | Refused] = Future()
                refused.set_result(Refused("The bench is being closed."))
                return refused
            with suppress(BrokenProcessPool):
                return self._start().submit(guarded, work, *args)
            self._pool = None  # its process was killed: a new one takes its place
            return self._start().submit(guarded, work, *args)

    def close(self) -> None:
        """Begin nothing more."""
        with self._lock:
            self._closed = True
            if self._pool is not None:
                self._pool.shutdown(wait=False, cancel_futures=True)

    def _start(self) -> ProcessPoolExecutor:
        if self._pool is None:
            context = multiprocessing.get_context("spawn")
            self._pool = ProcessPoolExecutor(PROCESSES, mp_context=context, initializer=step_aside)
        return self._pool


def step_aside() -> None:
    """Let whatever captures sound go first, and end with the bench; called once in the worker process."""
    with suppress(OSError, AttributeError):  # no such thing on this system
        os.nice(NICENESS)
    bench = multiprocessing.parent_process()
    if bench is not None:
        Thread(target=_end_with, args=(bench,), daemon=True).start()


def _end_with(bench: BaseProcess) -> None:
    """Wait until the bench is gone; one that was killed cannot tell its workers."""
    bench.join()
    os._exit(0)


def guarded(work: Callable[..., Result], *args: Any) -> Result | Refused:
    """Do something; return its result, or in words why it cannot be."""
    try:
        return work(*args)
    except (PitchcheckError, OSError) as error:
        return refused(error)


def refused(error: Exception) -> Refused:
    """Return what an error says to who looks at the page."""
    found = _told(error)
    return replace(found, words=on_page(found.words))


def _told(error: Exception) -> Refused:
    """Return what an error says."""
    if isinstance(error, ConfirmFirst):
        return Refused(error.found, confirm=True)
    if isinstance(error, NothingMeasured):
        faults = [p.sentence() for p in error.problems if p.sentence() != str(error)]
        return Refused(" ".join([str(error), *faults]))
    if isinstance(error, BadInput):
        file = error.problem.file
        return Refused(replace(error.problem, file=file and Path(file).name).sentence())
    if isinstance(error, OSError):
        return Refused(
            f"It could not be written ({error.strerror or error}). Make room, or check the folder."
        )
    return Refused(str(error))
