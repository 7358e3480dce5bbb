"""Sound as phones write it, decoded: AAC, MP3, Opus, AMR and what else has a decoder, in any container.

What a file is, is told by its bytes; its name does not matter. Playlists and other lists of files are not
opened, and nothing but the file itself is read. Full scale is 1.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from pitchcheck.audio.coding import Coding
from pitchcheck.audio.faults import Unsound

LONGEST_S = 2400.0  # [s] 40 minutes: a thorough survey of eight strings takes 25 (ours)
MOST_SAMPLES = 120_000_000  # of all channels: 480 MB of memory at most (ours)
MOST_CHANNELS = 8
MOST_DAMAGED = 50  # packets that may be damaged before the file is given up (ours; one lasts 0.02 s)
BLOCK = 1 << 20  # samples of one channel joined at a time
# Containers that hold sound and cannot send the reader elsewhere.
CONTAINERS = "mov,mp3,ogg,aac,amr,matroska,wav,w64,flac,aiff,caf,asf,au,ac3,eac3"


@dataclass(frozen=True)
class Decoded:
    """A file's sound as a whole.

    Attributes
    ----------
    samples : array of float32, shape (n, channels)
    rate_hz : int
        Samples per second. [Hz]
    coding : Coding
    """

    samples: npt.NDArray[np.float32]
    rate_hz: int
    coding: Coding


def decode(path: Path) -> Decoded:
    """Decode the first sound of a file.

    Raises
    ------
    Unsound
        If there is none, it is damaged, too long for the memory, or changes its rate on the way.
    """
    import av

    try:
        with path.open("rb") as raw, av.open(raw, mode="r", options={"format_whitelist": CONTAINERS}) as box:
            if not box.streams.audio:
                raise Unsound("there is no sound in the file", "Name the recording.")
            stream = box.streams.audio[0]
            blocks, rate = _collect(box, stream)
            size = path.stat().st_size
            codec = stream.codec_context
            name, stated = str(codec.name), codec.bit_rate
    except av.error.FFmpegError as error:
        raise _unreadable(error) from error
    except OSError as error:
        raise Unsound(f"it cannot be opened ({error.strerror or error})", "Check the file.") from error
    if not blocks or rate is None:
        raise Unsound("the file holds no sound", "It was cut off, or is damaged; record it again.")
    samples = np.concatenate(blocks)
    seconds = samples.shape[0] / rate
    bits = float(stated) if stated else 8 * size / seconds
    return Decoded(samples, rate, Coding(_plain(name), bits, samples.shape[1]))


def _collect(box: Any, stream: Any) -> tuple[list[npt.NDArray[np.float32]], int | None]:
    """Return the sound of a stream in blocks of shape (n, channels), and its rate."""
    import av

    resampler = av.AudioResampler(format="fltp")
    blocks: list[npt.NDArray[np.float32]] = []
    small: list[npt.NDArray[np.float32]] = []
    rate: int | None = None
    channels = 0
    total = waiting = 0
    for frame in _frames(box, stream):
        if rate is None:
            rate, channels = int(frame.sample_rate), len(frame.layout.channels)
            if channels > MOST_CHANNELS:
                raise Unsound(f"{channels} channels; {MOST_CHANNELS} can be read", "Record one or two.")
        if (int(frame.sample_rate), len(frame.layout.channels)) != (rate, channels):
            limit = "its sampling rate or number of channels changes on the way"
            raise Unsound(limit, "Cut the file there, or record it again.")
        frame.pts = None
        for part in resampler.resample(frame):
            piece = part.to_ndarray().T.astype(np.float32, copy=False)
            small.append(piece)
            total += piece.shape[0]
            waiting += piece.shape[0]
        if total > LONGEST_S * rate or total * channels > MOST_SAMPLES:
            raise Unsound(
                f"more than {min(LONGEST_S, MOST_SAMPLES / channels / rate) / 60:.0f} minutes of sound; "
                "so much is not taken in one file",
                "Cut it into one file for each string.",
            )
        if waiting > BLOCK:
            blocks.append(np.concatenate(small))
            small, waiting = [], 0
    if small:
        blocks.append(np.concatenate(small))
    return blocks, rate


def _frames(box: Any, stream: Any) -> Iterator[Any]:
    """Yield the decoded frames; a damaged packet here and there is passed over."""
    import av

    damaged = 0
    for packet in box.demux(stream):
        try:
            yield from packet.decode()
        except av.error.InvalidDataError as error:
            damaged += 1
            if damaged > MOST_DAMAGED:
                raise error


def _unreadable(error: Exception) -> Unsound:
    """Return the fault of a file that the decoder refuses."""
    detail = str(getattr(error, "strerror", "") or error).strip().rstrip(".")
    return Unsound(
        f"it is not a sound file that can be read ({detail})",
        "It may be cut off or damaged: copy it from the phone again, or record it again.",
    )


def _plain(name: str) -> str:
    """Return a codec's name without the maker of its decoder: "mp3float" is "mp3"."""
    for plain in ("mp3", "mp2", "opus", "vorbis", "aac"):
        if plain in name:
            return plain
    return name
