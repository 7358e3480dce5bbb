"""Labels from pitches alone: what is played is known, the sounds are made up as records."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from helpers.memo_plan import COURSES, Place, places
from pitchcheck.instrument import Instrument
from pitchcheck.memo.courses import COURSES as COURSES_PLAYED
from pitchcheck.memo.courses import prefer
from pitchcheck.memo.labelling import label_sounds
from pitchcheck.memo.labels import Labelling
from pitchcheck.memo.refusal import Why, find_refusal
from pitchcheck.memo.sounds import Note, Sound
from pitchcheck.memo.tuning import offset_density
from pitchcheck.physics.materials import string_constants
from pitchcheck.session.presets import get_preset
from pitchcheck.takes import Position, Stop
from pitchcheck.words.memo import listing
from pitchcheck.workflow.memo import _fretted_alike

PRESS, FRET = 0.12, 0.03  # [cent per unit of EA/T] sharpness, near the medians on steel, scale of 650 mm
ROD_SCATTER, FINGER_SCATTER = 0.08, 0.4  # [-] from note to note, relative: a finger pushes as it likes
RING_SLIP_CENTS = 3.0  # of a ringing note, read under speech
OFFSET_CENTS = 4.0  # the offset is found to a few cents: strings are tuned no better


def instrument(kind: str) -> Instrument:
    preset = get_preset(kind)
    return Instrument(kind=kind, scale_mm=preset.scale_mm, strings=preset.strings)


def sound(hz: float, at: float) -> Sound:
    """Return a clean pluck."""
    note = Note(hz, 5e-5, 1e-5, 0.9, rise_db=30.0, fall_db_s=8.0, moved_cents=0.2, purity=0.97)
    return Sound(at, at + 2.5, (note,))


def noise(at: float, hz: float = 170.0) -> Sound:
    """Return a syllable: a pitch that moves."""
    note = Note(hz, 1e-5, 1e-4, 0.5, rise_db=12.0, fall_db_s=50.0, moved_cents=90.0, purity=0.3)
    return Sound(at, at + 0.3, (note,))


def play(
    kind: str,
    places: list[Position],
    *,
    offset: float = 0.0,
    seed: int = 1,
    press: float = PRESS,
    fret: float = FRET,
    rod_scatter: float = ROD_SCATTER,
) -> list[Sound]:
    """Return the sounds of places, strings off by a few cents each."""
    rng = np.random.default_rng(seed)
    made = instrument(kind)
    own = {spec.number: rng.normal(0, 4.0) for spec in made.strings}
    sounds = []
    for i, place in enumerate(places):
        rod = press * (650 / made.scale_mm) ** 2  # as deep as the frets are high, on every scale
        sharp = {Stop.OPEN: 0.0, Stop.FRET: fret, Stop.PRESS: rod}[place.stop]
        scatter = {Stop.OPEN: 0.0, Stop.FRET: FINGER_SCATTER, Stop.PRESS: rod_scatter}[place.stop]
        sharp *= float(np.exp(scatter * rng.standard_normal()))
        sharp *= string_constants(made.string(place.string), scale_mm=made.scale_mm).stretch_factor
        cents = 100 * place.semitones + sharp + own[place.string] + offset + rng.normal(0, 0.5)
        hz = made.string(place.string).nominal_hz * 2 ** (cents / 1200)
        sounds.append(sound(hz, 1.0 + 3.0 * i))
    return sounds


def survey(course: tuple[Place, ...], strings: list[int]) -> list[Position]:
    return [Position(s, *place) for s in strings for place in course]


def heard(labelling: Labelling) -> list[Position | None]:
    return [label.position if label.sure else None for label in labelling.labels]


SIX, FOUR = list(range(6, 0, -1)), list(range(4, 0, -1))


@pytest.mark.parametrize("course", [c for c in COURSES if c != "once"])
@pytest.mark.parametrize(("kind", "strings"), [("electric", SIX), ("acoustic", SIX[::-1]), ("bass", FOUR)])
def test_every_course_in_either_order(course: str, kind: str, strings: list[int]) -> None:
    places = survey(COURSES[course], strings)
    labelling = label_sounds(play(kind, places), instrument=instrument(kind))
    assert heard(labelling) == places
    assert find_refusal(labelling) is None


@pytest.mark.parametrize("offset", [-500.0, -200.0, -100.0, -47.0, 30.0, 100.0])
def test_all_strings_off_alike_are_recognised(offset: float) -> None:
    places = survey(COURSES["home"], SIX)
    labelling = label_sounds(play("electric", places, offset=offset), instrument=instrument("electric"))
    assert heard(labelling) == places
    assert labelling.offset_cents == pytest.approx(offset, abs=OFFSET_CENTS)


def test_skips_doubles_talk_and_a_wrong_start_cost_nothing() -> None:
    places = survey(COURSES["home"], SIX)
    played = [places[5], *places[:7], places[6], *places[8:20], *places[21:]]
    sounds = play("electric", played)
    with_talk = [noise(0.2), *sounds[:9], noise(sounds[8].onset_s + 1.0, 82.0), *sounds[9:], noise(99.0)]
    labels = heard(label_sounds(with_talk, instrument=instrument("electric")))
    assert labels == [None, *played[:9], None, *played[9:], None]


def test_any_order_of_strings() -> None:
    places = survey(COURSES["home"], [5, 4, 6, 1, 3, 2])
    assert heard(label_sounds(play("electric", places), instrument=instrument("electric"))) == places


def test_pairs_tuned_alike_are_told_by_their_order_and_else_refused() -> None:
    places = survey(COURSES["home"], list(range(8, 0, -1)))
    assert heard(label_sounds(play("mandolin", places), instrument=instrument("mandolin"))) == places
    half = survey(COURSES["home"], [8, 6, 4, 2])
    labelling = label_sounds(play("mandolin", half), instrument=instrument("mandolin"))
    reason = find_refusal(labelling)
    wrong = [p for p, q in zip(heard(labelling), half, strict=True) if p is not None and p != q]
    assert wrong == []
    assert reason is not None
    assert reason.why is Why.ALIKE


def test_a_press_hardly_sharper_than_a_fretted_note_is_refused() -> None:
    """Notes between the two, in a course that either could be: nobody can say which was played."""
    places = survey(COURSES["short"], SIX)
    labelling = label_sounds(
        play("electric", places, press=0.06, rod_scatter=0.3), instrument=instrument("electric")
    )
    wrong = [p for p, q in zip(heard(labelling), places, strict=True) if p is not None and p != q]
    assert wrong == []


def test_another_instrument_is_refused() -> None:
    places = survey(COURSES["home"], SIX)
    labelling = label_sounds(play("electric", places), instrument=instrument("tenor ukulele"))
    assert find_refusal(labelling) is not None


def test_talk_alone_is_refused() -> None:
    rng = np.random.default_rng(2)
    sounds = [noise(float(i), hz=float(rng.uniform(90, 300))) for i in range(30)]
    reason = find_refusal(label_sounds(sounds, instrument=instrument("electric")))
    assert reason is not None
    assert reason.why is Why.NO_PLUCKS
    assert find_refusal(label_sounds([], instrument=instrument("electric"))) is not None


def test_a_string_tuned_apart_from_the_others_is_recognised() -> None:
    """One string a tone down: its press 2 sounds like the string in tune, and must not be taken for it."""
    places = survey(COURSES["home"], SIX)
    sounds = play("electric", places)
    sounds[:5] = [
        replace(s, notes=(replace(s.notes[0], hz=s.notes[0].hz * 2 ** (-200 / 1200)),)) for s in sounds[:5]
    ]
    labelling = label_sounds(sounds, instrument=instrument("electric"))
    assert heard(labelling) == places
    assert labelling.shifts == {6: -2}


@pytest.mark.parametrize("strings", [SIX, SIX[::-1]])
@pytest.mark.parametrize("course", ["home", "short"])
def test_each_stop_on_all_strings_before_the_next(course: str, strings: list[int]) -> None:
    places = [Position(s, *place) for place in COURSES[course] for s in strings]
    labelling = label_sounds(play("electric", places), instrument=instrument("electric"))
    assert heard(labelling) == places
    assert labelling.order.stop_by_stop


def tuned(places: list[Position], shifts: dict[int, int]) -> list[Sound]:
    """Return the sounds of places with some strings tuned apart. [semitones]"""
    return [
        replace(s, notes=(replace(s.notes[0], hz=s.notes[0].hz * 2 ** (shifts.get(p.string, 0) / 12)),))
        for p, s in zip(places, play("acoustic", places), strict=True)
    ]


@pytest.mark.parametrize("shifts", [{6: -2, 2: -2, 1: -2}, {6: -2, 5: -2, 1: -2}, {6: -2}])
def test_usual_tunings_of_several_strings_are_recognised(shifts: dict[int, int]) -> None:
    """Half the strings a tone down: read as all down, the others' opens would be second frets."""
    places = survey(COURSES["home"], SIX)
    labelling = label_sounds(tuned(places, shifts), instrument=instrument("acoustic"))
    assert heard(labelling) == places


