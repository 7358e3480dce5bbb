"""The usual first-position chords, and how far out of tune each is: now, and with the slots at target.

Conventions: open strings are in tune; errors in cents against equal temperament, + = sharp; beat rates in Hz,
never negative. An interval is judged between partial p of its lower and partial q of its upper note, where
p : q is the interval in just intonation. Shapes give one fret per string, string 1 first; None is not
played; they are common knowledge of the instruments, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations, pairwise
from math import gcd, log2

from pitchcheck.fit.result import Fit, StringFit
from pitchcheck.instrument import Instrument, StringSpec
from pitchcheck.tuning import CONCERT_A4_HZ, SEMITONES_PER_OCTAVE
from pitchcheck.units import CENTS_PER_OCTAVE

Frets = tuple[int | None, ...]

# Consonant intervals within an octave [semitones]: upper over lower frequency, 5-limit just intonation.
_JUST = {0: (1, 1), 3: (6, 5), 4: (5, 4), 5: (4, 3), 7: (3, 2), 8: (8, 5), 9: (5, 3)}
_NAMES = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
_A_IN_NAMES = 9


@dataclass(frozen=True)
class Shape:
    """A chord's frets, its root [semitones above C] and its kind in the tuning named beside it."""

    root: int
    kind: str  # "" major, "m" minor, "7" seventh
    frets: Frets


@dataclass(frozen=True)
class Family:
    """Tunings that share shapes: steps from string to next string, string 1's pitch class, the shapes."""

    steps: tuple[int, ...]
    first: int
    shapes: tuple[Shape, ...]


_UKULELE_SHAPES = (
    Shape(0, "", (3, 0, 0, 0)),
    Shape(5, "", (0, 1, 0, 2)),
    Shape(7, "", (2, 3, 2, 0)),
    Shape(9, "", (0, 0, 1, 2)),
    Shape(2, "", (0, 2, 2, 2)),
    Shape(9, "m", (0, 0, 0, 2)),
    Shape(2, "m", (0, 1, 2, 2)),
    Shape(4, "m", (2, 3, 4, 0)),
    Shape(7, "7", (2, 1, 2, 0)),
    Shape(0, "7", (1, 0, 0, 0)),
)
FAMILIES = (
    Family(  # E4 B3 G3 D3 A2 E2
        (-5, -4, -5, -5, -5),
        4,
        (
            Shape(0, "", (0, 1, 0, 2, 3, None)),
            Shape(9, "", (0, 2, 2, 2, 0, None)),
            Shape(7, "", (3, 0, 0, 0, 2, 3)),
            Shape(4, "", (0, 0, 1, 2, 2, 0)),
            Shape(2, "", (2, 3, 2, 0, None, None)),
            Shape(5, "", (1, 1, 2, 3, None, None)),
            Shape(9, "m", (0, 1, 2, 2, 0, None)),
            Shape(4, "m", (0, 0, 0, 2, 2, 0)),
            Shape(2, "m", (1, 3, 2, 0, None, None)),
            Shape(9, "7", (0, 2, 0, 2, 0, None)),
            Shape(4, "7", (0, 0, 1, 0, 2, 0)),
            Shape(2, "7", (2, 1, 2, 0, None, None)),
            Shape(11, "7", (2, 0, 2, 1, 2, None)),
        ),
    ),
    Family((-5, -4, 7), 9, _UKULELE_SHAPES),  # A4 E4 C4 G4
    Family((-5, -4, -5), 9, _UKULELE_SHAPES),  # A4 E4 C4 G3, and a fourth lower E4 B3 G3 D3
    Family(  # E5 A4 D4 G3
        (-7, -7, -7),
        4,
        (
            Shape(7, "", (3, 2, 0, 0)),
            Shape(0, "", (0, 3, 2, 0)),
            Shape(2, "", (2, 0, 0, 2)),
            Shape(9, "", (5, 4, 2, 2)),
            Shape(5, "", (1, 0, 3, 5)),
            Shape(9, "m", (0, 3, 2, 2)),
            Shape(4, "m", (0, 2, 2, 0)),
            Shape(2, "m", (1, 0, 0, 2)),
            Shape(7, "7", (1, 2, 0, 0)),
        ),
    ),
)


@dataclass(frozen=True)
class ChordNote:
    """One note of a chord: where it is played, its pitch in equal temperament, its errors."""

    string: int
    fret: int
    equal_hz: float
    now_cents: float
    target_cents: float
    touch_cents: float  # the part of now_cents that comes from the finger


@dataclass(frozen=True)
class Interval:
    """Two notes of a chord against each other. Errors are the upper note's less the lower's. [cent]

    ``partials`` (p, q): partial p of the lower meets partial q of the upper note; the beats are |p f - q f'|.
    [Hz]
    """

    low: ChordNote
    high: ChordNote
    partials: tuple[int, int]
    now_cents: float
    target_cents: float
    touch_cents: float
    now_beat_hz: float
    target_beat_hz: float
    equal_beat_hz: float


@dataclass(frozen=True)
class Chord:
    """A chord with its worst interval now, and its worst interval with all slots at target."""

    name: str
    notes: tuple[ChordNote, ...]
    worst_now: Interval
    worst_target: Interval


