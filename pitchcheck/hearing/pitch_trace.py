"""The pitch of a sounding note, a third of a second at a time: the live trace, and whether the note settles.

Conventions: seconds since the onset; each pitch belongs to the middle of its stretch.
"""

from __future__ import annotations

from dataclasses import dataclass

from pitchcheck.clip import Clip
from pitchcheck.pitch.read_note import read_note
from pitchcheck.pitch.reading import Unreadable
from pitchcheck.units import cents_between

STRETCH_S = 0.3  # [s] twelve periods of a bass E1: the shortest that is read well
DUE_S = (0.32, 0.62, 0.92, 1.22, 1.52, 1.82)  # [s] ends of the stretches; the first leaves the attack out


@dataclass(frozen=True)
class PitchEstimate:
    """Pitch of one stretch.

    Attributes
    ----------
    when_s : float
        Middle of the stretch. [s]
    hz, sd_cents : float or None
        None when no note was heard in it.
    """

    when_s: float
    hz: float | None
    sd_cents: float | None


class PitchTrace:
    """Estimates of one note while it sounds."""

    def __init__(self) -> None:
        self.estimates: list[PitchEstimate] = []

    def clear(self) -> None:
        """Begin a new note."""
        self.estimates.clear()

    def points(self, place_hz: float) -> tuple[tuple[float, float], ...]:
        """Seconds since the onset, and cents from a place, of every stretch in which a note was heard."""
        return tuple((g.when_s, cents_between(place_hz, g.hz)) for g in self.estimates if g.hz is not None)

    def due(self, sounded_s: float) -> bool:
        """Whether the next stretch is complete."""
        return len(self.estimates) < len(DUE_S) and sounded_s >= DUE_S[len(self.estimates)]

    def hear(self, clip: Clip, *, onset_s: float, hint_hz: float) -> None:
        """Read the stretch that is due from the note as far as it was heard."""
        end_s = DUE_S[len(self.estimates)]
        part = clip.between(onset_s + end_s - STRETCH_S, onset_s + end_s)
        middle_s = end_s - STRETCH_S / 2
        try:
            reading = read_note(part, expected_hz=hint_hz)
        except Unreadable:
            self.estimates.append(PitchEstimate(middle_s, None, None))
        else:
            self.estimates.append(PitchEstimate(middle_s, reading.hz, reading.sd_cents))
