"""Accepts or refuses one sound that was heard, and says why.

Pure: the same sound, place and earlier takes give the same verdict.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from itertools import pairwise

from pitchcheck.guide.events import Reason, Refused, Remark, RemarkKind
from pitchcheck.guide.expected_pitch import EarlierTake, ExpectedPitch, expected_pitch, open_hz
from pitchcheck.guide.identify import identify_sound
from pitchcheck.hearing.envelope import attack_s, is_clipped, is_steady
from pitchcheck.hearing.note_detector import SoundEvent
from pitchcheck.hearing.pitch_trace import PitchEstimate
from pitchcheck.hearing.second_string import (
    PartialSeries,
    SecondString,
    find_second_string,
    fit_series,
    holds_note,
    split_fraction,
)
from pitchcheck.instrument import Instrument
from pitchcheck.pitch.peaks import find_peaks
from pitchcheck.pitch.read_note import ATTACK_S, FAINT_DB, read_note
from pitchcheck.pitch.reading import Reading, Unreadable
from pitchcheck.placing import TUNED_CENTS
from pitchcheck.takes import Position, Stop
from pitchcheck.units import cents_between

SHORTEST_S = 0.5  # [s] a shorter note is no take: the string was stopped, or touched (ours)
SECOND_STRING_S = 0.6  # [s] looked at for a second string: tells partials 4 Hz apart
QUIET_RATIO = 10**1.8  # peak over room, 18 dB: below, the room is to blame for a bad pitch (ours)
VOICE_SD_CENTS = 1.0  # a string's pitch is read to 0.3 and better within a third of a second
VOICE_SNR_DB = 20.0  # and leaves little beside its partials
HOPELESS_SD_CENTS = 2.5
VOICE_GLIDE_CENTS = 15.0  # a hard pluck starts up to 6 cents sharp, a voice glides by semitones
VOICE_ATTACK_S = 0.1  # a pluck has half its power within 0.05 s, a bass too
MOVING_CENTS = 4.0  # real notes fall by a median of 1 cent, at most 3.8 in 95 of 100, after the first third
MOVING_SDS = 3.0  # and beyond what the stretches' own uncertainty explains
STEP_CENTS = 80.0  # a finger or a peg moves less in a third of a second; a voice more
ASTRAY_CENTS = 100.0  # further from its place it is something else that moves
STRING_PARTIALS = 6  # a string has so many, a knock's resonances make fewer look like one
MOST_SD_CENTS = 1.0  # a cent is worth 0.07 mm of slot on a plain E4 (14 cents per mm): no use beyond
RETURN_CENTS = 1.5  # an open string comes back closer (the limit of the diagnosis for a catching slot)
RETURN_SDS = 3.0  # and beyond what the two readings' uncertainty explains
FRACTION_CENTS = 40.0  # a note asked for lies so near a partial of what was read: perhaps two strings


@dataclass(frozen=True)
class Assessment:
    """What is made of one sound.

    Attributes
    ----------
    reading : Reading or None
        None when no pitch could be read.
    refused : Refused or None
        None for a good take.
    remark : Remark or None
        Of a good take.
    worth_saying : bool
        False for a sound that is passed over in silence: the room grown louder.
    """

    reading: Reading | None
    refused: Refused | None = None
    remark: Remark | None = None
    worth_saying: bool = True


def assess(
    note: SoundEvent,
    *,
    position: Position,
    instrument: Instrument,
    known: Sequence[EarlierTake],
    estimates: Sequence[PitchEstimate] = (),
) -> Assessment:
    """Accept or refuse one sound.

    The order matters: what is too short or cut off at the top, then what is no note at all, then two strings,
    then a pitch that moves, then where it lies, then whether it can be trusted.

    Parameters
    ----------
    note : SoundEvent
    position : Position
        What was asked for.
    instrument : Instrument
    known : sequence of EarlierTake
        Accepted takes, oldest first.
    estimates : sequence of PitchEstimate
        Its pitch while it sounded.
    """
    place = expected_pitch(position, instrument=instrument, known=known)
    reading: Reading | None = None
    with suppress(Unreadable):
        reading = read_note(note.clip, expected_hz=place.hint_hz)
    moving = _moves(estimates, place)
    refused = _unfit(note, reading, place, position, moving=moving)
    if refused is not None:
        steady = refused.reason is Reason.NO_NOTE and _steady(note)
        return Assessment(reading, refused, worth_saying=not steady)
    second = _second_string(note, reading, place, position=position, instrument=instrument, known=known)
    if second is not None:
        return Assessment(
            reading, Refused(position, Reason.TWO_STRINGS, other_string=second.string, hz=second.hz)
        )
    if moving:
        return Assessment(reading, Refused(position, Reason.STILL_MOVING, cents=_movement_cents(estimates)))
    if reading is None:
        refused = _no_note(note, None, place, position)
        return Assessment(
            None, refused, worth_saying=refused.reason is not Reason.NO_NOTE or not _steady(note)
        )
    if not place.believes(reading.hz):
        return Assessment(
            reading, identify_sound(reading.hz, asked=position, instrument=instrument, known=known)
        )
    if reading.snr_db < FAINT_DB:
        return Assessment(reading, Refused(position, Reason.TOO_QUIET))
    if reading.sd_cents > MOST_SD_CENTS:
        drowned = note.peak < QUIET_RATIO * note.room
        return Assessment(
            reading,
            Refused(position, Reason.TOO_QUIET if drowned else Reason.UNSURE, cents=reading.sd_cents),
        )
    return Assessment(reading, remark=find_remark(reading, position=position, known=known))


def find_remark(reading: Reading, *, position: Position, known: Sequence[EarlierTake]) -> Remark | None:
    """Return what is worth telling about a good take: a string that did not come back, or doubts.

    Parameters
    ----------
    reading : Reading
        Of the take.
    position : Position
    known : sequence of EarlierTake
        Accepted takes before it, oldest first.
    """
    if position.stop is not Stop.OPEN:
        return Remark(RemarkKind.DOUBTED, doubts=reading.doubts) if reading.doubts else None
    before = next((take for take in reversed(known) if take.position == position), None)
    if before is None:
        return None
    change = cents_between(before.hz, reading.hz)
    if abs(change) <= max(RETURN_CENTS, RETURN_SDS * reading.sd_cents):
        return None
    return Remark(RemarkKind.RETUNED if abs(change) > TUNED_CENTS else RemarkKind.CAME_BACK, change)


def _unfit(
    note: SoundEvent, reading: Reading | None, place: ExpectedPitch, position: Position, *, moving: bool
) -> Refused | None:
    """Return why a sound is no take whatever its pitch: too short, clipped, or no note."""
    if note.sounded_s < SHORTEST_S:
        if _is_short_note(note, reading, place):
            return Refused(position, Reason.TOO_SHORT, sounded_s=note.sounded_s)
        return _no_note(note, reading, place, position)
    if is_clipped(note.clip, onset_s=note.onset_s):
        return Refused(position, Reason.TOO_LOUD)
    if not moving and _no_string(note, reading):
        return _no_note(note, reading, place, position)
    return None


def _is_short_note(note: SoundEvent, reading: Reading | None, place: ExpectedPitch) -> bool:
    """Whether a sound that ended early was a note that was stopped."""
    if note.restarts >= 2:
        return False
    if reading is None:
        low, high = place.range_hz
        whole = note.clip.between(note.onset_s, note.clip.duration_s)
        return holds_note(find_peaks(whole), low_hz=low, high_hz=high)
    return not _no_string(note, reading) and (
        place.believes(reading.hz) or reading.partials >= STRING_PARTIALS
    )


def _no_string(note: SoundEvent, reading: Reading | None) -> bool:
    """Whether a sound is no plucked string: it does not hold a pitch, or swells instead of starting."""
    if reading is None:
        return note.sounded_s < SHORTEST_S or attack_s(note.clip, onset_s=note.onset_s) > VOICE_ATTACK_S
    vague = reading.sd_cents > VOICE_SD_CENTS and reading.snr_db < VOICE_SNR_DB
    vague = vague or reading.sd_cents > HOPELESS_SD_CENTS
    glides = abs(reading.glide_cents) > VOICE_GLIDE_CENTS
    return vague or glides or attack_s(note.clip, onset_s=note.onset_s) > VOICE_ATTACK_S


def _steady(note: SoundEvent) -> bool:
    """Whether a sound neither ended nor died away: the room grown louder."""
    return not note.ended and is_steady(note.clip, onset_s=note.onset_s)


def _no_note(note: SoundEvent, reading: Reading | None, place: ExpectedPitch, position: Position) -> Refused:
    """Return the refusal of a sound without a usable pitch: drowned by the room, or no note."""
    drowned = note.sounded_s >= SHORTEST_S and note.peak < QUIET_RATIO * note.room
    here = not _steady(note) if reading is None else place.believes(reading.hz)
    return Refused(
        position, Reason.TOO_QUIET if drowned and here else Reason.NO_NOTE, sounded_s=note.sounded_s
    )


def _second_string(
    note: SoundEvent,
    reading: Reading | None,
    place: ExpectedPitch,
    *,
    position: Position,
    instrument: Instrument,
    known: Sequence[EarlierTake],
) -> SecondString | None:
    """Return another string that sounds along, if there is one."""
    strings = [
        (spec.number, open_hz(spec.number, capo=position.capo, instrument=instrument, known=known)[0])
        for spec in instrument.strings
        if spec.number != position.string
    ]
    peaks = find_peaks(note.clip.between(note.onset_s + ATTACK_S, note.onset_s + SECOND_STRING_S))
    low, high = place.range_hz
    if reading is None:
        series = fit_series(peaks, low_hz=low, high_hz=high)
        return None if series is None else find_second_string(peaks, series, strings=strings)
    read = PartialSeries(reading.hz, reading.inharmonicity)
    if low <= reading.hz <= high:
        return find_second_string(peaks, read, strings=strings)
    asked = fit_series(peaks, low_hz=low, high_hz=high)
    if asked is None:
        return None
    part = round(asked.hz / reading.hz)
    if part >= 2 and abs(cents_between(part * reading.hz, asked.hz)) < FRACTION_CENTS:
        return split_fraction(peaks, read, asked, strings=strings)
    return find_second_string(peaks, read, strings=[(position.string, asked.hz)])


def _moves(estimates: Sequence[PitchEstimate], place: ExpectedPitch) -> bool:
    """Whether a note near its place moves on after its first third of a second, as by a hand or a peg."""
    later = [(e.hz, e.sd_cents) for e in estimates[1:] if e.hz is not None and e.sd_cents is not None]
    if len(later) < 3:
        return False
    steps = [cents_between(a[0], b[0]) for a, b in pairwise(later)]
    if max(abs(step) for step in steps) > STEP_CENTS:
        return False
    middle = place.cents_off(sorted(later)[len(later) // 2][0])
    if not place.low_cents - ASTRAY_CENTS <= middle <= place.high_cents + ASTRAY_CENTS:
        return False
    sharpest = max(later, key=lambda pair: pair[0])
    flattest = min(later, key=lambda pair: pair[0])
    moved = cents_between(flattest[0], sharpest[0])
    return moved > MOVING_CENTS + MOVING_SDS * math.hypot(sharpest[1], flattest[1])


def _movement_cents(estimates: Sequence[PitchEstimate]) -> float:
    pitches = [e.hz for e in estimates[1:] if e.hz is not None]
    return cents_between(min(pitches), max(pitches))
