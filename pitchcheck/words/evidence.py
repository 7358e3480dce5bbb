"""What shows a cause or a verdict, in English: a line or more for each, and what to do about it last."""

from __future__ import annotations

from collections.abc import Sequence
from typing import assert_never

from pitchcheck.findings import (
    AboveLightTouch,
    BelowFloor,
    CapoBends,
    Cause,
    DoubtedTake,
    Evidence,
    FalseOvertones,
    Finding,
    FingerDepth,
    FirstFretHeard,
    Fret12AtTarget,
    FretOff,
    GaugeAgainstSound,
    InharmonicityRatio,
    NotTheSlot,
    NutOffset,
    OpenJumped,
    OpenRan,
    OpenSlipped,
    PressHeard,
    SlotAgainstTarget,
    SurelyHigh,
)
from pitchcheck.units import LengthUnit
from pitchcheck.words import doubts, numbers, phrases

_EACH = 3  # [-] takes that are listed one by one; more are counted
_ENDINGS = {
    Cause.CATCHING_SLOT: "a string that catches in its slot does not come back until it is moved again",
    Cause.CAPO: "set the capo straight and just tight enough, and play those takes again",
    Cause.FRET: "the strings share the fret, not the slot: look for a high, low, worn or misplaced fret",
}


def finding_lines(finding: Finding, *, unit: LengthUnit | None = None) -> tuple[str, ...]:
    """Return what shows a finding, and what to do about it."""
    shown = lines(finding.evidence, unit=unit)
    if finding.cause is Cause.DRIFT:
        return (
            *shown,
            f"let {phrases.strings(finding.strings)} settle, stretch and tune again, then repeat the takes",
        )
    ending = _ENDINGS.get(finding.cause)
    return shown if ending is None else (*shown, ending)


def lines(evidence: Sequence[Evidence], *, unit: LengthUnit | None = None) -> tuple[str, ...]:
    """Return evidence line by line; many takes doubted for one reason make one line with their count."""
    takes = [piece for piece in evidence if isinstance(piece, DoubtedTake)]
    groups: dict[tuple[type, ...], list[DoubtedTake]] = {}
    for take in takes:
        groups.setdefault(tuple(type(doubt) for doubt in take.doubts), []).append(take)
    many = {take.row for group in groups.values() if len(group) > _EACH for take in group}
    counted = [_many(group) for group in groups.values() if len(group) > _EACH]
    rest = (piece for piece in evidence if not (isinstance(piece, DoubtedTake) and piece.row in many))
    return (*counted, *(line for piece in rest for line in _lines(piece, unit)))


def _many(takes: Sequence[DoubtedTake]) -> str:
    """Return one line for takes that are doubted for one reason."""
    rows = [take.row for take in takes]
    first = f"{takes[0].position.words()}: {doubts.joined(takes[0].doubts)}"
    return f"{len(takes)} takes (rows {min(rows)} to {max(rows)}), such as {first}"


def _lines(piece: Evidence, unit: LengthUnit | None) -> tuple[str, ...]:
    """Return the lines of one record."""
    match piece:
        case DoubtedTake():
            return (f"row {piece.row}, {piece.position.words()}: {doubts.joined(piece.doubts)}",)
        case SlotAgainstTarget() | SurelyHigh() | BelowFloor() | FirstFretHeard() | PressHeard():
            return _of_a_slot(piece, unit)
        case NotTheSlot() | NutOffset() | Fret12AtTarget() | FingerDepth() | AboveLightTouch() | FretOff():
            return _of_sharpness(piece, unit)
        case GaugeAgainstSound():
            return _of_a_gauge(piece, unit)
        case OpenJumped() | OpenRan() | OpenSlipped():
            return _of_an_open_string(piece)
        case FalseOvertones() | InharmonicityRatio():
            return _of_overtones(piece)
        case CapoBends():
            return (
                f"string {piece.string}: the capo behind fret {piece.capo} sounds "
                f"{numbers.off(piece.error_cents)} of a lightly fretted note there (limit "
                f"{piece.limit_cents:.1f})",
            )
    assert_never(piece)


def _of_a_slot(
    piece: SlotAgainstTarget | SurelyHigh | BelowFloor | FirstFretHeard | PressHeard, unit: LengthUnit | None
) -> tuple[str, ...]:
    """Return what the height of a slot rests on."""
    match piece:
        case SlotAgainstTarget(height_mm, target_mm):
            height = numbers.measured(height_mm, unit=unit)
            return (f"slot height {height}; target {numbers.length(target_mm, unit=unit)}",)
        case SurelyHigh(belief, tolerance_mm):
            return (
                f"belief that it is more than {numbers.length(tolerance_mm, unit=unit)} too high: "
                f"{numbers.percent(belief)}",
            )
        case BelowFloor(height_mm, floor_mm):
            return (
                f"slot height {numbers.measured(height_mm, unit=unit)}",
                f"an open string is likely to buzz on fret 1 below {numbers.length(floor_mm, unit=unit)}",
            )
        case FirstFretHeard(error_cents):
            return (f"the first fret was heard {numbers.off(error_cents)}",)
        case PressHeard(fret, error_cents, takes):
            mean = f" (mean of {takes})" if takes > 1 else ""
            return (f"press {fret} was heard {numbers.off(error_cents)}{mean}",)
    assert_never(piece)


