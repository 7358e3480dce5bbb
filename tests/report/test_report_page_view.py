"""What the report page says, tested without HTML: headline, steps, findings, refused takes, small print."""

from __future__ import annotations

from dataclasses import replace

import pytest

from helpers.measurement import (
    ALL_FINE,
    ALL_HIGH,
    BUSY,
    EVERY_FINDING,
    TWO_HIGH_REST_FINE,
    USUAL,
    Extras,
    Slot,
    measurement,
    with_plan,
)
from pitchcheck.diagnosis import Cause, Finding
from pitchcheck.findings import FirstFretHeard, Fret12AtTarget, OpenRan
from pitchcheck.instrument import Nut
from pitchcheck.judgement import Bar, BarKind, Verdict
from pitchcheck.measurement import Measurement
from pitchcheck.plan import NutBottom
from pitchcheck.report.page.view import PageView, page_view
from pitchcheck.report.records import Step
from pitchcheck.units import LengthUnit
from pitchcheck.words.evidence import finding_lines
from pitchcheck.words.steps import slot_steps

LOW = Slot(-0.05)
UNSURE = Slot(0.44, 0.30)
NOTHING = Slot(None)


def words_of(steps: tuple[Step, ...]) -> str:
    """All that a list of steps says."""
    return " ".join(" ".join((s.title, *s.details, words_of(s.parts), *s.end)) for s in steps)


@pytest.mark.parametrize(
    ("slots", "headline"),
    [
        (TWO_HIGH_REST_FINE, "It is the nut: strings 5 and 6 are too high."),
        (ALL_FINE, "It is not the nut: all six slots are fine."),
        (ALL_HIGH, "It is the nut: all six slots are too high."),
        ((*ALL_FINE[:5], Slot(0.95)), "It is the nut: string 6 is too high."),
        ((LOW, *ALL_FINE[1:5], Slot(0.95)), "It is the nut: string 6 is too high and string 1 is too low."),
        ((LOW, *ALL_FINE[1:]), "It is the nut: string 1 is too low."),
        ((UNSURE,) * 6, "Not known yet whether it is the nut: no slot is sure."),
        ((NOTHING,) * 6, "No slot could be measured."),
        (
            (*ALL_FINE[:4], NOTHING, NOTHING),
            "Not known yet whether it is the nut: strings 1 to 4 are fine, the rest is not known.",
        ),
        ((Slot(0.31),), "It is not the nut: the slot is fine."),
    ],
)
def test_headline(slots: tuple[Slot, ...], headline: str) -> None:
    assert page_view(measurement(slots)).answer.headline == headline


def test_the_summary_names_the_strings_and_what_is_next() -> None:
    text = " ".join(page_view(measurement(TWO_HIGH_REST_FINE)).answer.summary)
    assert "Strings 1 to 4 are fine." in text
    answer = page_view(measurement(TWO_HIGH_REST_FINE)).answer
    assert any(step.startswith("Slacken strings 5 and 6, one at a time") for step in answer.steps)
    assert answer.amounts == "File off the slot now, at most: string 5: 0.15 mm, string 6: 0.20 mm."


def test_every_amount_is_in_the_steps_string_by_string() -> None:
    whole = measurement(USUAL)
    filing = next(s for s in page_view(whole).steps.slots if s.title.startswith("File"))
    assert [p.title for p in filing.parts] == [
        "String 5 (A2): at most 0.15 mm",
        "String 6 (E2): at most 0.20 mm",
    ]


def test_shared_sentences_are_said_once_and_none_is_lost() -> None:
    whole = measurement(USUAL)
    said = words_of(page_view(whole).steps.slots)
    filed = [plan for plan in whole.plan.strings if plan.remove_now_mm > 0]
    assert len(filed) > 1
    for plan in filed:
        steps = slot_steps(
            plan, instrument=whole.settings.instrument, next_take=None, unit=whole.settings.unit
        )
        assert [said.count(step) for step in steps] == [1] * len(steps)


