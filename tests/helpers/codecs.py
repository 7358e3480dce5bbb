"""Writes sound with the real encoders of phones, through PyAV."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import av
import numpy as np

from pitchcheck.types import FloatArray


@dataclass(frozen=True)
class Encoder:
    """A way of writing sound. ``rate_hz`` None keeps the rate of the sound."""

    ending: str
    codec: str
    bit_rate: int | None = None
    rate_hz: int | None = None
    container: str | None = None


PHONE = {
    "m4a 64k": Encoder("m4a", "aac", 64_000, container="ipod"),
    "m4a 32k": Encoder("m4a", "aac", 32_000, container="ipod"),
    "mp3 128k": Encoder("mp3", "libmp3lame", 128_000),
    "mp3 64k": Encoder("mp3", "libmp3lame", 64_000),
    "opus 32k": Encoder("ogg", "libopus", 32_000, 48_000),
    "opus 16k": Encoder("ogg", "libopus", 16_000, 48_000),
    "3gp amr": Encoder("3gp", "libopencore_amrnb", 12_200, 8_000),
    "alac": Encoder("m4a", "alac", container="ipod"),
    "aiff": Encoder("aiff", "pcm_s16be"),
    "flac": Encoder("flac", "flac"),
    "wav": Encoder("wav", "pcm_s16le"),
}


def encode(path: Path, samples: FloatArray, *, rate_hz: int, encoder: Encoder) -> Path:
    """Write one or two channels, shape (n,) or (n, channels), full scale 1; return the path."""
    columns = samples[:, None] if samples.ndim == 1 else samples
    layout = "mono" if columns.shape[1] == 1 else "stereo"
    out_rate = encoder.rate_hz or rate_hz
    with av.open(str(path), "w", format=encoder.container) as box:
        stream = box.add_stream(encoder.codec, rate=out_rate)
        stream.codec_context.layout = layout
        if encoder.bit_rate is not None:
            stream.bit_rate = encoder.bit_rate
        planar = np.ascontiguousarray(columns.T, dtype=np.float32)
        frame = av.AudioFrame.from_ndarray(planar, format="fltp", layout=layout)
        frame.sample_rate = rate_hz
        resampler = av.AudioResampler(format=stream.codec_context.format, layout=layout, rate=out_rate)
        for piece in [*resampler.resample(frame), *resampler.resample(None)]:
            box.mux(stream.encode(piece))
        box.mux(stream.encode(None))
    return path