def _of_sharpness(
    piece: NotTheSlot | NutOffset | Fret12AtTarget | FingerDepth | AboveLightTouch | FretOff,
    unit: LengthUnit | None,
) -> tuple[str, ...]:
    """Return what makes fretted notes sharp or flat."""
    match piece:
        case NotTheSlot():
            return _not_the_slot(piece)
        case NutOffset():
            return _of_the_nut(piece, unit)
        case Fret12AtTarget(error_cents, sd_cents, move_mm):
            way = "back, away from the nut" if move_mm > 0 else "forward, towards the nut"
            return (
                "lightly fretted, with the slot at its target, fret 12 would be "
                f"{numbers.off(error_cents)}, give or take {sd_cents:.1f}",
                f"the saddle wants to go about {abs(move_mm):.1f} mm {way}; set the slots first",
            )
        case FingerDepth(strings, error_cents, depth_mm):
            depth = numbers.length(depth_mm.median, unit=unit)
            between = numbers.interval(depth_mm, unit=unit or LengthUnit.MM, joint="and")
            return (
                f"the finger makes about {error_cents:.1f} cents on frets 1 to 3 of "
                f"{phrases.strings(strings)}; it pushes the string {depth} below the fret "
                f"tops, 90 % between {between}",
                "filing does not cure a heavy hand: fret lighter and nearer the fret, and listen again",
            )
        case AboveLightTouch(string, error_cents):
            return (
                f"string {string}: frets 1 to 3 sound {error_cents:.1f} cents above what the press test "
                "leads one to expect without a finger",
            )
        case FretOff(stop, fret, error_cents, strings, limit_cents):
            return (
                f"{stop.value} {fret} sounds {numbers.off(error_cents)} of what the rest of the neck leads "
                f"one to expect, on all {strings} strings (limit {limit_cents:.1f})",
            )
    assert_never(piece)


def _not_the_slot(piece: NotTheSlot) -> tuple[str, ...]:
    """Return what makes a note over a fine slot sharp, the largest part first, each with its name."""
    parts = sorted(
        (
            (piece.touch_cents, "the finger"),
            (piece.nut_cents, "the nut's place along the neck"),
            (piece.usual_cents, "the height that every slot needs, the saddle and the string's stiffness"),
            (piece.left_cents, "how this note was played, or its fret"),
        ),
        key=lambda part: -abs(part[0]),
    )
    told = "; ".join(f"{name} {numbers.cents(amount)}" for amount, name in parts)
    return (
        f"string {piece.string}: it is not the slot. The first fret is {numbers.off(piece.heard_cents)}, "
        f"but the slot is fine: setting it to its target would change {abs(piece.slot_cents):.1f} cents. It "
        f"is, in order: {told}",
    )


def _of_the_nut(piece: NutOffset, unit: LengthUnit | None) -> tuple[str, ...]:
    """Return where the nut's edge lies and what that makes."""
    size = piece.offset_mm.median
    side = "too far from" if size > 0 else "too near"
    shown = (
        f"the nut's edge is {numbers.length(abs(size), unit=unit)} {side} fret 1 at "
        f"{phrases.strings(piece.strings)}, 90 % between {piece.offset_mm.low:+.2f} and "
        f"{piece.offset_mm.high:+.2f} mm (+ = too far)",
        f"that alone makes every fretted note {numbers.off(piece.error_cents)}; filing slots does not cure "
        "it",
    )
    if size > 0 and len(piece.strings) == 1:
        return (*shown, "the string may bear behind the front edge of its slot: look at the slot's slope")
    return shown


def _of_a_gauge(piece: GaugeAgainstSound, unit: LengthUnit | None) -> tuple[str, ...]:
    """Return a gauge reading against the sound, and what to do."""
    what = "reading" if piece.what is None else phrases.GAUGE_WORDS[piece.what]
    where = "" if piece.string is None else f" of string {piece.string}"
    shown = (
        f"{what}{where}: the gauge says {numbers.length(piece.read_mm, unit=unit)}, the sound "
        f"{numbers.length(piece.heard_mm, unit=unit)}, give or take {numbers.length(piece.sd_mm, unit=unit)}"
    )
    if piece.likely_slip_mm is None:
        return (shown, "gauge it again and play the press takes again before anything is filed")
    return (
        shown,
        f"did the decimal point slip? {numbers.length(piece.likely_slip_mm, unit=unit)} would fit the "
        "sound. The reading was not changed: correct it or gauge again",
    )


def _of_an_open_string(piece: OpenJumped | OpenRan | OpenSlipped) -> tuple[str, ...]:
    """Return how an open string did not keep its pitch."""
    match piece:
        case OpenJumped(between, change_cents, row_before, row_after, limit_cents):
            return (
                f"after {' and '.join(place.words() for place in between)} the open string was "
                f"{numbers.off(change_cents)} (rows {row_before} and {row_after}; limit {limit_cents:.1f}), "
                "and came back after the next take",
            )
        case OpenRan(string, run_cents):
            return (
                f"string {string}: the open note ran {numbers.off(run_cents)} from its first take to its "
                "last",
            )
        case OpenSlipped(string, change_cents, row_before, row_after):
            return (
                f"string {string}: the open note jumped {numbers.off(change_cents)} between rows "
                f"{row_before} and {row_after} and was not heard to come back",
            )
    assert_never(piece)


def _of_overtones(piece: FalseOvertones | InharmonicityRatio) -> tuple[str, ...]:
    """Return how a string's overtones betray it."""
    match piece:
        case FalseOvertones(takes, of, scatter_cents):
            return (
                f"in {takes} of {of} takes its overtones lie off those of one even string, by "
                f"{scatter_cents:.1f} cents and more",
                "a worn, dirty, kinked or false string; change it and listen again",
            )
        case InharmonicityRatio(ratio):
            return (
                f"its overtones are spread {ratio:.1f} times as much as a string of this gauge and stretch "
                "allows",
                "check the gauge given for it; if that is right the string is worn or false: change it",
            )
    assert_never(piece)
