"""Reading one pluck: find it, name the note, measure it, say what is doubtful."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pitchcheck.clip import Clip
from pitchcheck.doubts import Doubt, Faint, OtherNote, Overdriven, OvertonesOff, SecondString, VaguePitch
from pitchcheck.pitch.coarse import Series, find_series, match_series
from pitchcheck.pitch.partial_tracking import TrackedNote, track_note
from pitchcheck.pitch.peaks import Peaks, find_peaks
from pitchcheck.pitch.plucks import find_plucks
from pitchcheck.pitch.reading import Reading, Unreadable
from pitchcheck.pitch.second_note import HEARD, LOUD, second_note
from pitchcheck.units import CENTS_PER_LOG, CENTS_PER_OCTAVE, cents_between

ATTACK_S = 0.015  # [s] left out after the onset: thump and the pick's noise (ours)
LONGEST_S = 1.9  # [s] read at most: what a note that is heard for 2 s gives after its attack
RISE_NEAR_S = 0.03  # [s] the found onset is no further from the rise (it goes in steps of 5 ms)
RISE_PEAK_S = 0.25  # [s] within which a note is loudest
RISE_SMOOTH_S = 0.002  # [s]
RISE_PART = 0.1  # of the greatest power: far above any room, reached within the pluck's own rise
COARSE_S = 0.5  # [s] looked at for the coarse note
SHORTEST_S = 0.12  # [s] shorter notes are refused
SHORTEST_PERIODS = 6.0  # partials then lie six steps of the spectrum apart, and three blocks tell a trend
NOT_THE_NOTE_CENTS = 70.0  # [cent] from the expected pitch: more than any slot, less than a fret
OCTAVE_NEAR_CENTS = 60.0  # [cent]
VAGUE_CENTS = 20.0  # [cent] a reading less sure than this names no pitch worth comparing
AS_GOOD = 0.85  # share of the best score; the upper octave of a true note explains 0.5 to 0.7 of it (ours)
CALIBRATED = 0.93  # made notes err by 0.76 to 0.89 of what the beliefs say (docs/accuracy-pitch.md)
# [dB] of snr_db; made notes 3 dB over the noise reach 15, noise taken for a note 4 (measured)
FAINT_DB = 10.0
# [cent] 82 recorded notes of sound strings reach 3.2 (measured); partials 8 cents off read 4 to 12
OVERTONES_OFF_CENTS = 4.0
FEWEST_OVERTONES = 8  # partials that tell a false string: fewer are the body's (ours)
CLIPPED = 0.004  # share of the samples at the very top of the range that makes a note overdriven


def read_note(clip: Clip, *, expected_hz: float | None = None) -> Reading:
    """Read the pitch of one pluck.

    Parameters
    ----------
    clip : Clip
        One pluck; of several the longest is read.
    expected_hz : float, optional
        Pitch it should have. Another note than that gets a doubt. [Hz]

    Returns
    -------
    Reading

    Raises
    ------
    Unreadable
        Silence, noise, two notes alike in strength, or too short a note.
    """
    start_s, end_s = stretch(clip)
    heard, doubts = read_segment(clip.between(start_s, end_s), expected_hz=expected_hz)
    return reading_of(heard, used_s=(start_s, end_s), doubts=doubts)


def reading_of(heard: TrackedNote, *, used_s: tuple[float, float], doubts: tuple[Doubt, ...]) -> Reading:
    """Put what was heard into a reading."""
    partial_fit = heard.partial_fit
    return Reading(
        hz=heard.model.hz,
        sd_cents=CALIBRATED * partial_fit.sharp_sd * CENTS_PER_LOG,
        inharmonicity=heard.model.inharmonicity,
        inharmonicity_sd=partial_fit.excess_inharmonicity_sd,
        decay_s=heard.decay_s,
        glide_cents=partial_fit.glide * CENTS_PER_LOG,
        snr_db=_snr_db(heard),
        partials=int(np.sum(heard.used)),
        used_s=used_s,
        doubts=doubts,
    )


def _snr_db(heard: TrackedNote) -> float:
    """Signal-to-noise ratio of the partials used, in their blocks. [dB]"""
    signal = float(np.sum(heard.envelope**2) / 2)
    noise = float(np.sum(heard.tracks.noise[heard.used]) * heard.envelope.shape[1] / 2)
    return float(10 * np.log10(signal / noise))


def stretch(clip: Clip) -> tuple[float, float]:
    """Stretch of the clip's longest pluck that is read. [s]"""
    plucks = find_plucks(clip)
    if not plucks:
        raise Unreadable("No pluck heard. Check the microphone and pluck again.")
    pluck = max(plucks, key=lambda p: p.end_s - p.onset_s)
    start_s = _rise_s(clip, onset_s=pluck.onset_s) + ATTACK_S
    end_s = min(pluck.end_s, start_s + LONGEST_S)
    if end_s - start_s < SHORTEST_S:
        raise Unreadable(f"The note lasts {end_s - start_s:.2f} s; it must ring {SHORTEST_S} s. Let it ring.")
    return start_s, end_s


