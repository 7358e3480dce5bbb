"""From pieces of sound of any length to notes with the trace of their pitch.

Conventions: sound is kept until it is asked for, hop by hop; time is counted in samples.
"""

from __future__ import annotations

from pitchcheck.hearing.block_buffer import BlockBuffer
from pitchcheck.hearing.note_detector import NoteDetector, SoundEvent
from pitchcheck.hearing.pitch_trace import PitchEstimate, PitchTrace
from pitchcheck.types import FloatArray


class Listener:
    """Keeps what has come, and hears it.

    Parameters
    ----------
    rate_hz : float > 0
        [Hz]
    """

    def __init__(self, *, rate_hz: float) -> None:
        self._rate_hz = rate_hz
        self._detector = NoteDetector(rate_hz=rate_hz)
        self._buffer = BlockBuffer()
        self._trace = PitchTrace()
        self._traced: int | None = None  # onset of the note in the trace
        self._waited = 0  # samples without a sound
        self._heard = 0  # samples in which a note was listened for

    @property
    def ready(self) -> bool:
        """Whether a whole hop has come."""
        return self._buffer.size >= self._detector.hop

    @property
    def sounding(self) -> bool:
        """Whether a note sounds."""
        return self._detector.sounding_s is not None

    @property
    def waited_s(self) -> float:
        """How long nothing was heard. [s]"""
        return self._waited / self._rate_hz

    @property
    def heard_s(self) -> float:
        """How long a note was listened for, all in all. [s]"""
        return self._heard / self._rate_hz

    @property
    def level_db(self) -> float:
        """Level of the last tenth of a second. [dB below full scale]"""
        return self._detector.level_db

    @property
    def estimates(self) -> tuple[PitchEstimate, ...]:
        """Pitch of the last note, stretch by stretch."""
        return tuple(self._trace.estimates)

    def add(self, samples: FloatArray) -> None:
        """Keep more sound."""
        self._buffer.add(samples)

    def points(self, place_hz: float) -> tuple[tuple[float, float], ...]:
        """Trace of the last note: seconds since its onset, cents from a place."""
        return self._trace.points(place_hz)

    def rest(self) -> None:
        """Take the next hop without listening for a note."""
        self._detector.rest(self._buffer.take(self._detector.hop))

    def hear(self, *, hint_hz: float) -> SoundEvent | None:
        """Take the next hop; return the note that was completed in it.

        Parameters
        ----------
        hint_hz : float
            Pitch at which the trace looks for it.
        """
        hop = self._buffer.take(self._detector.hop)
        self._heard += hop.size
        self._waited += hop.size
        note = self._detector.hear(hop)
        if self.sounding or note is not None:
            self._waited = 0
        if self.sounding and self._detector.onset_at != self._traced and note is None:
            self._traced = self._detector.onset_at
            self._trace.clear()
        if (
            self._trace.due(self._detector.sounding_s or 0.0)
            and (part := self._detector.so_far()) is not None
        ):
            clip, onset_s = part
            self._trace.hear(clip, onset_s=onset_s, hint_hz=hint_hz)
        return note

    def forget(self) -> None:
        """Give up the note that sounds; what rings on is not taken for a new one."""
        self._detector.forget()
        self._trace.clear()
        self._traced = None
        self._waited = 0
