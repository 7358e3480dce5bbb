"""Sessions at the microphone for tests: a simulated survey, an input that is a file, a screen, keys."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from pitchcheck.capture.devices import CaptureFault
from pitchcheck.course import Thoroughness, survey_positions
from pitchcheck.guide.scene import Scene
from pitchcheck.guide.take_list import TakeState
from pitchcheck.simulate.body import random_body
from pitchcheck.simulate.folder import session_text
from pitchcheck.simulate.player import play
from pitchcheck.simulate.room import Room
from pitchcheck.simulate.scenario import HAND, demo_settings, demo_truth
from pitchcheck.simulate.voice import Voice, sound_of
from pitchcheck.takes import Position
from pitchcheck.types import FloatArray
from pitchcheck.words.microphone import scene_words
from pitchcheck.workflow.listen.ports import EndOfSound
from pitchcheck.workflow.listen.run import Listened, listen_folder

RATE_HZ = 48_000.0
TAKE_S = 2.2  # longer than the guide listens to a note
GAP_S = 0.5
LEAD_S = 1.0  # of the room before the first note
SEED = 5


def room_noise(seconds: float, *, seed: int = 1) -> FloatArray:
    """Return the noise of a quiet room, 70 dB below full scale."""
    return 3e-4 * np.random.default_rng(seed).standard_normal(round(seconds * RATE_HZ))


@cache
def notes(
    strings: tuple[int, ...], thoroughness: Thoroughness = Thoroughness.QUICK
) -> tuple[FloatArray, ...]:
    """Sound of every take of the demo's guitar, in the order of the course."""
    rng = np.random.default_rng(SEED)
    truth = demo_truth()
    voice = Voice(random_body(rng, pull_cents=1.5), Room(), RATE_HZ, TAKE_S)
    played = play(rng, truth=truth, hand=HAND, positions=course(strings, thoroughness))
    return tuple(
        sound_of(rng, played=p, instrument=demo_settings().instrument, truth=truth, voice=voice).samples
        for p in played
    )


def course(strings: Sequence[int], thoroughness: Thoroughness = Thoroughness.QUICK) -> tuple[Position, ...]:
    """Return the course that is played."""
    return survey_positions(strings, thoroughness=thoroughness)


def in_a_row(takes: Sequence[FloatArray], *, gap_s: float = GAP_S) -> FloatArray:
    """Notes one after the other, with the room before, between and after."""
    parts = [room_noise(LEAD_S)]
    for number, take in enumerate(takes):
        parts += [take, room_noise(gap_s, seed=number)]
    return np.concatenate(parts)


def new_folder(folder: Path) -> Path:
    """Make a folder that knows the demo's guitar, and nothing else."""
    folder.mkdir(parents=True)
    (folder / "session.toml").write_text(session_text(demo_settings()), encoding="utf-8")
    return folder


class FileSource:
    """An input that gives a sound piece by piece, as fast as it is read; reopened it goes on where it was.

    ``faults`` are raised once each, when so many samples have been read.
    """

    def __init__(
        self, sound: FloatArray, *, piece: int = 4096, faults: Sequence[tuple[int, CaptureFault]] = ()
    ) -> None:
        self.rate_hz = RATE_HZ
        self.read_samples = 0
        self.opened = 0
        self._sound, self._piece = sound, piece
        self._faults = list(faults)

    def __call__(self, *, again: bool) -> AbstractContextManager[FileSource]:
        self.opened += 1
        return self._open()

    @contextmanager
    def _open(self) -> Iterator[FileSource]:
        yield self

    def read(self, timeout_s: float) -> FloatArray:
        if self._faults and self.read_samples >= self._faults[0][0]:
            raise self._faults.pop(0)[1]
        if self.read_samples >= self._sound.size:
            raise EndOfSound
        piece = self._sound[self.read_samples : self.read_samples + self._piece]
        self.read_samples += piece.size
        return piece


@dataclass
class Watcher:
    """A screen that remembers; it also tells when something was seen."""

    on_show: Callable[[Scene], None] | None = None

    def __post_init__(self) -> None:
        self.prompts: list[str] = []
        self.said: list[str] = []
        self.notes: list[str] = []
        self.last: Scene | None = None

    def show(self, scene: Scene) -> None:
        self.last, words = scene, scene_words(scene)
        for seen, now in (
            (self.prompts, words.prompt),
            (self.said, words.said),
            (self.notes, words.notes),
        ):
            if now and (not seen or seen[-1] != now):
                seen.append(now)
        if self.on_show is not None:
            self.on_show(scene)

    def states(self) -> str:
        """Return the states of the course: t(aken), s(kipped), . for the others."""
        assert self.last is not None
        letters = {TakeState.TAKEN: "t", TakeState.SKIPPED: "s"}
        return "".join(letters.get(take.state, ".") for take in self.last.view.takes)


class Fingers:
    """Keys that a test presses."""

    def __init__(self, keys: str = "", *, ended: bool = True) -> None:
        self.waiting = keys
        self._ended = ended

    @property
    def ended(self) -> bool:
        return self._ended and not self.waiting

    def press(self, key: str) -> None:
        self.waiting += key

    def poll(self) -> str:
        pressed, self.waiting = self.waiting, ""
        return pressed


def listen(
    folder: Path,
    sound: FloatArray,
    *,
    strings: Sequence[int] = (2,),
    screen: Watcher | None = None,
    keys: Fingers | None = None,
    source: FileSource | None = None,
    **more: object,
) -> Listened:
    """Listen to a sound as fast as it can be read."""
    return listen_folder(
        folder,
        source=source or FileSource(sound),
        screen=screen or Watcher(),
        keys=keys or Fingers(),
        planned=course(strings),
        sleep=lambda _: None,
        **more,
    )
