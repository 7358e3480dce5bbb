"""Reading the takes of one string together, so that their differences are as good as they can be.

All takes are read over the same partials and over stretches of the same number of periods after the attack,
with the same weights; what the string, the body and the pluck do alike in all of them then cancels.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pitchcheck.clip import Clip
from pitchcheck.errors import BadValue
from pitchcheck.pitch.align import AlignedNotes, align
from pitchcheck.pitch.differences import first_look, fit_differences, own_variances
from pitchcheck.pitch.joint_notes import JointNotes, NoteLikelihood
from pitchcheck.pitch.partial_slopes import LINE, envelopes, phase_left
from pitchcheck.pitch.partial_tracking import LONGEST_GLIDE, NEAR, TrackedNote, track_note
from pitchcheck.pitch.read_note import ATTACK_S, CALIBRATED, read_segment, reading_of, stretch
from pitchcheck.pitch.reading import Reading, Unreadable
from pitchcheck.pitch.tracks import Tracks, glide_integral, leaked, periods_of, take_tracks
from pitchcheck.types import FloatArray
from pitchcheck.units import CENTS_PER_LOG

MANY = 4  # takes: of so many the beats are not split, as what they have in common cancels
SHORT = 0.5  # a take ringing for less than this share of the typical number of periods is read alone
RATIOS = (0.3, 0.55, 1.0, 1.8, 3.2)  # glide's decay time over the note's own: grid
# sd of the logarithm of that ratio before listening, not all takes being plucked alike (ours)
TAU_SPREAD = 0.7
BETWEEN = 0.3  # half a step of that grid, as a logarithm: how far a glide's time may lie off it
SUREST_TIME = 0.02  # logarithm of a glide's time is not believed to be known better than this
SEEN = 3.0  # standard deviations at which a glide is seen
SLOW = 0.2  # share of a glide that may fade slower
TINY = 1e-7  # relative: no glide at all
UNLIKE = 0.4  # logarithm of the ratio of two stiffnesses that one string cannot have at one pitch
MOST_LAWS = 5  # stiffnesses tried


@dataclass(frozen=True)
class _Member:
    """One take, read alone and then prepared to be compared."""

    index: int
    part: Clip
    heard: TrackedNote
    reading: Reading

    @property
    def periods(self) -> float:
        return self.part.duration_s * self.heard.model.hz


def read_group(clips: Sequence[Clip], *, expected_hz: Sequence[float]) -> tuple[Reading | Unreadable, ...]:
    """Read the takes of one string, differences first.

    Parameters
    ----------
    clips : sequence of Clip
        One pluck each, at most 24 semitones apart.
    expected_hz : sequence of float
        Pitch each should have, within about a semitone. [Hz]

    Returns
    -------
    tuple of Reading or Unreadable
        In the order of the clips. ``sd_cents`` is that of differences: for two takes of the group, the
        difference in cents has the standard uncertainty sqrt(sd1^2 + sd2^2). An error common to all takes is
        not in it.

    Raises
    ------
    BadValue
        If the two sequences differ in length.
    """
    if len(clips) != len(expected_hz):
        raise BadValue(
            f"{len(clips)} clips, {len(expected_hz)} expected pitches; there must be one for each. Give both."
        )
    read: list[Reading | Unreadable] = []
    members: list[_Member] = []
    for index, (clip, hz) in enumerate(zip(clips, expected_hz, strict=True)):
        try:
            start_s, end_s = stretch(clip)
            part = clip.between(start_s, end_s)
            heard, doubts = read_segment(part, expected_hz=hz, beats=len(clips) < MANY)
        except Unreadable as refusal:
            read.append(refusal)
            continue
        reading = reading_of(heard, used_s=(start_s, end_s), doubts=doubts)
        read.append(reading)
        members.append(_Member(index, part, heard, reading))
    if members:
        typical = float(np.median([m.periods for m in members]))
        members = [m for m in members if m.periods > SHORT * typical]
    members = agree(members)
    if len(members) > 1:
        for member, reading in zip(members, _together(members), strict=True):
            read[member.index] = reading
    return tuple(read)


def agree(members: list[_Member]) -> list[_Member]:
    """Hear again those whose stiffness cannot be that of the same string, by the law that suits all best.

    A high partial taken for its neighbour gives a wrong stiffness that fits well enough in one take alone.
    """
    if len(members) < 2:
        return members
    pitch = np.log([m.heard.model.hz for m in members])
    level = np.log([max(m.heard.model.inharmonicity, 1e-6) for m in members]) - (pitch - pitch.mean())
    # B grows with pitch by a power between 0 (tuned) and 2 (stopped): by 1, give or take 1
    apart = np.abs(level[:, None] - level) - np.abs(pitch[:, None] - pitch)
    if apart.max() < UNLIKE:
        return members
    best, least = members, np.inf
    for chosen in _distinct(level):
        trial = []
        for member, own, at in zip(members, level, pitch - pitch.mean(), strict=True):
            if abs(own - chosen) > UNLIKE / 2 + abs(at):
                model = member.heard.model
                like = float(np.exp(chosen + at))
                heard = track_note(
                    member.part,
                    hz=model.hz,
                    inharmonicity=like,
                    inharmonicity_sd=UNLIKE / 2 * like,
                    beats=len(members) < MANY,
                )
                if heard is None:
                    continue
                used, doubts = member.reading.used_s, member.reading.doubts
                member = replace(member, heard=heard, reading=reading_of(heard, used_s=used, doubts=doubts))
            trial.append(member)
        if len(trial) == len(members):
            total = float(sum(np.log(m.reading.sd_cents) for m in trial))
            if total < least:
                best, least = trial, total
    return best


def _distinct(level: FloatArray) -> list[float]:
    """Levels that differ by more than half of what is called unlike, the middle one first."""
    chosen = [float(np.median(level))]
    for one in level:
        if all(abs(one - other) > UNLIKE / 2 for other in chosen):
            chosen.append(float(one))
    return chosen[:MOST_LAWS]


def _together(members: list[_Member]) -> list[Reading]:
    """Put the takes' differences right; their common level stays that of the single readings."""
    if all(m.heard.on_model for m in members):
        return [m.reading for m in members]
    hz = np.array([m.heard.model.hz for m in members])
    decay = float(np.median([m.heard.decay_s * m.heard.model.hz for m in members]))
    decay = min(decay, LONGEST_GLIDE * min(m.periods for m in members))
    members = [_later(m, by_s=ATTACK_S * (hz.max() / m.heard.model.hz - 1)) for m in members]
    periods = min(m.periods for m in members)
    block = max(periods_of(f) for f in hz)
    tracked = [_track(m, periods=periods, block=block) for m in members]
    aligned = align([t for t, _ in tracked], [p for _, p in tracked])
    if aligned is None:
        return [m.reading for m in members]
    notes = JointNotes(aligned.number, hz, np.array([m.heard.model.inharmonicity for m in members]))
    trials = _trials(aligned, members, usual_s=decay / hz)
    robust_weight, shapes = first_look(trials[0], notes)
    found = fit_differences(trials, shapes, notes, robust_weight=robust_weight)
    sure = np.array([m.reading.sd_cents for m in members]) ** -2
    sharp = found.sharp - np.average(found.sharp, weights=sure)
    sd = CALIBRATED * np.sqrt(own_variances(found.variance)) * CENTS_PER_LOG
    alone = sum(m.reading.sd_cents**2 for m in members)
    if all(m.heard.split_modes or m.heard.on_model for m in members) and alone < np.sum(sd**2):
        return [m.reading for m in members]
    return [
        replace(m.reading, hz=float(f * (1 + s)), sd_cents=float(e))
        for m, f, s, e in zip(members, hz, sharp, sd, strict=True)
    ]