def _rise_s(clip: Clip, *, onset_s: float) -> float:
    """Moment at which the power of a note first comes near its greatest. [s]

    It depends on the note alone, to the sample: not on what stands before it, nor on where a recording was
    cut, so that one note reads the same live and from any file.
    """
    first = max(0, round((onset_s - RISE_NEAR_S) * clip.rate_hz))
    last = round((onset_s + RISE_PEAK_S) * clip.rate_hz)
    part = clip.samples[first:last]
    smooth = max(1, round(RISE_SMOOTH_S * clip.rate_hz))
    power = np.convolve((part - part.mean()) ** 2, np.full(smooth, 1 / smooth), mode="same")
    near = power[: round(2 * RISE_NEAR_S * clip.rate_hz)]
    above = near > RISE_PART * power.max()
    return (first + int(np.argmax(above))) / clip.rate_hz if above.any() else onset_s


def read_segment(
    part: Clip, *, expected_hz: float | None, beats: bool = True
) -> tuple[TrackedNote, tuple[Doubt, ...]]:
    """Name the note and measure it."""
    peaks = find_peaks(part.between(0.0, COARSE_S))
    found = find_series(peaks)
    if not found:
        raise Unreadable("No note heard, only noise. Pluck louder or move the microphone closer.")
    best = _filled(peaks, _choose(found, expected_hz=expected_hz), expected_hz=expected_hz)
    periods = part.duration_s * best.hz
    if periods < SHORTEST_PERIODS:
        raise Unreadable(
            f"The note lasts {part.duration_s:.2f} s, {periods:.1f} periods of {best.hz:.0f} Hz: too short "
            f"for so low a pitch, which needs {SHORTEST_PERIODS:.0f}. Let it ring."
        )
    heard = track_note(
        part,
        hz=best.hz,
        inharmonicity=best.inharmonicity,
        inharmonicity_sd=best.inharmonicity_sd,
        beats=beats,
    )
    if heard is None:
        raise Unreadable("The note is buried in noise. Pluck louder or move the microphone closer.")
    return heard, _doubts(part, peaks, heard, expected_hz=expected_hz)


def _choose(found: Sequence[Series], *, expected_hz: float | None) -> Series:
    """Return the note, or the expected one when the best is a fraction of it that explains hardly more.

    Strings that ring along fill the gaps between a note's partials; a true lower note fills them by itself.
    """
    best = found[0]
    if expected_hz is None or best.hz > 0.7 * expected_hz:
        return best
    near = [s for s in found if abs(cents_between(expected_hz, s.hz)) < NOT_THE_NOTE_CENTS]
    return near[0] if near and near[0].score > AS_GOOD * best.score else best


def _filled(peaks: Peaks, best: Series, *, expected_hz: float | None) -> Series:
    """Return the expected note where the best is a multiple of it and what lies between is strong.

    Beats can weaken every other partial for a moment.
    """
    if expected_hz is None or best.hz < 1.5 * expected_hz:
        return best
    other = second_note(peaks, hz=best.hz, inharmonicity=best.inharmonicity)
    if other is None or other.share < HEARD or abs(cents_between(expected_hz, other.hz)) > NOT_THE_NOTE_CENTS:
        return best
    times = best.hz / other.hz
    if abs(cents_between(round(times) * other.hz, best.hz)) > OCTAVE_NEAR_CENTS:
        return best
    return match_series(peaks, other.hz)


def _doubts(part: Clip, peaks: Peaks, heard: TrackedNote, *, expected_hz: float | None) -> tuple[Doubt, ...]:
    """Return what is doubtful about a note; two notes at once raise Unreadable."""
    hz = heard.model.hz
    doubts: list[Doubt] = []
    away = 0.0 if expected_hz is None else cents_between(expected_hz, hz)
    if abs(away) > NOT_THE_NOTE_CENTS:
        octaves = round(away / CENTS_PER_OCTAVE)
        octave = octaves != 0 and abs(away - CENTS_PER_OCTAVE * octaves) < OCTAVE_NEAR_CENTS
        doubts.append(OtherNote(expected_hz or hz, hz, octave))
    other = second_note(peaks, hz=hz, inharmonicity=heard.model.inharmonicity)
    if other is not None and other.share > LOUD:
        raise Unreadable(
            f"Two notes sound at once, {hz:.1f} and {other.hz:.1f} Hz. Damp the other strings, pluck again."
        )
    if other is not None and other.share > HEARD:
        doubts.append(SecondString(other.hz))
    if heard.partial_fit.sharp_sd * CENTS_PER_LOG > VAGUE_CENTS:
        doubts.append(VaguePitch(heard.partial_fit.sharp_sd * CENTS_PER_LOG))
    if _snr_db(heard) < FAINT_DB:
        doubts.append(Faint())
    scatter_cents = heard.partial_fit.scatter_cents
    if scatter_cents > OVERTONES_OFF_CENTS and np.sum(heard.used) >= FEWEST_OVERTONES:
        doubts.append(OvertonesOff(scatter_cents))
    size = np.abs(part.samples)
    if np.mean(size > 0.999 * size.max()) > CLIPPED:
        doubts.append(Overdriven())
    return tuple(doubts)
