"""How the usual open chords sound, in words: for the measure page, the job report and their tables.

Conventions: a chord is judged by its worst consonant pair of notes, against equal temperament; open strings
are taken to be in tune. Cents, and beats in a second.
"""

from __future__ import annotations

from collections.abc import Sequence

from pitchcheck.chords import Chord, ChordNote, Interval
from pitchcheck.report.records import Table
from pitchcheck.words import numbers, phrases

SOUR_CENTS = 10.0  # [cent] a tenth of a fret, heard by most; our choice

ABOUT = (
    "A chord sounds sour where two of its notes lie too far apart or too near together. Each is judged by "
    "its worst pair against equal temperament, with the touch that was heard and the open strings in tune. "
    "100 cents are one fret; about 5 are noticed."
)
BEATS = (
    "Beats are how often in a second the two notes swell together. Equal temperament beats a little by "
    "itself: the figure in brackets."
)
_BEAT_DECIMALS = 1
QUALITIES = ("clean", "a little off", "sour")


def quality(cents: float) -> str:
    """Return how an interval that is off by so much sounds, judged before rounding.

    Examples
    --------
    >>> quality(-3.0), quality(7.0), quality(12.0)
    ('clean', 'a little off', 'sour')
    """
    clean, little, sour = QUALITIES
    if abs(cents) <= phrases.AUDIBLE_CENTS:
        return clean
    return little if abs(cents) <= SOUR_CENTS else sour


def off(cents: float) -> str:
    """Return how far an interval is off: ``"8.2 cents wide"``.

    Examples
    --------
    >>> off(8.24), off(-3.0), off(0.04)
    ('8.2 cents wide', '3.0 cents narrow', '0.0 cents')
    """
    amount = numbers.rounded(
        abs(cents), decimals=numbers.CENT_DECIMALS, limits=(phrases.AUDIBLE_CENTS, SOUR_CENTS)
    )
    if amount == "0.0":
        return "0.0 cents"
    return f"{amount} cents {'wide' if cents > 0 else 'narrow'}"


def judged(cents: float) -> str:
    """Return quality and amount: ``"sour, 12.3 cents wide"``."""
    return f"{quality(cents)}, {off(cents)}"


def pair(interval: Interval) -> str:
    """Return the two notes of an interval: ``"string 5 fret 3 and string 2 fret 1"``."""
    return f"{_note(interval.low)} and {_note(interval.high)}"


def chord_table_words(chords: Sequence[Chord]) -> Table | None:
    """Return the chords as they sound now and with all slots at target; None for none."""
    rows = tuple(
        (
            chord.name,
            judged(chord.worst_now.now_cents),
            pair(chord.worst_now),
            _beats(chord.worst_now.now_beat_hz, chord.worst_now.equal_beat_hz),
            judged(chord.worst_target.target_cents),
        )
        for chord in chords
    )
    heads = ("Chord", "Now", "Worst pair", "Beats a second", "With the slots at target")
    return Table("The usual open chords", heads, rows) if rows else None


def chord_change_words(before: Sequence[Chord], after: Sequence[Chord]) -> Table | None:
    """Return the chords before and now; None for none that both have."""
    now = {chord.name: chord.worst_now for chord in after}
    rows = tuple(
        (
            chord.name,
            judged(chord.worst_now.now_cents),
            judged(now[chord.name].now_cents),
        )
        for chord in before
        if chord.name in now
    )
    heads = ("Chord", "Before", "Now")
    return Table("The usual open chords, before and now", heads, rows) if rows else None


def chord_group_words(before: Sequence[Chord], after: Sequence[Chord]) -> Table | None:
    """Return the chords by how they sound before and now, without figures; None for none."""
    now = {chord.name: quality(chord.worst_now.now_cents) for chord in after}
    was = {chord.name: quality(chord.worst_now.now_cents) for chord in before if chord.name in now}
    if not was:
        return None
    rows = tuple(
        (
            word.capitalize(),
            *(", ".join(name for name in was if group[name] == word) or "none" for group in (was, now)),
        )
        for word in QUALITIES
    )
    return Table("The usual open chords, before and now", ("Sounds", "Before", "Now"), rows)


def chords_summary(before: Sequence[Chord], after: Sequence[Chord]) -> str:
    """Return in one sentence how many chords sound better, and how many are clean; empty for none."""
    now = {chord.name: QUALITIES.index(quality(chord.worst_now.now_cents)) for chord in after}
    pairs = [
        (QUALITIES.index(quality(chord.worst_now.now_cents)), now[chord.name])
        for chord in before
        if chord.name in now
    ]
    total = len(pairs)
    if not pairs:
        return ""
    better, worse = sum(new < old for old, new in pairs), sum(new > old for old, new in pairs)
    was, clean = sum(old == 0 for old, _ in pairs), sum(new == 0 for _, new in pairs)
    if was == clean == total:
        return f"All {total} usual open chords were clean before, and are now."
    if not was and not clean and not better and not worse:
        return f"None of {total} usual open chords is clean, before or now; none sounds better or worse."
    said = (
        f"{better or 'None'} of {total} usual open chords sound{'' if better > 1 else 's'} better than before"
    )
    said += f", {worse} sound{'' if worse > 1 else 's'} worse" if worse else ""
    if not was and not clean:
        return f"{said}; none is clean, before or now."
    return f"{said}; {clean or 'none'} {'is' if clean == 1 else 'are'} clean now, {was or 'none'} before."


def _beats(beat_hz: float, equal_hz: float) -> str:
    """Return a beat rate and that of equal temperament."""
    shown, usual = (numbers.rounded(x, decimals=_BEAT_DECIMALS) for x in (beat_hz, equal_hz))
    return f"{shown} ({usual})"


def _note(note: ChordNote) -> str:
    """Return where one note is played."""
    return f"string {note.string} {'open' if note.fret == 0 else f'fret {note.fret}'}"
