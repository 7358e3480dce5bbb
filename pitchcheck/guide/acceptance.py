"""Accepts or refuses one sound that was heard, and says why in words a player can act on.

Pure: the same sound, place and earlier takes give the same verdict.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from itertools import pairwise

from pitchcheck.guide.events import Reason
from pitchcheck.guide.naming import name_sound
from pitchcheck.guide.places import Known, Place, find_place, off_cents, open_hz
from pitchcheck.guide.remarks import remark
from pitchcheck.hearing.envelope import attack_s, is_clipped, is_steady
from pitchcheck.hearing.note_detector import Note
from pitchcheck.hearing.pitch_trace import Glimpse
from pitchcheck.hearing.second_string import Company, Law, find_company, find_law, holds_note, split_fraction
from pitchcheck.instrument import Instrument
from pitchcheck.pitch.peaks import Peaks, find_peaks
from pitchcheck.pitch.read_note import ATTACK_S, FAINT_DB, read_note
from pitchcheck.pitch.reading import Reading, Unreadable
from pitchcheck.takes import Position, Stop
from pitchcheck.units import cents_between

SHORTEST_S = 0.5  # [s] a shorter note is no take: the string was stopped, or touched (ours)
COMPANY_S = 0.6  # [s] looked at for a second string: tells partials 4 Hz apart
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
FRACTION_CENTS = 40.0  # a note asked for lies so near a partial of what was read: perhaps two strings


@dataclass(frozen=True)
class Verdict:
    """What is made of one sound.

    Attributes
    ----------
    reading : Reading or None
        None when no pitch could be read.
    reason : Reason or None
        None for a good take.
    words : str
        Of a refusal; of a good take the remark, or empty.
    worth_saying : bool
        False for a sound that is passed over in silence: the room grown louder.
    """

    reading: Reading | None
    reason: Reason | None
    words: str
    worth_saying: bool = True


def judge(
    note: Note,
    *,
    position: Position,
    instrument: Instrument,
    known: Sequence[Known],
    glimpses: Sequence[Glimpse] = (),
) -> Verdict:
    """Judge one sound.

    The order matters: what is too short or cut off at the top, then what is no note at all, then two strings,
    then a pitch that moves, then where it lies, then whether it can be trusted.

    Parameters
    ----------
    note : Note
    position : Position
        What was asked for.
    instrument : Instrument
    known : sequence of Known
        Accepted takes, oldest first.
    glimpses : sequence of Glimpse
        Its pitch while it sounded.
    """
    place = find_place(position, instrument=instrument, known=known)
    reading: Reading | None = None
    with suppress(Unreadable):
        reading = read_note(note.clip, expected_hz=place.hint_hz)
    if note.sounded_s < SHORTEST_S:
        return _short(note, reading, place)
    if is_clipped(note.clip, onset_s=note.onset_s):
        words = "Too loud: the sound is cut off at the top. Turn the input down or move back, and play again."
        return Verdict(reading, Reason.TOO_LOUD, words)
    moving = _moves(glimpses, place)
    if not moving and _no_string(note, reading):
        return _no_note(note, reading, place)
    company = _company(note, reading, place, position=position, instrument=instrument, known=known)
    if company is not None:
        which = "another string" if company.string is None else f"string {company.string}"
        words = f"Two strings sound: {which} rings along near {company.hz:.0f} Hz. Damp it, then play again."
        return Verdict(reading, Reason.TWO_STRINGS, words)
    if moving:
        return _still_moving(glimpses, reading, position)
    if reading is None:
        return _no_note(note, None, place)
    if not place.low_cents <= off_cents(place, reading.hz) <= place.high_cents:
        named = name_sound(reading.hz, asked=position, instrument=instrument, known=known)
        return Verdict(reading, named.reason, named.words)
    if reading.snr_db < FAINT_DB:
        return _too_quiet(reading)
    if reading.sd_cents > MOST_SD_CENTS:
        return _unsure(note, reading)
    return Verdict(reading, None, remark(reading, position=position, instrument=instrument, known=known))


def _short(note: Note, reading: Reading | None, place: Place) -> Verdict:
    """Judge a sound that ended early: a note that was stopped, or none."""
    if reading is None:
        low, high = place.range_hz
        whole = note.clip.between(note.onset_s, note.clip.duration_s)
        is_note = holds_note(find_peaks(whole), low_hz=low, high_hz=high)
    else:
        here = place.low_cents <= off_cents(place, reading.hz) <= place.high_cents
        is_note = not _no_string(note, reading) and (here or reading.partials >= STRING_PARTIALS)
    is_note = is_note and note.restarts < 2
    if not is_note:
        return _no_note(note, reading, place)
    words = (
        f"Too short: it rang {note.sounded_s:.1f} s and {SHORTEST_S} is the least, 2 is good. "
        "Leave the string alone after the pluck, and play again."
    )
    return Verdict(reading, Reason.TOO_SHORT, words)


def _no_string(note: Note, reading: Reading | None) -> bool:
    """Whether a sound is no plucked string: it does not hold a pitch, or swells instead of starting."""
    if reading is None:
        return note.sounded_s < SHORTEST_S or attack_s(note.clip, onset_s=note.onset_s) > VOICE_ATTACK_S
    vague = reading.sd_cents > VOICE_SD_CENTS and reading.snr_db < VOICE_SNR_DB
    vague = vague or reading.sd_cents > HOPELESS_SD_CENTS
    glides = abs(reading.glide_cents) > VOICE_GLIDE_CENTS
    return vague or glides or attack_s(note.clip, onset_s=note.onset_s) > VOICE_ATTACK_S


def _no_note(note: Note, reading: Reading | None, place: Place) -> Verdict:
    steady = not note.ended and is_steady(note.clip, onset_s=note.onset_s)
    drowned = note.sounded_s >= SHORTEST_S and note.peak < QUIET_RATIO * note.room
    if reading is None:
        here = not steady
    else:
        here = place.low_cents <= off_cents(place, reading.hz) <= place.high_cents
    if drowned and here:
        return _too_quiet(reading)
    what = "a noise" if note.sounded_s >= SHORTEST_S else "a short noise"
    words = f"That was {what} (a knock, a voice, something in the room), not a note. Play the note again."
    return Verdict(reading, Reason.NO_NOTE, words, worth_saying=not steady)


def _too_quiet(reading: Reading | None) -> Verdict:
    words = "Too quiet: the note hardly stands out of the room. Pluck louder or move closer, and play again."
    return Verdict(reading, Reason.TOO_QUIET, words)


def _company(
    note: Note,
    reading: Reading | None,
    place: Place,
    *,
    position: Position,
    instrument: Instrument,
    known: Sequence[Known],
) -> Company | None:
    """Return another string that sounds along, if there is one."""
    strings = [
        (spec.number, open_hz(spec.number, capo=position.capo, instrument=instrument, known=known)[0])
        for spec in instrument.strings
        if spec.number != position.string
    ]
    peaks = _peaks(note)
    low, high = place.range_hz
    if reading is None:
        law = find_law(peaks, low_hz=low, high_hz=high)
        return None if law is None else find_company(peaks, law, strings=strings)
    read = Law(reading.hz, reading.inharmonicity)
    if low <= reading.hz <= high:
        return find_company(peaks, read, strings=strings)
    asked = find_law(peaks, low_hz=low, high_hz=high)
    if asked is None:
        return None
    part = round(asked.hz / reading.hz)
    if part >= 2 and abs(cents_between(part * reading.hz, asked.hz)) < FRACTION_CENTS:
        return split_fraction(peaks, read, asked, strings=strings)
    return find_company(peaks, read, strings=[(position.string, asked.hz)])


def _peaks(note: Note) -> Peaks:
    return find_peaks(note.clip.between(note.onset_s + ATTACK_S, note.onset_s + COMPANY_S))


def _moves(glimpses: Sequence[Glimpse], place: Place) -> bool:
    """Whether a note near its place moves on after its first third of a second, as by a hand or a peg."""
    later = [(g.hz, g.sd_cents) for g in glimpses[1:] if g.hz is not None and g.sd_cents is not None]
    if len(later) < 3:
        return False
    steps = [cents_between(a[0], b[0]) for a, b in pairwise(later)]
    if max(abs(step) for step in steps) > STEP_CENTS:
        return False
    middle = off_cents(place, sorted(later)[len(later) // 2][0])
    if not place.low_cents - ASTRAY_CENTS <= middle <= place.high_cents + ASTRAY_CENTS:
        return False
    sharpest = max(later, key=lambda pair: pair[0])
    flattest = min(later, key=lambda pair: pair[0])
    moved = cents_between(flattest[0], sharpest[0])
    return moved > MOVING_CENTS + MOVING_SDS * math.hypot(sharpest[1], flattest[1])


def _still_moving(glimpses: Sequence[Glimpse], reading: Reading | None, position: Position) -> Verdict:
    pitches = [g.hz for g in glimpses[1:] if g.hz is not None]
    moved = cents_between(min(pitches), max(pitches))
    hold = {
        Stop.OPEN: "Leave the tuner and the string alone",
        Stop.FRET: "Keep the finger still",
        Stop.PRESS: "Hold the rod still, all the way down",
        Stop.LEAF: "Leave the string alone and the leaf flat on the fret",
    }[position.stop]
    words = f"The pitch moved by {moved:.0f} cents while it rang. {hold}, and play again."
    return Verdict(reading, Reason.STILL_MOVING, words)


def _unsure(note: Note, reading: Reading) -> Verdict:
    if note.peak < QUIET_RATIO * note.room:
        return _too_quiet(reading)
    words = (
        f"The pitch is only known to {reading.sd_cents:.1f} cents; {MOST_SD_CENTS:.0f} is the most that "
        "helps. Pluck a little louder, let it ring, and play again."
    )
    return Verdict(reading, Reason.UNSURE, words)
