"""States of a session as the page gets them, from a session that was really played."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from helpers.bench_page import hardly, lasting_worker, until
from helpers.listen import FileSource, course, new_folder
from pitchcheck.bench.hub import Hub
from pitchcheck.bench.runner import Begin, Runner
from pitchcheck.capture.devices import CaptureFault
from pitchcheck.types import FloatArray
from pitchcheck.workflow.listen.ports import NoTones

Parts = dict[str, Any]


class RememberingHub(Hub):
    """A hub that remembers everything that was published."""

    def __init__(self) -> None:
        super().__init__()
        self.all: list[Parts] = []

    def publish(self, **parts: Any) -> None:
        self.all.append(parts)
        super().publish(**parts)


def play_through(
    folder: Path,
    sound: FloatArray,
    *,
    strings: Sequence[int],
    faults: Sequence[tuple[int, CaptureFault]] = (),
) -> list[Parts]:
    """Play a sound to a session; return all that the page was told."""
    hub, worker = RememberingHub(), lasting_worker()
    runner = Runner(
        source=lambda _: FileSource(sound, faults=faults),
        tones=NoTones(),
        hub=hub,
        worker=worker,
        sleep=hardly,
    )
    try:
        runner.begin(Begin(new_folder(folder), course(strings)))
        until(lambda: not runner.busy, within_s=120.0)
    finally:
        runner.close()
    return hub.all
