"""The demo: an imaginary guitar is played, written as a session folder, and measured like any other."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from pitchcheck.clip import Clip
from pitchcheck.measurement import Measurement
from pitchcheck.simulate.folder import write_session
from pitchcheck.simulate.player import SessionTruth
from pitchcheck.simulate.scenario import HAND, STORY, demo_settings, demo_truth
from pitchcheck.takes import Position
from pitchcheck.workflow.measure import measure_folder
from pitchcheck.workflow.progress import Progress

RATE_HZ = 48_000.0  # [Hz] of the demo's recordings
TAKE_S = 1.8  # [s] length of a take
BODY_PULL_CENTS = 1.5  # a lively body; see simulate.body

__all__ = ["STORY", "Demo", "run_demo"]


@dataclass(frozen=True)
class Demo:
    """What was measured, and what is true."""

    measurement: Measurement
    truth: SessionTruth

    @property
    def true_heights_mm(self) -> dict[int, float]:
        """True slot heights by string number. [mm]"""
        return {s.number: s.slot_height_mm for s in self.truth.instrument.strings}


def run_demo(folder: Path, *, seed: int, progress: Progress | None = None) -> Demo:
    """Play, write and measure the demo's guitar.

    Parameters
    ----------
    folder : Path
        Where the session folder goes; see ``simulate.folder.write_session``.
    seed : int >= 0
        Chance of hand, room and strings. The guitar stays the same.
    progress : Progress, optional

    Raises
    ------
    BadInput
        If the folder holds something else.
    NothingMeasured
        If no string could be measured.
    """
    import numpy as np

    from pitchcheck.course import Thoroughness, survey_positions
    from pitchcheck.simulate.body import random_body
    from pitchcheck.simulate.player import play
    from pitchcheck.simulate.room import Room
    from pitchcheck.simulate.voice import Voice, sound_of

    rng = np.random.default_rng(seed)
    settings, instrument = demo_settings(), demo_truth()
    numbers = [s.number for s in instrument.strings]
    positions = survey_positions(numbers, thoroughness=Thoroughness.FULL)
    truth = SessionTruth(instrument, HAND, play(rng, truth=instrument, hand=HAND, positions=positions))
    voice = Voice(random_body(rng, pull_cents=BODY_PULL_CENTS), Room(), RATE_HZ, TAKE_S)

    def sounds() -> Iterator[tuple[Position, Clip]]:
        for done, played in enumerate(truth.takes, start=1):
            yield (
                played.position,
                sound_of(rng, played=played, instrument=settings.instrument, truth=instrument, voice=voice),
            )
            if progress is not None:
                progress(done, len(truth.takes), "playing the imaginary guitar")

    write_session(folder, settings=settings, takes=sounds(), truth=truth)
    return Demo(measure_folder(folder, progress=progress, workers=os.cpu_count() or 1), truth)