def test_a_string_never_heard_open_is_not_named_in_silence() -> None:
    places = survey(COURSES["home"], SIX)
    places = [p for p in places if p.string != 4 or p.stop is not Stop.OPEN]
    labels = label_sounds(play("electric", places), instrument=instrument("electric")).labels
    assert [label.sure for label in labels] == [p.string != 4 for p in places]
    assert all(label.torn for label, p in zip(labels, places, strict=True) if p.string == 4)


@pytest.mark.parametrize("high", [0.2, 0.4])
def test_presses_far_too_sharp_are_still_presses_of_their_fret(high: float) -> None:
    """Grossly high slots under slack strings: press 1 up to 170 cents sharp, press 2 two fifths of it."""
    places = survey(COURSES["home"], SIX)
    once, again = (play("electric", places, press=part * high) for part in (1.0, 0.4))
    sounds = [b if p.fret == 2 else a for p, a, b in zip(places, once, again, strict=True)]
    assert heard(label_sounds(sounds, instrument=instrument("electric"))) == places


def test_some_strings_played_once_more_after_all_of_them() -> None:
    places = [*survey(COURSES["home"], SIX), *survey(COURSES["home"], [3, 2, 1])]
    assert heard(label_sounds(play("electric", places), instrument=instrument("electric"))) == places


