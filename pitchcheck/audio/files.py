"""Sound files to clips: any format that libsndfile reads, any rate from 8 kHz up, any number of channels.

Faults are raised as ``Unsound`` with the limit and what to do, so that the caller can name the row.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from pitchcheck.audio.channels import choose_channel
from pitchcheck.clip import Clip
from pitchcheck.errors import PitchcheckError

LOWEST_RATE_HZ = 8000  # [Hz] below it too few partials are left; our choice
HIGHEST_RATE_HZ = 768_000  # [Hz] beyond any converter
SHORTEST_S = 0.1  # [s] no pitch to a tenth of a cent in less
LONGEST_S = 120.0  # [s] of one take: no string rings longer, and the memory is bounded
PHONE_FORMATS = {".m4a", ".mp4", ".aac", ".3gp", ".amr", ".wma", ".webm", ".mov", ".caf"}


class Unsound(PitchcheckError):
    """A sound file, or the stretch of it, cannot be read."""

    slug = "unsound"

    def __init__(self, limit: str, action: str) -> None:
        super().__init__(f"{limit}. {action}")
        self.limit = limit
        self.action = action


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
    import soundfile

    if not path.is_file():
        raise Unsound("the file is missing", "Put it into the folder, or correct the name.")
    try:
        with soundfile.SoundFile(path) as file:
            rate = file.samplerate
            first, count = _stretch(rate, file.frames, start_s, end_s)
            file.seek(first)
            samples = file.read(count, dtype="float64", always_2d=True)
    except (soundfile.LibsndfileError, OSError, RuntimeError) as error:
        raise _unreadable(path, error) from error
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


def _stretch(rate: int, frames: int, start_s: float | None, end_s: float | None) -> tuple[int, int]:
    """First frame and number of frames of the stretch."""
    if not LOWEST_RATE_HZ <= rate <= HIGHEST_RATE_HZ:
        raise Unsound(
            f"{rate} samples a second; {LOWEST_RATE_HZ} to {HIGHEST_RATE_HZ} can be read",
            "Record at 44100 or 48000.",
        )
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


def _unreadable(path: Path, error: Exception) -> Unsound:
    """Return the fault of a file that the library refuses."""
    if path.suffix.lower() in PHONE_FORMATS:
        return Unsound(
            f"{path.suffix.lower()} files, as phones write them, cannot be read here",
            "Set the recorder to WAV or FLAC (no loss), or convert the file to WAV first.",
        )
    detail = str(getattr(error, "error_string", "") or error).strip().rstrip(".")
    return Unsound(
        f"it is not a sound file that can be read ({detail})", "Use WAV or FLAC; play the note again."
    )
