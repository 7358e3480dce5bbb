"""What is read from one pluck."""

from __future__ import annotations

from dataclasses import dataclass

from pitchcheck.doubts import Doubt
from pitchcheck.errors import PitchcheckError


@dataclass(frozen=True)
class Reading:
    """Pitch of one pluck.

    Attributes
    ----------
    hz : float
        Settled fundamental of the stiff-string law, f_k = k hz sqrt(1 + B k^2). [Hz]
    sd_cents : float
        Standard uncertainty of ``hz``, calibrated. [cent]
    inharmonicity, inharmonicity_sd : float
        B and its standard uncertainty. [-]
    decay_s : float
        Time in which the strongest partial falls to 1/e in amplitude. [s]
    glide_cents : float
        How far above the settled pitch the note starts. [cent]
    snr_db : float
        Power of the used partials over the noise around them. [dB]
    partials : int
        How many partials were used.
    used_s : tuple of float
        Stretch that was read, from the start of the clip. [s]
    doubts : tuple of Doubt
        Reasons to distrust it; empty for a sound reading.
    """

    hz: float
    sd_cents: float
    inharmonicity: float
    inharmonicity_sd: float
    decay_s: float
    glide_cents: float
    snr_db: float
    partials: int
    used_s: tuple[float, float]
    doubts: tuple[Doubt, ...] = ()


class Unreadable(PitchcheckError):
    """No pitch can honestly be given for this clip.

    Attributes
    ----------
    reason : str
        Plain words: what was heard, and what to do.
    """

    slug = "unreadable"

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason

    def __reduce__(self) -> tuple[type[Unreadable], tuple[str]]:
        """Let a process pool carry it home."""
        return Unreadable, (self.reason,)
