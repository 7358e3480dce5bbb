"""A recording as a whole, one channel of it, whatever it was written in.

What libsndfile reads exactly (WAV, FLAC, AIFF and their kin) it reads; everything else is decoded. The bytes
decide, never the name. Times are seconds from the first sample; full scale is 1.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from pitchcheck.audio.channels import choose_channel
from pitchcheck.audio.coding import Coding
from pitchcheck.audio.decode import LONGEST_S, MOST_SAMPLES, Decoded, decode
from pitchcheck.audio.faults import Unsound
from pitchcheck.clip import Clip

LOWEST_RATE_HZ = 8000  # [Hz] below it too few partials are left; our choice
HIGHEST_RATE_HZ = 768_000  # [Hz] beyond any converter
LARGEST_BYTES = 2 * 1024**3  # of a file; far more than LONGEST_S of any usual recording
EXACT_STARTS = (b"RIFF", b"RIFX", b"RF64", b"FORM", b"fLaC", b"caff", b"riff", b".snd")
STARTS_BYTES = 4
PLAIN = Coding("pcm", None, 1)


@dataclass(frozen=True)
class Recording:
    """One channel of a whole file.

    Attributes
    ----------
    samples : array of float32, shape (n,)
    rate_hz : float
        Samples per second. [Hz]
    coding : Coding
    """

    samples: npt.NDArray[np.float32]
    rate_hz: float
    coding: Coding

    @property
    def duration_s(self) -> float:
        """Length. [s]"""
        return float(self.samples.size / self.rate_hz)

    def between(self, start_s: float, end_s: float) -> Clip:
        """Part between two times."""
        first = max(0, round(start_s * self.rate_hz))
        last = min(self.samples.size, round(end_s * self.rate_hz))
        return Clip(self.samples[first:last].astype(np.float64), self.rate_hz, first / self.rate_hz)


def read_recording(path: Path) -> Recording:
    """Read a whole file as one channel.

    Raises
    ------
    Unsound
        If it is missing, cannot be read, is too long, or is silent.
    """
    whole = read_whole(path)
    rate = whole.rate_hz
    if whole.samples.shape[1] == 1:
        channel = np.ascontiguousarray(whole.samples[:, 0])
    else:
        index = choose_channel(whole.samples.astype(np.float64), rate_hz=rate)
        channel = np.ascontiguousarray(whole.samples[:, index])
    if channel.size == 0 or float(np.ptp(channel)) == 0.0:
        raise Unsound("it is silent: every sample is the same", "Check the microphone and record it again.")
    return Recording(channel, float(rate), whole.coding)


def read_whole(path: Path) -> Decoded:
    """Return all channels of a file; the last one decoded is kept for the next stretch of it.

    Raises
    ------
    Unsound
        If it is missing, cannot be read, holds values that are no numbers, or is too long.
    """
    if not path.is_file():
        raise Unsound("the file is missing", "Put it into the folder, or correct the name.")
    stat = path.stat()
    if stat.st_size > LARGEST_BYTES:
        limit = f"{stat.st_size / 1024**3:.1f} GiB; {LARGEST_BYTES // 1024**3} GiB is the most"
        raise Unsound(limit, "Cut the recording into shorter files.")
    return _read_whole(path, stat.st_mtime_ns, stat.st_size)


def is_exact(path: Path) -> bool:
    """Whether a file begins like one that libsndfile reads exactly and can seek in."""
    try:
        with path.open("rb") as raw:
            return raw.read(STARTS_BYTES) in EXACT_STARTS
    except OSError:
        return False


def coding_of(path: Path) -> Coding:
    """How a file is written; as ``read_whole`` where it must be decoded to tell."""
    return PLAIN if is_exact(path) else read_whole(path).coding


def check_rate(rate_hz: int) -> None:
    """Raise Unsound for a sampling rate that cannot be used."""
    if not LOWEST_RATE_HZ <= rate_hz <= HIGHEST_RATE_HZ:
        limit = f"{rate_hz} samples a second; {LOWEST_RATE_HZ} to {HIGHEST_RATE_HZ} can be read"
        raise Unsound(limit, "Record at 44100 or 48000.")


@functools.lru_cache(maxsize=1)
def _read_whole(path: Path, changed_ns: int, size: int) -> Decoded:
    """Read a file once for all its stretches; ``changed_ns`` and ``size`` tell a changed file."""
    whole = _read_exact(path) if is_exact(path) else None
    whole = whole or decode(path)
    check_rate(whole.rate_hz)
    if not np.isfinite(whole.samples).all():
        raise Unsound("it holds values that are no numbers", "The file is damaged; record it again.")
    return whole


def _read_exact(path: Path) -> Decoded | None:
    """Return what libsndfile reads, or None where it cannot."""
    import soundfile

    try:
        with soundfile.SoundFile(path) as file:
            check_rate(file.samplerate)
            if file.frames > LONGEST_S * file.samplerate or file.frames * file.channels > MOST_SAMPLES:
                seconds = file.frames / file.samplerate
                limit = f"{seconds / 60:.0f} minutes of sound; so much is not taken in one file"
                raise Unsound(limit, "Cut it into one file for each string.")
            samples = file.read(dtype="float32", always_2d=True)
            return Decoded(samples, file.samplerate, Coding("pcm", None, file.channels))
    except (soundfile.LibsndfileError, RuntimeError):
        return None