def _trials(aligned: AlignedNotes, members: list[_Member], *, usual_s: FloatArray) -> list[NoteLikelihood]:
    """Ways of looking at the takes: how fast their glides fade.

    Where no take shows a glide of its own: some times, the same number of periods for all. Where one does:
    each take's own glide, as read alone, taken off, with or without a slow part; or one time for all.
    """
    glide = np.array([m.heard.model.glide for m in members])
    tau_s = np.array([m.heard.model.tau_s for m in members])
    partial_fits = [m.heard.partial_fit for m in members]
    weight = np.exp(-0.5 * (np.log(RATIOS) / TAU_SPREAD) ** 2)
    times = [
        (ratio * usual_s, float(np.log(w))) for ratio, w in zip(RATIOS, weight / weight.sum(), strict=True)
    ]
    alike: list[tuple[FloatArray, FloatArray | None]] = [(tau, None) for tau, _ in times]
    if not any(partial_fit.glide > SEEN * partial_fit.glide_sd for partial_fit in partial_fits):
        aligned = aligned.rescaled(alike)
        middle = len(times) // 2
        return [aligned.trial(tau, belief=belief) for tau, belief in (times[middle:] + times[:middle])]
    aligned = aligned.rescaled([(tau_s, glide), *alike])
    late = np.array(
        [np.clip(partial_fit.tau_spread, SUREST_TIME, TAU_SPREAD) for partial_fit in partial_fits]
    )
    apart = glide - glide.mean()
    own = [
        aligned.trial(
            tau_s, belief=0.0, glide=glide, own_sd=(late, slow * np.abs(glide) + TINY), alike_s=usual_s
        )
        for slow in (0.0, SLOW)
    ]
    between = np.full(glide.size, BETWEEN)
    common = [
        aligned.trial(tau, belief=belief, glide=apart, own_sd=(between, SLOW * np.abs(apart) + TINY))
        for tau, belief in times
    ]
    return own + common


def _later(member: _Member, *, by_s: float) -> _Member:
    """Leave out more of the attack, so that all takes begin the same number of periods after the pluck."""
    model = member.heard.model
    glide = model.glide * float(np.exp(-2 * by_s / model.tau_s))
    heard = replace(member.heard, model=replace(model, glide=glide))
    return replace(member, part=member.part.between(by_s, member.part.duration_s), heard=heard)


def _track(member: _Member, *, periods: float, block: float) -> tuple[Tracks, FloatArray]:
    """Tracks of the clear partials over the common stretch; phases over the law without its glide."""
    model = member.heard.model
    part = member.part.between(0.0, periods / model.hz)
    tracks = take_tracks(
        part,
        hz=model.hz,
        inharmonicity=model.inharmonicity,
        periods=block,
        glide=model.glide if abs(model.glide) > NEAR else 0.0,
        tau_s=model.tau_s,
        own=member.heard.own,
        fall=member.heard.fall,
    )
    envelope = envelopes(tracks)
    clear = np.sum(envelope**2, axis=1) > leaked(tracks)
    phase, line = phase_left(tracks, envelope, model.path(tracks))
    clear &= line > LINE
    glide = model.glide * glide_integral(tracks.time_s, tau_s=model.tau_s)
    whole = phase + 2 * np.pi * tracks.hz[:, None] * glide
    return tracks.only(clear), whole[clear]
