"""How the sound of a file was written: exactly, or with a loss that costs the pitch some certainty.

Bit rates are those of the file as it is, all channels together. [bit/s]
"""

from __future__ import annotations

from dataclasses import dataclass

# What a way of writing adds to the uncertainty of one pitch beyond what the reading finds by itself, from so
# many bit/s a channel up. [cent] ``python tests/bench/bench_codecs.py`` makes them, on 96 notes of four
# simulated instruments: the worst of these, and never less than at a higher rate.
LOSS_CENTS = {
    "mp3": ((96_000, 0.06), (0, 0.07)),
    "aac": ((56_000, 0.13), (0, 0.13)),
    "opus": ((28_000, 0.13), (0, 0.19)),
    "amr": ((0, 0.30),),
}
OTHER_LOSS = ((56_000, 0.13), (0, 0.30))  # of codecs not measured: the worst of those at such a rate
EXACT = {"flac", "alac", "wavpack", "tta", "ape"}  # codecs without loss; every pcm_* is one too


@dataclass(frozen=True)
class Coding:
    """How the sound was written.

    Attributes
    ----------
    codec : str
        Name of the decoder, like "aac"; "pcm" for samples as they are.
    bit_rate : float or None
        None where it does not matter, or is not known. [bit/s]
    channels : int
    """

    codec: str
    bit_rate: float | None
    channels: int

    @property
    def lossless(self) -> bool:
        """Whether the samples are those that were recorded."""
        return self.codec in EXACT or self.codec.startswith("pcm")

    def words(self) -> str:
        """Return the way of writing in words."""
        if self.lossless or self.bit_rate is None:
            return self.codec
        return f"{self.codec}, {self.bit_rate / 1000:.0f} kb/s"


def loss_sd_cents(coding: Coding) -> float:
    """Uncertainty that the way of writing adds to one pitch. [cent]"""
    if coding.lossless:
        return 0.0
    steps = next((steps for name, steps in LOSS_CENTS.items() if coding.codec.startswith(name)), OTHER_LOSS)
    rate = (coding.bit_rate or 0.0) / coding.channels
    return next(cents for least, cents in steps if rate >= least)
