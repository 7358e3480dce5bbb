"""What the takes played so far leave open, in English: whom to suspect, and which take would tell.

Conventions: whole sentences.
"""

from __future__ import annotations

from collections.abc import Sequence

from pitchcheck.findings import Cause, Question
from pitchcheck.instrument import Board, Instrument
from pitchcheck.judgement import FIRST_SUSPECTS as FIRST_SUSPECTS
from pitchcheck.words import phrases

SUSPECTS_RIGHT = 0.66  # [-] of the first suspects are really high: 41 of 62, tests/diagnosis/test_suspects.py

PRESSES = (
    "press 1 (the string held down on the board midway between the nut and fret 1 with a rounded rod of "
    "wood or plastic, and plucked) and press 2 (the same between frets 1 and 2)"
)

_ASKED = {
    Cause.SADDLE: "may be out of tune up the neck, which is the saddle's doing and not the nut's",
    Cause.NUT_POSITION: "may have the nut in the wrong place along the neck",
}


def suspicion(suspects: Sequence[int], *, instrument: Instrument) -> tuple[str, ...]:
    """Return whom to suspect where nothing can tell a high slot from a hand, and what would settle it.

    Parameters
    ----------
    suspects : sequence of int
        Strings, most suspicious first.
    instrument : Instrument
        A scalloped board gets no press.
    """
    if not suspects:
        return ()
    first = suspects[:FIRST_SUSPECTS]
    named = phrases.listed([str(number) for number in first])
    who = f"First to suspect: string{'s' if len(first) > 1 else ''} {named}."
    right = phrases.count(round(3 * SUSPECTS_RIGHT))
    rate = (
        f"That is a suspicion, not a finding: of three slots suspected first on simulated guitars {right} "
        "were really high, for a firm finger sounds the same."
    )
    if instrument.board is Board.SCALLOPED:
        settle = (
            "A scalloped board gets no press: the gap over fret 1, gauged with the string held at fret 3, "
            "settles it."
        )
    else:
        settle = f"Two presses settle it: play {PRESSES}, with the open string before and after."
    return who, rate, settle


def question_lines(questions: Sequence[Question]) -> tuple[str, ...]:
    """Return one sentence for each cause that is in question, with the take that would tell."""
    lines: list[str] = []
    kinds = dict.fromkeys((question.cause, question.heard) for question in questions)
    for cause, heard in kinds:
        mine = [question for question in questions if (question.cause, question.heard) == (cause, heard)]
        numbers = sorted({number for question in mine for number in question.strings})
        place = mine[0].take.stop_words
        them = "it" if len(numbers) == 1 else "them"
        if heard:
            tell = (
                f"A firm finger sounds the same: play {place} on {them} again, as lightly as it sounds "
                "clean, and measure again."
            )
        else:
            tell = (
                f"Nothing was played that could tell it: play {place} on {them}, with the open string before "
                "and after, and measure again."
            )
        lines.append(
            f"Not known: {phrases.strings(numbers)} {_ASKED.get(cause, 'may have another fault')}. {tell}"
        )
    return tuple(lines)


def question_briefs(questions: Sequence[Question]) -> tuple[str, ...]:
    """Return a line of at most 80 letters for each cause in question, for a screen."""
    names = {Cause.SADDLE: "The saddle", Cause.NUT_POSITION: "The nut's place"}
    lines = []
    for cause in dict.fromkeys(question.cause for question in questions):
        mine = [question for question in questions if question.cause is cause]
        numbers = sorted({number for question in mine for number in question.strings})
        take = mine[0].take
        lightly = ", lightly" if any(question.heard for question in mine) else ""
        name = names.get(cause, "Another cause")
        lines.append(f"{name} is not known: play {take.stop_words} on {phrases.strings(numbers)}{lightly}.")
    return tuple(lines)
