"""Stretches of sound files to clips: any format with a decoder, any rate from 8 kHz, any number of channels.

Faults are raised as ``Unsound`` with the limit and what to do, so that the caller can name the row.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from pitchcheck.audio.channels import choose_channel
from pitchcheck.audio.faults import Unsound
from pitchcheck.audio.recording import check_rate, is_exact, read_whole
from pitchcheck.clip import Clip
from pitchcheck.types import FloatArray

__all__ = ["Unsound", "read_clip"]

SHORTEST_S = 0.1  # [s] no pitch to a tenth of a cent in less
LONGEST_S = 120.0  # [s] of one take: no string rings longer, and the memory is bounded


def read_clip(path: Path, *, start_s: float | None = None, end_s: float | None = None) -> Clip:
    """Read one stretch of a sound file as one channel.

    Parameters
    ----------
    path : Path
    start_s, end_s : float >= 0, optional
        Stretch, from the beginning of the file; all of it by default. An end past the end of the file is
        the end of the file. [s]

    Returns
    -------
    Clip
        ``start_s`` is where the stretch begins in the file.

    Raises
    ------
    Unsound
        If the file is missing, in a format that cannot be read, damaged, too short or too long, or if the
        stretch lies outside it or is silent.
    """
    if not path.is_file():
        raise Unsound("the file is missing", "Put it into the folder, or correct the name.")
    samples, rate, first = _read_stretch(path, start_s, end_s)
    if samples.shape[0] < SHORTEST_S * rate:
        raise Unsound(
            f"the file breaks off after {samples.shape[0] / rate:.2f} s; {SHORTEST_S:g} s is the least",
            "The file is damaged; play the note again.",
        )
    if not np.isfinite(samples).all():
        raise Unsound("it holds values that are no numbers", "The file is damaged; play the note again.")
    channel = np.ascontiguousarray(samples[:, choose_channel(samples, rate_hz=rate)])
    if float(np.ptp(channel)) == 0.0:
        raise Unsound("it is silent: every sample is the same", "Check the input and play the note again.")
    return Clip(channel, float(rate), first / rate)


def _read_stretch(path: Path, start_s: float | None, end_s: float | None) -> tuple[FloatArray, int, int]:
    """Samples of the stretch, shape (n, channels), their rate, and the first frame."""
    import soundfile

    if is_exact(path):
        try:
            with soundfile.SoundFile(path) as file:
                rate = file.samplerate
                first, count = _stretch(rate, file.frames, start_s, end_s)
                file.seek(first)
                return file.read(count, dtype="float64", always_2d=True), rate, first
        except (soundfile.LibsndfileError, OSError, RuntimeError):
            pass  # the decoder below knows more ways, and says what is wrong
    whole = read_whole(path)
    first, count = _stretch(whole.rate_hz, whole.samples.shape[0], start_s, end_s)
    return whole.samples[first : first + count].astype(np.float64), whole.rate_hz, first


def _stretch(rate: int, frames: int, start_s: float | None, end_s: float | None) -> tuple[int, int]:
    """First frame and number of frames of the stretch."""
    check_rate(rate)
    length_s = frames / rate
    start = start_s or 0.0
    if start >= length_s and frames > 0:
        raise Unsound(f"start_s is {start:g}, but the file lasts {length_s:.2f} s", "Correct start_s.")
    first = round(start * rate)
    last = frames if end_s is None else min(frames, round(end_s * rate))
    seconds = (last - first) / rate
    if seconds < SHORTEST_S:
        raise Unsound(
            f"{seconds:.2f} s of sound; {SHORTEST_S:g} s is the least", "Let the note ring, 2 s or more."
        )
    if seconds > LONGEST_S:
        raise Unsound(
            f"{seconds:.0f} s of sound; one take may last {LONGEST_S:g} s",
            "Give start_s and end_s for each note, or cut the file.",
        )
    return first, last - first
