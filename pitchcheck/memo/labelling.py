"""From sounds to labels: which string and stop each was, how sure that is, and what speaks against it.

Every course, order of strings and tuning that people use is tried as a hidden Markov chain; a label's belief
is its share over all of them. Nothing here knows a clock or a file.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeGuard

import numpy as np

from pitchcheck.instrument import Instrument
from pitchcheck.memo.courses import COURSES, SORTS, Course
from pitchcheck.memo.grammar import Grammar, Order, build_grammar, is_played
from pitchcheck.memo.heard_strings import HEARD_SHARE, learn_strings, nearest_hz, sharp_notes
from pitchcheck.memo.hidden_markov import Belief, believe, log_evidence
from pitchcheck.memo.labels import LIKE_STRING, Label, Labelling
from pitchcheck.memo.place_likelihood import (
    UNHEARD_CENTS,
    Stretches,
    Strings,
    log_string,
    log_surprise,
    notes_heard,
    place_likelihoods,
    stretches_of,
)
from pitchcheck.memo.rod_or_finger import ASKED, all_stopped, finger_belief, other_way
from pitchcheck.memo.sounds import Sound
from pitchcheck.memo.tuning import USUAL_SHARE, USUAL_SHIFTS, offset_density, suggest_offsets
from pitchcheck.takes import Position, Stop
from pitchcheck.tuning import CENTS_PER_SEMITONE, SEMITONES_PER_OCTAVE
from pitchcheck.types import FloatArray
from pitchcheck.units import CENTS_PER_OCTAVE, cents_between

TEMPER = 0.5  # evidence counts half: notes of one hand on one instrument are not independent (ours)
FOLLOWED = 25.0  # log odds below the best at which a reading is not followed further
MOST_FOLLOWED = 14
SHIFTS = (-1, -2, -3, -4, -5, 1, 2, 3, -12)  # semitones by which a string may be tuned apart from the others
SIX = 6  # strings of which usual other tunings are known
SHIFT_SHARE = 2e-3  # how likely each of them is for each string, before anything is heard (ours)
CLEAN = 2.5  # log odds from which a sound left out asks for another tuning
MOST_RETRIED = 5  # grammars tried again with another tuning
LEARNED = 3  # rounds of learning the open strings
SLIP_CENTS = 15.0  # strings tuned by one ear lie so far from each other (ours)


@dataclass(frozen=True)
class _Tuning:
    """How the strings may be tuned: all off their notes alike, some by semitones more."""

    offset_cents: float
    shifts: Mapping[int, int]

    @property
    def log_prior(self) -> float:
        apart = len(self.shifts) * math.log(SHIFT_SHARE)
        if dict(self.shifts) in USUAL_SHIFTS:
            apart = max(apart, math.log(USUAL_SHARE))
        return math.log(offset_density(self.offset_cents)) + apart

    def cents(self, number: int) -> float:
        return self.offset_cents + CENTS_PER_SEMITONE * self.shifts.get(number, 0)

    def strings(self, instrument: Instrument) -> Strings:
        numbers = [spec.number for spec in instrument.strings]
        times = {n: 2 ** (self.cents(n) / CENTS_PER_OCTAVE) for n in numbers}
        hz = {n: instrument.string(n).nominal_hz * times[n] for n in numbers}
        return Strings(hz, dict.fromkeys(numbers, UNHEARD_CENTS))

    def stretches(self, instrument: Instrument) -> Stretches:
        return stretches_of(
            instrument, offset_cents={s.number: self.cents(s.number) for s in instrument.strings}
        )


@dataclass(frozen=True)
class _Reading:
    """One way of reading the whole."""

    grammar: Grammar
    tuning: _Tuning
    log_score: float
    strings: Strings
    belief: Belief | None = None
    other_way: float = 0.0  # how likely its presses were fretted by a finger, or its fretted notes pressed


def label_sounds(
    sounds: Sequence[Sound],
    *,
    instrument: Instrument,
    courses: Sequence[Course] = COURSES,
    told: str | None = None,
) -> Labelling:
    """Label the sounds of a recording.

    Parameters
    ----------
    sounds : sequence of Sound
    instrument : Instrument
    courses : sequence of Course
        That may have been played, with their shares.
    told : {"presses", "frets"} or None
        What somebody said was played: then a rod and a finger are not told apart by ear.
    """
    numbers = sorted(spec.number for spec in instrument.strings)
    grammars = [build_grammar(c, strings=numbers, order=o) for c in courses for o in Order if is_played(c, o)]
    nominal = {n: instrument.string(n).nominal_hz for n in numbers}
    likely = [s.notes[0].hz for s in sounds if log_string(s) > LIKE_STRING]
    tunings = [_Tuning(offset, {}) for offset in suggest_offsets(likely, nominal)]
    readings = _read(tunings, grammars, sounds, instrument)
    if _strange(readings, sounds) and len(numbers) == SIX:
        usual = [
            _Tuning(offset, shifts)
            for shifts in USUAL_SHIFTS
            for offset in suggest_offsets(
                likely, {n: hz * 2 ** (shifts.get(n, 0) / SEMITONES_PER_OCTAVE) for n, hz in nominal.items()}
            )[:2]
        ]
        readings = _merge(_read(usual, grammars, sounds, instrument), readings)
    while len(readings[0].tuning.shifts) < len(numbers) and _strange(readings, sounds):
        shifted = [
            _Tuning(readings[0].tuning.offset_cents, shifts) for shifts in _shifts(readings[0], numbers)
        ]
        tried = list(dict.fromkeys(r.grammar.key for r in readings))[:MOST_RETRIED]
        again = _read(shifted, [g for g in grammars if g.key in tried], sounds, instrument)
        if again[0].log_score < readings[0].log_score:
            break
        readings = _merge(again, readings)
    return _conclude(
        [replace(r, other_way=_other_way(r, sounds, instrument, told)) for r in readings], sounds
    )


def _read(
    tunings: Sequence[_Tuning], grammars: Sequence[Grammar], sounds: Sequence[Sound], instrument: Instrument
) -> list[_Reading]:
    """Return the best readings under some tunings, best first; strings are learned from what was heard."""
    places = _Places(sounds, grammars)
    strings = [tuning.strings(instrument) for tuning in tunings]
    likely = np.stack(
        [places.likely(s, t.stretches(instrument)) for s, t in zip(strings, tunings, strict=True)]
    )
    priors = np.array([tuning.log_prior for tuning in tunings])
    rough: list[_Reading] = []
    for grammar in grammars:
        scores = places.log_evidence(grammar, likely) + math.log(grammar.share) + priors
        rough += [
            _Reading(grammar, tuning, float(score), own)
            for tuning, own, score in zip(tunings, strings, scores, strict=True)
        ]
    rough.sort(key=lambda r: -r.log_score)
    followed = [r for r in rough[:MOST_FOLLOWED] if r.log_score > rough[0].log_score - FOLLOWED]
    return sorted((_settle(r, sounds, instrument) for r in followed), key=lambda r: -r.log_score)


def _merge(some: Sequence[_Reading], others: Sequence[_Reading]) -> list[_Reading]:
    """Return readings, best first."""
    return sorted([*some, *others], key=lambda r: -r.log_score)


def _strange(readings: Sequence[_Reading], sounds: Sequence[Sound]) -> bool:
    """Whether the best reading leaves out clean plucks, has no order, or stops a string never heard open."""
    belief, grammar = readings[0].belief, readings[0].grammar
    assert belief is not None
    heard: dict[int, list[float]] = defaultdict(lambda: [0.0, 0.0])
    for place, share in zip(grammar.positions, belief.states.sum(axis=0), strict=True):
        heard[place.string][place.stop is Stop.OPEN] += float(share)
    if grammar.course.free or any(s > 1 and o < HEARD_SHARE for s, o in heard.values()):
        return True
    left = 1.0 - belief.states.sum(axis=1)
    return any(gone > 0.5 and log_string(s) > CLEAN for gone, s in zip(left, sounds, strict=True))


def _shifts(reading: _Reading, numbers: Sequence[int]) -> list[dict[int, int]]:
    """Return tunings in which one string more is tuned apart from the others. [semitones]"""
    known = reading.tuning.shifts
    return [{**known, n: by} for n in numbers if n not in known for by in SHIFTS]


class _Places:
    """The places of some grammars, each once, and how the sounds are read as theirs."""

    def __init__(self, sounds: Sequence[Sound], grammars: Sequence[Grammar]) -> None:
        self._heard = notes_heard(sounds)
        self._positions = list(dict.fromkeys(p for g in grammars for p in g.positions))
        column = {position: i for i, position in enumerate(self._positions)}
        self._columns = {g.key: [column[p] for p in g.positions] for g in grammars}

    def likely(self, strings: Strings, stretches: Stretches) -> FloatArray:
        """Likelihood of each sound as each place, in one tuning. Shape (sounds, places)."""
        return place_likelihoods(self._heard, self._positions, strings=strings, stretches=stretches)

    def log_evidence(self, grammar: Grammar, likely: FloatArray) -> FloatArray:
        """Evidence for a grammar by the likelihoods of several tunings, shape (tunings, sounds, places)."""
        return log_evidence(grammar.chain, likely[..., self._columns[grammar.key]], self._heard.nothing)

    def believe(self, grammar: Grammar, likely: FloatArray) -> Belief:
        """What a grammar makes of the sounds in one tuning."""
        return believe(grammar.chain, likely[:, self._columns[grammar.key]], self._heard.nothing)


def _settle(reading: _Reading, sounds: Sequence[Sound], instrument: Instrument) -> _Reading:
    """Learn the open strings from what the reading takes for open, and read again."""
    grammar, strings = reading.grammar, reading.strings
    stretches = reading.tuning.stretches(instrument)
    places = _Places(sounds, [grammar])
    for _ in range(LEARNED):
        belief = places.believe(grammar, places.likely(strings, stretches))
        strings = learn_strings(belief, grammar, sounds, reading.strings, stretches)
    belief = places.believe(grammar, places.likely(strings, stretches))
    heard = [n for n in strings.hz if strings.sd_cents[n] < UNHEARD_CENTS]
    apart = np.array([cents_between(reading.strings.hz[n], strings.hz[n]) for n in heard])
    prior = (
        math.log(grammar.share) + reading.tuning.log_prior - 0.5 * float(np.sum((apart / SLIP_CENTS) ** 2))
    )
    prior += sum(log_surprise(place, cents, stretches) for place, cents in strings.sharp_cents.items())
    return _Reading(grammar, reading.tuning, belief.log_evidence + prior, strings, belief)


def _other_way(reading: _Reading, sounds: Sequence[Sound], instrument: Instrument, told: str | None) -> float:
    """Return how likely the presses of a reading were fretted by a finger, or its fretted notes pressed."""
    stop = all_stopped(reading.grammar)
    if reading.belief is None or stop is None:
        return 0.0
    if told is not None:
        return float(stop is not SORTS[told])
    heard = [n for n, sd in reading.strings.sd_cents.items() if sd < UNHEARD_CENTS]
    notes = sharp_notes(reading.belief, reading.grammar, sounds, {n: reading.strings.hz[n] for n in heard})
    stretches = reading.tuning.stretches(instrument)
    if stop is Stop.PRESS:
        return finger_belief(notes, stretches)
    return 1.0 - finger_belief(notes, stretches, odds=ASKED)


def _conclude(readings: Sequence[_Reading], sounds: Sequence[Sound]) -> Labelling:
    """Put the readings together by their weights."""
    prior = np.array([r.tuning.log_prior for r in readings])
    score = TEMPER * (np.array([r.log_score for r in readings]) - prior) + prior
    weight = np.exp(score - score.max())
    weight /= weight.sum()
    shares: list[dict[Position, float]] = [defaultdict(float) for _ in sounds]
    for reading, worth in zip(readings, weight, strict=True):
        if reading.belief is None:
            continue
        for t, row in enumerate(reading.belief.states):
            for state in np.flatnonzero(row > 1e-4):
                place, share = reading.grammar.positions[state], float(worth * row[state])
                shares[t][place] += share * (1 - reading.other_way)
                shares[t][other_way(place)] += share * reading.other_way
    best = readings[int(np.argmax(weight))]
    labels = tuple(_label(sound, share, best.strings) for sound, share in zip(sounds, shares, strict=True))
    tuning, course = best.tuning, best.grammar.course.name
    if best.other_way > 0.5:
        course = "presses" if all_stopped(best.grammar) is Stop.FRET else "fretted notes"
    opened = {label.position.string for label in labels if label.sure and _is_open(label.position)}
    return Labelling(
        tuple(
            replace(label, alone=label.position is not None and label.position.string not in opened)
            for label in labels
        ),
        tuning.offset_cents,
        dict(tuning.shifts),
        course,
        best.grammar.order,
        best.strings,
    )


def _is_open(position: Position | None) -> TypeGuard[Position]:
    return position is not None and position.stop is Stop.OPEN


def _label(sound: Sound, share: dict[Position, float], strings: Strings) -> Label:
    """Return the label of one sound."""
    none = max(0.0, 1.0 - sum(share.values()))
    ranked: list[tuple[Position | None, float]] = [*share.items(), (None, none)]
    ranked.sort(key=lambda pair: -pair[1])
    position, belief = ranked[0]
    other, other_belief = ranked[1] if len(ranked) > 1 else (None, 0.0)
    hz = 0.0
    if position is not None:
        hz = nearest_hz(sound, strings.hz[position.string] * 2 ** (position.semitones / SEMITONES_PER_OCTAVE))
    elif sound.notes:
        hz = sound.notes[0].hz
    return Label(sound, position, hz, belief, other, other_belief, log_string(sound))
