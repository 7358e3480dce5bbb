"""Sessions at the microphone in processes of their own, for tests that kill or interrupt them.

Arguments: sound file (npy), strings with commas. Each line of standard input, "folder skip slowly_s", starts
a session as a copy of this process, which has everything loaded: its number is written first. ``skip``
samples are left out at the start, and it stands still for ``slowly_s`` after a take is told. Every take that
is told as accepted is written to standard output before the next sound is read.
"""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path

import numpy as np

from helpers.listen import FileSource, Fingers, course
from pitchcheck.errors import NothingMeasured
from pitchcheck.report.screen.plain import PlainScreen
from pitchcheck.simulate.scenario import demo_settings
from pitchcheck.types import FloatArray
from pitchcheck.workflow.listen.run import listen_folder, load_what_is_needed


def session(folder: Path, sound: FloatArray, *, strings: list[int], slowly_s: float) -> None:
    """Run one session."""

    def tell(line: str) -> None:
        print(line, flush=True)
        time.sleep(slowly_s if "Taken" in line else 0.0)

    def no_measure(*_: object, **__: object) -> None:
        raise NothingMeasured("left out here")

    done = listen_folder(
        folder,
        source=FileSource(sound),
        screen=PlainScreen(tell),
        keys=Fingers(),
        planned=course(strings),
        sleep=lambda _: None,
        measure=no_measure,
    )
    print("stopped" if done.stopped else "ended", done.taken, flush=True)


def main() -> None:
    sound = np.load(sys.argv[1])
    strings = [int(number) for number in sys.argv[2].split(",")]
    load_what_is_needed(demo_settings().instrument)
    for line in sys.stdin:
        folder, skip, slowly_s = line.rstrip("\n").rsplit(" ", 2)
        child = os.fork()
        if child == 0:
            print("process", os.getpid(), flush=True)
            session(Path(folder), sound[int(skip) :], strings=strings, slowly_s=float(slowly_s))
            os._exit(0)
        _, status = os.waitpid(child, 0)
        print("over", os.waitstatus_to_exitcode(status), flush=True)


if __name__ == "__main__":
    main()