@pytest.mark.parametrize("nut", [Nut.LOCKING, Nut.ZERO_FRET])
def test_a_nut_without_slots_is_never_filed(nut: Nut) -> None:
    view = page_view(measurement(TWO_HIGH_REST_FINE, extras=Extras(nut=nut, bottom=NutBottom(0.3, 0.3))))
    assert view.answer.headline == "It is the nut: strings 5 and 6 are too high."
    assert "never filed" in " ".join(view.answer.steps)
    assert view.steps.bottom == ()
    assert not any(step.title.startswith("File") for step in view.steps.slots)
    assert all("File off" not in slot.action for slot in view.slots)
    assert view.slots[5].action == "Do not file: this nut is never filed"


def test_a_high_slot_with_another_explanation_is_not_filed() -> None:
    slots = (*TWO_HIGH_REST_FINE[:5], Slot(0.86, explained=True))
    view = page_view(measurement(slots))
    assert view.slots[5].picture.word == "high"
    assert view.slots[5].action.startswith("Do not file")
    assert "High, but do not file" in [step.title for step in view.steps.slots]


def test_the_bottom_of_the_nut_rules_out_the_slots() -> None:
    view = page_view(measurement(ALL_HIGH, extras=Extras(bottom=NutBottom(0.40, 0.32))))
    said = words_of(view.steps.bottom)
    assert "Bass end: at most 0.40 mm. Treble end: at most 0.32 mm." in said
    assert "no longer hold once the bottom is cut" in said
    assert "file string" not in " ".join(view.answer.summary)
    assert {slot.action for slot in view.slots} == {"Not here: cut the bottom of the nut"}
    assert all(slot.picture.remove_mm == 0 for slot in view.slots)  # nothing is hatched
    assert not any("Take off" in name for slot in view.slots for name, _ in slot.picture.lines)


def test_cures_come_before_the_file() -> None:
    drift = Finding(Cause.DRIFT, (2,), (), 6.0, "cent", (OpenRan(2, -6.0),))
    steps = page_view(measurement(USUAL, extras=Extras(findings=(drift,)))).steps
    assert [s.title for s in steps.first] == ["Look after the set-up first", "The tuning drifted: string 2"]


def test_every_cause_has_words_and_its_evidence() -> None:
    view = page_view(measurement(extras=Extras(findings=EVERY_FINDING)))
    assert len(view.findings) == len(Cause)
    for finding, found in zip(view.findings, EVERY_FINDING, strict=True):
        assert finding.meaning.endswith(".")
        assert finding.cases[0].evidence == finding_lines(found, unit=LengthUnit.MM)


def test_findings_of_one_cause_share_one_heading() -> None:
    found = tuple(Finding(Cause.SLOT_HIGH, (n,), (), 0.3, "mm", (FirstFretHeard(float(n)),)) for n in (5, 6))
    view = page_view(measurement(extras=Extras(findings=found)))
    assert [len(f.cases) for f in view.findings] == [2]
    assert view.findings[0].cases[1].where == "String 6"
    assert view.findings[0].cases[1].size == "0.30 mm above target"


def test_refused_takes_are_listed_with_their_reason() -> None:
    view = page_view(measurement(extras=BUSY))
    assert view.refused is not None
    assert view.doubtful is not None
    assert ("90", "string 5 press 1", "two strings ring at once") in view.refused.rows
    assert any("row 92, fret is '-3'" in row[2] for row in view.refused.rows)
    assert any(row[0] == "91" and "0.4 s" in row[2] for row in view.doubtful.rows)
    assert any("hardly counts" in row[2] for row in view.doubtful.rows)


def test_a_slipped_decimal_point_is_asked_about() -> None:
    gauges = page_view(measurement(extras=BUSY)).gauges
    assert gauges is not None
    assert gauges.rows[0][3] == "is the decimal point right? 0.15 mm would fit"


def test_fretted_notes_alone_are_called_a_symptom() -> None:
    view = page_view(measurement(tuple(replace(slot, pressed=False) for slot in ALL_FINE)))
    assert any("no press test" in note for note in view.notes)


