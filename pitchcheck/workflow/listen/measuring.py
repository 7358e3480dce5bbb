"""Measures a session while keys are still heard, and puts the take worth playing next into words."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from threading import Thread
from typing import TYPE_CHECKING

from pitchcheck.errors import NothingMeasured
from pitchcheck.takes import Position
from pitchcheck.workflow.progress import Progress

if TYPE_CHECKING:
    from pitchcheck.measurement import Measurement


class Measuring:
    """A measurement under way in a thread of its own.

    Parameters
    ----------
    folder : Path
    measure : callable, optional
        In place of ``measure_folder``.
    """

    def __init__(self, folder: Path, *, measure: Callable[..., Measurement] | None) -> None:
        self.doing = "reading the folder"
        self.measurement: Measurement | None = None
        self.fault: NothingMeasured | None = None
        self._error: BaseException | None = None
        self._thread = Thread(
            target=self._work, args=(folder, measure), name="measuring the session", daemon=True
        )
        self._thread.start()

    def wait(self, seconds: float) -> bool:
        """Wait at most so long; return whether it is done. An unforeseen error is raised here. [s]"""
        self._thread.join(seconds)
        if self._error is not None:
            raise self._error
        return not self._thread.is_alive()

    def _work(self, folder: Path, measure: Callable[..., Measurement] | None) -> None:
        progress: Progress = self._note
        try:
            if measure is None:  # loaded only now: it brings the whole fit
                from pitchcheck.workflow.measure import measure_folder

                measure = partial(measure_folder, keep=True)
            self.measurement = measure(folder, progress=progress)
        except NothingMeasured as fault:
            self.fault = fault
        except BaseException as error:  # handed to the thread that waits
            self._error = error

    def _note(self, done: int, total: int, doing: str, /) -> None:
        self.doing = f"{doing}, {done} of {total}"


def next_positions(measurement: Measurement) -> list[Position]:
    """Return the run of takes worth playing next, in playing order; empty when listening is over."""
    return list(measurement.plan.next_takes)