def test_what_rings_on_under_speech_is_no_second_pluck() -> None:
    """A sound half like a string, on the pitch of the press that still rang: the course has none there."""
    places = survey(COURSES["four"], FOUR)
    sounds = play("bass", places)
    rang = sounds[2]
    note = replace(rang.notes[0], purity=0.65, fall_db_s=34.8, moved_cents=6.0)
    note = replace(note, hz=note.hz * 2 ** (-RING_SLIP_CENTS / 1200))
    middle = (rang.onset_s + sounds[3].onset_s) / 2
    half = Sound(middle, sounds[3].onset_s, (note,))
    labels = label_sounds([*sounds[:3], half, *sounds[3:]], instrument=instrument("bass")).labels
    assert not labels[3].sure
    assert [label.position for label in labels if label.sure] == places


def test_a_set_of_strings_tuned_far_up_or_down_is_hardly_believed() -> None:
    """Three strings a little flat sound as their neighbours would a fourth up, which no string bears."""
    assert (
        offset_density(444.0) < offset_density(-56.0) / 30
    )  # else the one takes a tenth of the other's belief
    # so do three strings a tone down and their neighbours a fifth down
    assert offset_density(-703.0) < offset_density(-203.0) / 50
    grid = np.arange(-1500.0, 1200.0, 1.0)
    assert sum(offset_density(float(o)) for o in grid) == pytest.approx(1.0, abs=1e-3)


@pytest.mark.parametrize(("kind", "sharp"), [("electric", FRET), ("bass", FRET), ("classical", 0.05)])
@pytest.mark.parametrize("course", ["o f1 f2 o", "o f1 f2 f1 o"])
def test_fretted_notes_in_the_order_of_presses_are_never_named_presses(
    kind: str, sharp: float, course: str
) -> None:
    """They are as sharp as fingers make them, all together; which is said, or refused, never misnamed."""
    strings = FOUR if kind == "bass" else SIX
    sounds = play(kind, survey(places(course), strings), fret=sharp)
    labelling = label_sounds(sounds, instrument=instrument(kind))
    named = {place.stop for place in heard(labelling) if place is not None}
    assert Stop.PRESS not in named
    reason = find_refusal(labelling)
    assert (reason is None) or reason.why is Why.ALIKE


@pytest.mark.parametrize("sort", ["presses", "frets"])
def test_where_two_readings_are_alike_the_players_word_counts(sort: str) -> None:
    sounds = play("classical", survey(COURSES["home"], SIX), press=0.06, rod_scatter=0.3)
    made = instrument("classical")
    reason = find_refusal(label_sounds(sounds, instrument=made))
    assert reason is not None
    assert reason.why is Why.ALIKE
    assert reason.pair is not None
    assert {place.stop for place in reason.pair} == {Stop.FRET, Stop.PRESS}
    told = label_sounds(sounds, instrument=made, courses=prefer(COURSES_PLAYED, sort), told=sort)
    assert find_refusal(told) is None
    course = "o p1 p2 p1 o" if sort == "presses" else "o f1 f2 f1 o"
    assert heard(told) == survey(places(course), SIX)


def test_a_few_presses_without_opens_are_not_taken_for_fretted_notes() -> None:
    """One string never open, another without its press 2: they are as sharp as a rod makes them."""
    course = survey(places("o p1 p2"), FOUR)
    played = [p for i, p in enumerate(course) if i not in (0, 5)]
    labels = label_sounds(play("bass", played), instrument=instrument("bass")).labels
    assert [label.position for label in labels] == played
    assert [label.sure for label in labels] == [p.string != 4 for p in played]


@pytest.mark.parametrize(("kind", "said"), [("classical", True), ("electric", False)])
def test_on_nylon_presses_are_not_taken_for_granted(kind: str, said: bool) -> None:
    """A finger sharpens nylon by a few cents, as a rod does where slots are low; steel by much less."""
    played = survey(COURSES["short"], SIX)
    labels = label_sounds(play(kind, played, press=0.09, rod_scatter=0.2), instrument=instrument(kind)).labels
    assert [label.position for label in labels if label.sure] == played
    alike = _fretted_alike(labels)
    assert alike is said
    lines = listing([("memo.m4a", label) for label in labels], course="short", fretted_alike=alike)
    assert ("--course frets" in lines[-1]) is said
    opens = [label for label in labels if label.position is not None and label.position.stop is Stop.OPEN]
    assert not _fretted_alike(opens)
