"""Reasons not to file a slot that looks high: findings that explain the sharpness otherwise.

Conventions: a reason is a sentence for the bench. No reason means that the slot itself was measured, and that
nothing found speaks against the measurement.
"""

from __future__ import annotations

from collections.abc import Sequence

from pitchcheck.diagnosis.finding import Cause, Finding
from pitchcheck.fit.result import StringFit
from pitchcheck.instrument import MeterQuantity, SessionSettings
from pitchcheck.survey import Survey
from pitchcheck.takes import Stop

_SLOT_GAUGES = (MeterQuantity.CLEARANCE_THIRD, MeterQuantity.CLEARANCE_OPEN, MeterQuantity.SLOT_FLOOR)

_SPOILERS = {
    Cause.CATCHING_SLOT: (
        "the string catches in its slot, so its pitch after a press is not its own: clean and ease the "
        "slot's sides, tune, and play its takes again"
    ),
    Cause.WORN_STRING: (
        "the string sounds false or is not the gauge given: change it, or correct the gauge, and play its "
        "takes again"
    ),
    Cause.EAR_METER_DISAGREE: "a gauge and the sound disagree: clear that up first",
}


def reasons_not_to_file(
    string: StringFit, *, settings: SessionSettings, findings: Sequence[Finding], survey: Survey | None = None
) -> tuple[str, ...]:
    """Why a high slot is not to be filed now.

    Parameters
    ----------
    string : StringFit
    job : Job
        Its gauge readings tell whether the slot itself was gauged.
    findings : sequence of Finding
    survey : Survey, optional
        Tells which press takes were used.

    Returns
    -------
    tuple of str
        A slot is spared when it was neither pressed nor gauged (the finger explains a sharp note as well);
        when the string catches, is worn, or its gauge disagrees with the ear; when wrong notes leave it no
        press take; and when a fret that is sharp on all strings adds as much at frets 1 to 3 as the slot
        does.
    """
    mine = [finding for finding in findings if string.number in finding.strings]
    reasons: list[str] = []
    gauged = any(r.string == string.number and r.what in _SLOT_GAUGES for r in settings.meter)
    if not string.pressed and not gauged:
        reasons.append(
            "only the symptom is known: without press takes a heavy finger sounds like a high slot. "
            "Play press 1 and press 2 first"
        )
    for finding in mine:
        if finding.cause in _SPOILERS:
            reasons.append(_SPOILERS[finding.cause])
        elif finding.cause is Cause.WRONG_NOTE and not gauged and not _has_press(string.number, survey):
            reasons.append("some of its takes are another note, and no press take is left: play them again")
        elif finding.cause is Cause.FRET and _fret_explains(string, finding):
            reasons.append(
                f"fret {finding.frets[0]} is off on all strings by as much as the slot: see to the frets "
                "first"
            )
    return tuple(dict.fromkeys(reasons))


def _has_press(number: int, survey: Survey | None) -> bool:
    """Whether a usable press take of the string is among the comparisons; unknown counts as yes."""
    if survey is None:
        return True
    places = (stopped.take.position for stopped in survey.stopped)
    return any(place.string == number and place.stop is Stop.PRESS for place in places)


def _fret_explains(string: StringFit, finding: Finding) -> bool:
    """Whether a fret's own sharpness is at least what the slot's excess makes at that fret."""
    fret = finding.frets[0]
    if fret > 3:
        return False
    excess = float(string.neck_now_cents[fret - 1] - string.neck_target_cents[fret - 1])
    return finding.size >= excess