def chord_table(instrument: Instrument, fit: Fit) -> tuple[Chord, ...]:
    """How the usual first-position chords of an instrument sound.

    Parameters
    ----------
    instrument : Instrument
        Its tuning chooses the shapes: six strings tuned as E4 B3 G3 D3 A2 E2, ukuleles, and four strings (or
        double courses) in fifths, each also tuned higher or lower as a whole; the names follow.
    fit : Fit
        Gives the predicted errors of frets 1 to 12 per string. Strings it lacks are left out of the chords.

    Returns
    -------
    tuple of Chord
        Empty for any other tuning (a bass). A chord without two measured notes is left out. Dissonant pairs
        (in sevenths) are not judged: they beat in any tuning.

    References
    ----------
    docs/method.md, "Chords".
    """
    courses = _courses(instrument)
    family = next((f for f in FAMILIES if f.steps == _steps(courses)), None)
    if family is None:
        return ()
    shift = (_semitone(courses[0][0]) - family.first) % SEMITONES_PER_OCTAVE
    fits = {string.number: string for string in fit.strings}
    chords: list[Chord] = []
    for shape in family.shapes:
        notes = tuple(
            _note(spec, fret, fits[spec.number])
            for course, fret in zip(courses, shape.frets, strict=True)
            for spec in course
            if fret is not None and spec.number in fits
        )
        intervals = [pair for pair in map(_interval, *_pairs(notes)) if pair is not None]
        if intervals:
            name = _NAMES[(shape.root + shift) % SEMITONES_PER_OCTAVE] + shape.kind
            chords.append(
                Chord(
                    name,
                    notes,
                    max(intervals, key=lambda pair: abs(pair.now_cents)),
                    max(intervals, key=lambda pair: abs(pair.target_cents)),
                )
            )
    return tuple(chords)


def _courses(instrument: Instrument) -> list[tuple[StringSpec, ...]]:
    """Return the strings in order of number, pairs of one note taken together where all are such pairs."""
    specs = sorted(instrument.strings, key=lambda spec: spec.number)
    doubled = len(specs) % 2 == 0 and all(
        _semitone(a) == _semitone(b) for a, b in zip(specs[::2], specs[1::2], strict=True)
    )
    return list(zip(specs[::2], specs[1::2], strict=True)) if doubled else [(spec,) for spec in specs]


def _steps(courses: list[tuple[StringSpec, ...]]) -> tuple[int, ...]:
    """Semitones from each course to the next."""
    return tuple(_semitone(b[0]) - _semitone(a[0]) for a, b in pairwise(courses))


def _semitone(spec: StringSpec) -> int:
    """Semitones of an open string above the C below A4."""
    return round(SEMITONES_PER_OCTAVE * log2(spec.nominal_hz / CONCERT_A4_HZ)) + _A_IN_NAMES


def _note(spec: StringSpec, fret: int, string: StringFit) -> ChordNote:
    """One note; an open string is in tune."""
    now, target, touch = (
        (float(neck[fret - 1]) if fret else 0.0)
        for neck in (string.neck_now_cents, string.neck_target_cents, string.neck_touch_cents)
    )
    equal_hz = spec.nominal_hz * 2 ** (fret / SEMITONES_PER_OCTAVE)
    return ChordNote(spec.number, fret, equal_hz, now, target, touch)


def _pairs(notes: tuple[ChordNote, ...]) -> tuple[list[ChordNote], list[ChordNote]]:
    """All pairs of notes, as the list of the lower and the list of the upper ones."""
    pairs = [tuple(sorted(pair, key=lambda note: note.equal_hz)) for pair in combinations(notes, 2)]
    return [pair[0] for pair in pairs], [pair[1] for pair in pairs]


def _interval(low: ChordNote, high: ChordNote) -> Interval | None:
    """Hold two notes against each other; None for a dissonance."""
    steps = round(SEMITONES_PER_OCTAVE * log2(high.equal_hz / low.equal_hz))
    if steps % SEMITONES_PER_OCTAVE not in _JUST:
        return None
    p, q = just_partials(steps)
    return Interval(
        low=low,
        high=high,
        partials=(p, q),
        now_cents=high.now_cents - low.now_cents,
        target_cents=high.target_cents - low.target_cents,
        touch_cents=high.touch_cents - low.touch_cents,
        now_beat_hz=beat_hz(low.equal_hz, high.equal_hz, (p, q), cents=(low.now_cents, high.now_cents)),
        target_beat_hz=beat_hz(
            low.equal_hz, high.equal_hz, (p, q), cents=(low.target_cents, high.target_cents)
        ),
        equal_beat_hz=beat_hz(low.equal_hz, high.equal_hz, (p, q)),
    )


def just_partials(steps: int) -> tuple[int, int]:
    """Partials (p, q) at which a consonance meets: partial p of the lower, q of the upper note.

    Parameters
    ----------
    steps : int >= 0
        Semitones of the interval; a dissonance raises KeyError.

    Examples
    --------
    >>> just_partials(7), just_partials(16), just_partials(12)
    ((3, 2), (5, 2), (2, 1))
    """
    octaves, within = divmod(steps, SEMITONES_PER_OCTAVE)
    p, q = _JUST[within][0] * 2**octaves, _JUST[within][1]
    return p // gcd(p, q), q // gcd(p, q)


def beat_hz(
    low_hz: float, high_hz: float, partials: tuple[int, int], *, cents: tuple[float, float] = (0.0, 0.0)
) -> float:
    """Beat rate |p f - q f'| between partial p of a lower and partial q of an upper note. [Hz]

    Parameters
    ----------
    low_hz, high_hz : float > 0
    partials : tuple of int
        p and q.
    cents : tuple of float, default no error
        How far the lower and the upper note are off.

    Examples
    --------
    >>> beat_hz(100.0, 151.0, (3, 2))
    2.0
    """
    low, high = (hz * 2 ** (off / CENTS_PER_OCTAVE) for hz, off in zip((low_hz, high_hz), cents, strict=True))
    return abs(partials[0] * low - partials[1] * high)
