"""Reading one pluck: find it, name the note, measure it, say what is doubtful."""

from __future__ import annotations

import numpy as np

from pitchcheck.clip import Clip
from pitchcheck.pitch.coarse import find_series
from pitchcheck.pitch.peaks import find_peaks
from pitchcheck.pitch.plucks import find_plucks
from pitchcheck.pitch.read import Heard, hear
from pitchcheck.pitch.reading import Reading, Unreadable
from pitchcheck.units import CENTS_PER_LOG, cents_between

ATTACK_S = 0.015  # [s] left out after the onset: thump and the pick's noise (ours)
LONGEST_S = 2.2  # [s] read at most
COARSE_S = 0.5  # [s] looked at for the coarse note
SHORTEST_S = 0.12  # [s] shorter notes are refused
SHORTEST_PERIODS = 8.0


def read_note(clip: Clip, *, expected_hz: float | None = None) -> Reading:
    """Read the pitch of one pluck."""
    start_s, end_s = stretch(clip)
    heard, doubts = hear_stretch(clip.between(start_s, end_s), expected_hz=expected_hz)
    return reading_of(heard, used_s=(start_s, end_s), doubts=doubts)


def reading_of(heard: Heard, *, used_s: tuple[float, float], doubts: tuple[str, ...]) -> Reading:
    """Put what was heard into a reading."""
    law = heard.law
    signal = float(np.sum(heard.envelope**2) / 2)
    noise = float(np.sum(heard.tracks.noise[heard.used]) * heard.envelope.shape[1] / 2)
    return Reading(
        hz=heard.model.hz,
        sd_cents=law.sharp_sd * CENTS_PER_LOG,
        stiffness=heard.model.stiffness,
        stiffness_sd=law.stiffer_sd,
        decay_s=heard.decay_s,
        glide_cents=law.glide * CENTS_PER_LOG,
        snr_db=float(10 * np.log10(signal / noise)),
        partials=int(np.sum(heard.used)),
        used_s=used_s,
        doubts=doubts,
    )


def stretch(clip: Clip) -> tuple[float, float]:
    """Stretch of the clip's loudest pluck that is read. [s]"""
    plucks = find_plucks(clip)
    if not plucks:
        raise Unreadable("No pluck heard. Check the microphone and pluck again.")
    pluck = max(plucks, key=lambda p: p.end_s - p.onset_s)
    start_s = pluck.onset_s + ATTACK_S
    end_s = min(pluck.end_s, start_s + LONGEST_S)
    if end_s - start_s < SHORTEST_S:
        raise Unreadable(f"The note lasts {end_s - start_s:.2f} s; it must ring {SHORTEST_S} s. Let it ring.")
    return start_s, end_s


def hear_stretch(part: Clip, *, expected_hz: float | None) -> tuple[Heard, tuple[str, ...]]:
    """Name the note and measure it."""
    found = find_series(find_peaks(part.between(0.0, COARSE_S)))
    if not found:
        raise Unreadable("No note heard, only noise. Pluck louder or move the microphone closer.")
    best = found[0]
    doubts: list[str] = []
    if expected_hz is not None:
        away = cents_between(expected_hz, best.hz)
        if abs(away) > 70:
            doubts.append(f"expected {expected_hz:.1f} Hz but {best.hz:.1f} Hz sounds")
    if part.duration_s * best.hz < SHORTEST_PERIODS:
        raise Unreadable("The note is too short for so low a pitch. Let it ring.")
    heard = hear(part, hz=best.hz, stiffness=best.stiffness)
    if heard is None:
        raise Unreadable("The note is buried in noise. Pluck louder or move the microphone closer.")
    return heard, tuple(doubts)
