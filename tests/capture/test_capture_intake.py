"""What the audio library calls: copies, counts, never raises; frames against the clock."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from pitchcheck.capture.intake import ALLOWED_S, FrameCount, Intake

RATE_HZ = 48_000.0
BLOCK = 480  # frames, 10 ms
DRIFT = 84e-6  # measured between one sound server's clock and the computer's


@dataclass
class Clock:
    """A clock that a test sets."""

    now_s: float = 100.0

    def __call__(self) -> float:
        return self.now_s


@dataclass(frozen=True)
class Status:
    """The audio library's flags."""

    input_overflow: bool = True


def lost(count: FrameCount, times_s: np.ndarray, frames: np.ndarray) -> list[float]:
    """Return every loss that was told."""
    told = (count.count(int(n), at_s=float(t)) for t, n in zip(times_s, frames, strict=True))
    return [loss_s for loss_s in told if loss_s > 0]


def blocks(duration_s: float, *, drift: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
    """Return arrival times and lengths of blocks that come on time, but for the drift of two clocks."""
    number = round(duration_s * RATE_HZ / BLOCK)
    return 5.0 + np.arange(number) * BLOCK / RATE_HZ * (1 + drift), np.full(number, BLOCK)


@pytest.mark.parametrize("drift", [-3 * DRIFT, 0.0, 3 * DRIFT])
def test_an_hour_without_loss_tells_none_though_the_clocks_drift(drift: float) -> None:
    times_s, frames = blocks(3600.0, drift=drift)
    assert lost(FrameCount(rate_hz=RATE_HZ), times_s, frames) == []


def test_blocks_that_wait_in_line_are_not_lost() -> None:
    rng = np.random.default_rng(5)
    times_s, frames = blocks(600.0)
    late_s = np.maximum.accumulate(times_s + np.where(rng.random(times_s.size) < 0.01, 0.3, 0.0))
    assert lost(FrameCount(rate_hz=RATE_HZ), late_s, frames) == []


@pytest.mark.parametrize("lost_s", [0.15, 0.5, 8.2])
@pytest.mark.parametrize("at_s", [7.0, 31.0, 599.0])
def test_lost_frames_are_told_once(lost_s: float, at_s: float) -> None:
    times_s, frames = blocks(600.0 if at_s < 500 else 620.0, drift=DRIFT)
    keep = (times_s < 5.0 + at_s) | (times_s > 5.0 + at_s + lost_s)
    told = lost(FrameCount(rate_hz=RATE_HZ), times_s[keep], frames[keep])
    assert len(told) == 1
    assert told[0] == pytest.approx(lost_s, abs=0.02)  # two blocks


def test_less_than_allowed_is_not_told() -> None:
    times_s, frames = blocks(60.0)
    keep = (times_s < 20.0) | (times_s > 20.0 + 0.8 * ALLOWED_S)
    assert lost(FrameCount(rate_hz=RATE_HZ), times_s[keep], frames[keep]) == []


def test_a_block_is_copied_because_the_library_uses_its_memory_again() -> None:
    intake = Intake(clock=Clock(), most=96_000)
    block = np.ones((4, 2), dtype=np.float32)
    intake.hear(block, 4, None, None)
    block[:] = 0.0
    ((at_s, piece),) = intake.take(0.0)
    assert at_s == 100.0
    assert np.array_equal(piece, np.ones((4, 2)))


def test_sound_that_nobody_reads_does_not_fill_the_memory_and_its_loss_is_known() -> None:
    intake = Intake(clock=Clock(), most=10)
    for _ in range(5):
        intake.hear(np.zeros((4, 1)), 4, None, None)
    assert intake.overflowed
    assert len(intake.take(0.0)) == 2  # 8 frames of the 10
    intake.hear(np.ones((4, 1)), 4, None, None)
    assert len(intake.take(0.0)) == 1  # and it goes on


@pytest.mark.parametrize("at_s", [2.0, 20.0])
def test_a_loss_is_told_soon(at_s: float) -> None:
    times_s, frames = blocks(60.0)
    keep = (times_s < 5.0 + at_s) | (times_s > 5.0 + at_s + 0.2)
    count = FrameCount(rate_hz=RATE_HZ)
    told = [t for t, n in zip(times_s[keep], frames[keep], strict=True) if count.count(int(n), at_s=float(t))]
    assert len(told) == 1
    assert 1.0 < told[0] - (5.0 + at_s + 0.2) < 1.5  # as its docstring says


def test_an_overflow_flag_is_kept() -> None:
    intake = Intake(clock=Clock(), most=96_000)
    intake.hear(np.zeros((4, 1)), 4, None, Status())
    assert intake.overflowed


def test_an_error_while_copying_is_handed_over_and_not_raised() -> None:
    class Bad:
        def __array__(self, *args: object, **kwargs: object) -> np.ndarray:
            raise MemoryError("no room")

    intake = Intake(clock=Clock(), most=96_000)
    intake.hear(Bad(), 4, None, None)
    assert isinstance(intake.error, MemoryError)


def test_nothing_within_the_time_gives_nothing() -> None:
    assert Intake(clock=Clock(), most=96_000).take(0.01) == []
