"""What one reading of a recording tells of the strings: their open pitch, and how sharp presses of them are.

Conventions: Hz, cents + = sharp. A pitch is the median of the sounds, weighed by how far each is believed.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from pitchcheck.memo.grammar import Grammar
from pitchcheck.memo.hidden_markov import Belief
from pitchcheck.memo.place_likelihood import OPEN_CENTS, Stretches, Strings, log_surprise
from pitchcheck.memo.sounds import Sound
from pitchcheck.takes import Position, Stop
from pitchcheck.tuning import SEMITONES_PER_OCTAVE
from pitchcheck.units import cents_between

HEARD_SHARE = 0.5  # plucks that must be believed before a string or a place counts as heard
HARDLY = 0.02  # belief from which a sound counts at all
MOST_SURPRISE = -5.0  # log odds below which no sharpness is learned: the note is of another place (ours)


def learn_strings(
    belief: Belief, grammar: Grammar, sounds: Sequence[Sound], before: Strings, stretches: Stretches
) -> Strings:
    """Return the open strings, and how sharp they are when stopped, as one reading heard them.

    A string that was hardly believed open, and a place that was hardly believed played, stay as they were.
    """
    hz, sd = dict(before.hz), dict(before.sd_cents)
    for number in before.hz:
        columns = [i for i, p in enumerate(grammar.positions) if p.string == number and p.stop is Stop.OPEN]
        weight = belief.states[:, columns].sum(axis=1)
        if weight.sum() < HEARD_SHARE:
            continue
        heard = np.flatnonzero(weight > HARDLY)
        pitch = np.array([nearest_hz(sounds[int(t)], before.hz[number]) for t in heard])
        order = np.argsort(pitch)
        share = np.cumsum(weight[heard][order])
        hz[number] = float(pitch[order][np.searchsorted(share, 0.5 * share[-1])])
        sd[number] = OPEN_CENTS
    sharp = _learn_sharpness(belief, grammar, sounds, hz)
    notes = list(before.hz.values())
    usual = {
        place: cents
        for place, cents in sharp.items()
        if notes.count(before.hz[place.string]) == 1  # of a pair tuned alike either may have been heard
        and log_surprise(place, cents, stretches) > MOST_SURPRISE
    }
    return Strings(hz, sd, usual)


def _learn_sharpness(
    belief: Belief, grammar: Grammar, sounds: Sequence[Sound], opens: Mapping[int, float]
) -> dict[Position, float]:
    """Return how sharp the stopped places were heard. [cent]"""
    found: dict[Position, float] = {}
    for place in dict.fromkeys(grammar.positions):
        if place.stop is not Stop.PRESS:  # fingers scatter too much to be learned from
            continue
        columns = [i for i, p in enumerate(grammar.positions) if p == place]
        weight = belief.states[:, columns].sum(axis=1)
        if weight.sum() < HEARD_SHARE:
            continue
        heard = np.flatnonzero(weight > HARDLY)
        cents = np.array([_sharp_cents(sounds[int(t)], place, opens) for t in heard])
        order = np.argsort(cents)
        share = np.cumsum(weight[heard][order])
        found[place] = float(cents[order][np.searchsorted(share, 0.5 * share[-1])])
    return found


def sharp_notes(
    belief: Belief, grammar: Grammar, sounds: Sequence[Sound], opens: Mapping[int, float]
) -> list[tuple[Position, float]]:
    """Return every sound that is believed a place of some strings, and how sharp it was heard. [cent]"""
    notes = []
    for row, sound in zip(belief.states, sounds, strict=True):
        state = int(np.argmax(row))
        place = grammar.positions[state]
        if row[state] > HEARD_SHARE and place.string in opens:
            notes.append((place, _sharp_cents(sound, place, opens)))
    return notes


def _sharp_cents(sound: Sound, place: Position, opens: Mapping[int, float]) -> float:
    """How sharp a sound is at a place, above its open string tempered equally. [cent]"""
    tempered = opens[place.string] * 2 ** (place.semitones / SEMITONES_PER_OCTAVE)
    return cents_between(tempered, nearest_hz(sound, tempered))


def nearest_hz(sound: Sound, hz: float) -> float:
    """Pitch of a sound's note that lies nearest."""
    return min((note.hz for note in sound.notes), key=lambda one: abs(math.log(one / hz)))
