"""How the sound of a file was written: exactly, or with a loss that costs the pitch some certainty.

Bit rates are those of the file as it is, all channels together. [bit/s]
"""

from __future__ import annotations

from dataclasses import dataclass

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