def test_a_height_just_under_a_limit_is_not_shown_on_it() -> None:
    whole = measurement(ALL_FINE)
    target = whole.plan.strings[5].target_mm
    belief = whole.plan.strings[5].height_mm
    assert belief is not None
    shifted = belief.shifted(target - 0.0004 - belief.median)
    near = with_plan(whole, 6, slot=replace(whole.plan.strings[5].slot, height_mm=shifted))
    assert page_view(near).slots[5].height == "just under 0.52 mm"


def test_fine_slots_below_target_are_named() -> None:
    steps = page_view(measurement((*ALL_FINE[:5], Slot(0.60)))).steps.slots
    said = words_of(steps)
    assert "Strings 1 to 6: leave them" in said
    # heights 0.30 0.36 0.37 0.42 0.44 0.60 against targets 0.31 0.36 0.40 0.44 0.48 0.52
    assert "Strings 1, 3, 4 and 5 lie below their targets" in said


def test_sharp_notes_over_fine_slots_are_not_blamed_on_them() -> None:
    saddle = Finding(Cause.SADDLE, (6,), (12,), 3.48, "mm", (Fret12AtTarget(9.0, 1.2, 3.48),))
    whole = measurement(ALL_FINE, extras=Extras(findings=(saddle,)))
    assert whole.fit is not None
    sharp = replace(whole.fit.strings[5], first_fret_cents=(8.6, 0.5))
    whole = replace(whole, fit=replace(whole.fit, strings=(*whole.fit.strings[:5], sharp)))
    said = " ".join(page_view(whole).answer.summary)
    assert "8.6 cents sharp (a fret is 100). What it is instead: the saddle" in said
    assert page_view(whole).findings[0].cases[0].size == "3.5 mm"


def test_a_string_that_lies_on_the_fret_has_no_gap() -> None:
    slot = page_view(measurement((LOW, *ALL_FINE[1:]))).slots[0]
    assert ("Gap over fret 1", "none: the string lies on it") in slot.picture.lines


@pytest.mark.parametrize("slots", [USUAL, (NOTHING,) * 6, (LOW, NOTHING, UNSURE, Slot(0.9))])
def test_every_string_appears_everywhere(slots: tuple[Slot, ...]) -> None:
    whole: Measurement = measurement(slots)
    view: PageView = page_view(whole)
    assert [slot.picture.number for slot in view.slots] == list(range(1, len(slots) + 1))
    if view.neck is not None:
        assert [string.number for string in view.neck.strings] == list(range(1, len(slots) + 1))


def test_nothing_further_is_only_said_when_all_is_decided() -> None:
    assert "No further take" in page_view(measurement(ALL_FINE)).next_note
    assert "No further take" not in page_view(measurement((*ALL_FINE[:5], UNSURE))).next_note
    assert "No further take" not in page_view(measurement((NOTHING,) * 6)).next_note


def test_suspects_come_first_and_nothing_contradicts_them() -> None:
    whole = replace(measurement(tuple(replace(slot, pressed=False) for slot in ALL_HIGH)), suspects=(3, 6, 1))
    view = page_view(whole)
    assert view.answer.headline == "Not known yet whether it is the nut. First to suspect: strings 3 and 6."
    said = " ".join((*view.answer.summary, *view.answer.asked, *view.answer.steps, view.next_note))
    assert "Two presses settle it" in said
    assert "No single take" not in said
    assert "No further take" not in said
    assert "All" not in view.answer.headline


def test_slots_that_are_surely_not_high_are_told_so() -> None:
    perhaps_low = measurement((*ALL_FINE[:5], Slot(0.20, 0.10)))
    assert perhaps_low.plan.strings[5].verdict.value == "unsure"
    assert (
        page_view(perhaps_low).answer.headline
        == "No slot is too high. Not known yet whether string 6 is too low."
    )
    said = words_of(page_view(perhaps_low).steps.slots)
    assert "this slot is not high" in said


def test_a_contradiction_is_the_headline_until_it_is_settled() -> None:
    whole = measurement(ALL_FINE)
    barred = replace(whole.plan.strings[2].slot, verdict=Verdict.UNSURE, bars=(Bar(BarKind.UNSETTLED),))
    assert "contradicts" in page_view(with_plan(whole, 3, slot=barred)).answer.headline
