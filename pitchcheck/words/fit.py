"""What a reader should know of a fit, in English: whole sentences unless said otherwise."""

from __future__ import annotations

import math

from pitchcheck.fit.result import (
    Confounder,
    Fit,
    MisfitCause,
    PressMisfit,
    RemarkKind,
    Unseparated,
    Unsettled,
    UnsettledKind,
)
from pitchcheck.words import numbers, phrases

# [mm] Presses that seem to go over higher frets go too deep, over lower ones not down to the board.
USUAL_FRET_MM = 1.1
_CONFOUNDER = {
    Confounder.FRET_HEIGHT: "the height of the frets",
    Confounder.NUT_POSITION: "the nut's place",
    Confounder.STRETCH_FACTOR: "how strongly it stretches",
    Confounder.FRET_1: "the height of fret 1",
    Confounder.FRET_2: "the height of fret 2",
    Confounder.TOUCH: "the player's touch",
}

_REMARK = {
    RemarkKind.FLOATING_BRIDGE: (
        "The bridge floats and gives when a string is pressed, so how strongly the strings stretch is less "
        "certain and every interval is wider."
    ),
    RemarkKind.NO_PRESSES: (
        "There are no press takes: fretted notes show the symptom, and the slot heights stay wide."
    ),
    RemarkKind.NOT_SETTLED: (
        "The fit did not settle; its figures are rougher than they look. Check the takes for slips."
    ),
    RemarkKind.FRETWORK_UNKNOWN: (
        "Nothing is declared of the fretwork, so frets and board are taken as they come and the intervals "
        "are wide. If the frets were levelled with a straightedge, write "
        'fretwork = "level" under [instrument].'
    ),
}

_MISFIT = {
    MisfitCause.NOT_DOWN: (
        "the string was probably not down on the board. Press {again} once more, clearly harder: a rise of "
        "more than 1.5 cents means that it was not down"
    ),
    MisfitCause.NECK_BENDS: (
        "the neck probably gave way under the rod. Press {again} once more with the neck supported under "
        "it, thumb opposite the rod"
    ),
    MisfitCause.UNSTEADY_HAND: (
        "repeats disagree among themselves: the rod was not at the same place, or pushed the string aside. "
        "Press {again} again, straight down midway between the frets"
    ),
    MisfitCause.UNEVEN: (
        "places disagree as on uneven frets or an uneven board, or with a string that sticks. A leaf take "
        "tells the gap without them; press {again} once more"
    ),
}


def unseparated(what: Unseparated) -> str:
    """Return a slot height and what it could not be told apart from: no whole sentence."""
    if what.confounder is Confounder.EVERYTHING:
        return f"the slot height of string {what.string}: nothing heard narrows it much"
    return f"the slot height of string {what.string} and {_CONFOUNDER[what.confounder]}"


def remark(kind: RemarkKind) -> str:
    """Return one remark."""
    return _REMARK[kind]


def unsettled(what: Unsettled) -> str:
    """Return a contradiction and what settles it."""
    if what.kind is UnsettledKind.PRESSES:
        return "The presses do not fit any instrument; play them again before anything is filed."
    assert what.expected_mm is not None
    assert what.sd_mm is not None
    heard = f"{numbers.length(what.expected_mm)}, give or take {what.sd_mm:.2f} mm"
    if what.kind is UnsettledKind.FRET_HEIGHT:
        deep = what.expected_mm > USUAL_FRET_MM
        again = "with the neck held under the rod" if deep else "all the way down"
        return (
            f"The sound asks for frets {heard} high, which frets hardly are. Gauge a fret, and press again "
            f"{again}, before anything is filed."
        )
    assert what.read_mm is not None
    name = "a length" if what.quantity is None else f"the {phrases.GAUGE_WORDS[what.quantity]}"
    if what.kind is UnsettledKind.STATED_LENGTH:
        return (
            f"As stated, {name} is {numbers.length(what.read_mm)}; the sound says {heard}. It was left out. "
            "Measure it again before anything is filed."
        )
    told = "the leaf" if what.kind is UnsettledKind.LEAF else "the gauge"
    return (
        f"String {what.strings[0]}, {name}: {told} says {numbers.length(what.read_mm)}, the sound {heard}. "
        "The reading was left out. Gauge it again, and press again, before anything is filed."
    )


def press_misfit(what: PressMisfit) -> str:
    """Return what is wrong with the presses, its likely cause, and the take that tells."""
    times = math.sqrt(what.chi_square / what.freedom)
    return (
        f"The presses miss by {times:.1f} times what a careful hand explains, so every interval was widened: "
        f"{_MISFIT[what.cause].format(again=what.again.words())}."
    )


def fit_lines(fit: Fit) -> tuple[str, ...]:
    """Return what a reader should know of a fit: what was not told apart, remarks, what is wrong."""
    apart = (f"Could not be told apart: {unseparated(what)}" for what in fit.unseparated)
    wrong = () if fit.misfit is None else (press_misfit(fit.misfit),)
    return (*apart, *map(remark, fit.remarks), *wrong, *map(unsettled, fit.unsettled))
