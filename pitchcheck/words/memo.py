"""Words about a memo: what each sound was taken for, why one cannot be labelled, and what to do."""

from __future__ import annotations

from collections.abc import Sequence

from pitchcheck.memo.labels import Label
from pitchcheck.memo.refusal import Refusal, Why
from pitchcheck.takes import Position, Stop


def clock(seconds: float) -> str:
    """Return a time as a player shows it, with tenths: "1:07.3"."""
    tenths = round(seconds * 10)
    return f"{tenths // 600}:{tenths % 600 // 10:02d}.{tenths % 10}"


def heard(label: Label) -> str:
    """Return what a sound was taken for."""
    if label.sure and label.position is not None:
        return label.position.words()
    if label.alone and label.position is not None:
        return f"left out: it sounds like {label.position.words()}, but that string was never heard open"
    if label.torn:
        return f"left out: {either(label)}"
    if label.strange:
        return f"left out: a note of {label.hz:.1f} Hz, which is no place of any course known"
    return "no pluck"


def either(label: Label) -> str:
    """Return what a doubtful sound may be."""
    names = [p.words() if p is not None else "no pluck of the course" for p in (label.position, label.other)]
    return " or ".join(dict.fromkeys(names)) + ", which cannot be told for sure"


def refusal(reason: Refusal) -> tuple[str, str]:
    """Return why a recording is not labelled, and what to do."""
    if reason.why is Why.NO_PLUCKS:
        return (
            "no plucked string was heard in it",
            "Put the phone within an arm's length, let each note ring for two seconds, and record it again.",
        )
    if reason.why is Why.TOO_FEW:
        return (
            f"of {reason.plucks} plucks only {reason.concerned} could be named; 3 are the least",
            "Check --kind, play the open string before and after every press, and record it again.",
        )
    if reason.why is Why.STRANGE:
        return (
            f"{reason.concerned} of {reason.plucks} notes, the first at {clock(reason.first_s)}, are no "
            "place of this kind of instrument as it is usually tuned",
            'Check --kind; an open tuning is named with --tuning, lowest string first, like "D A D G A D".',
        )
    return _alike(reason)


def _alike(reason: Refusal) -> tuple[str, str]:
    """Return the refusal of a recording that can be read in two ways."""
    plucks = f"{reason.concerned} of {reason.plucks} plucks, the first at {clock(reason.first_s)},"
    limit = f"{plucks} can be read in two ways"
    action = (
        "Play the open string before and after every stopped note, string by string, and record it again."
    )
    if reason.pair is None:
        return limit, action
    one, other = reason.pair
    limit += f" ({one.words()}, or {other.words()})"
    if one.string == other.string and {one.stop, other.stop} == {Stop.FRET, Stop.PRESS}:
        action = "Say which was played with --course presses or --course frets."
    elif one.string != other.string and one.stop is other.stop and one.fret == other.fret:
        action = "Play every string, in order from one side to the other, and record it again."
    return limit, action


def listing(labels: Sequence[tuple[str, Label]], *, course: str, fretted_alike: bool = False) -> list[str]:
    """Return what was heard, string by string as it was played, with the times; then what was left out.

    Parameters
    ----------
    labels : sequence of (str, Label)
        File and label of every sound, in order.
    course : str
        The course the recording was taken for.
    fretted_alike : bool
        Whether notes fretted by a finger could have sounded the same.
    """
    sure = [(file, label) for file, label in labels if label.sure]
    files = {file for file, _ in labels}
    lines = [f"Heard {len(sure)} plucks, taken for the course: {course}."]
    run: list[str] = []
    before: tuple[str, int] | None = None
    for file, label in sure:
        assert label.position is not None
        key = (file, label.position.string)
        if before is not None and key != before:
            lines.append(_run(before, run, many=len(files) > 1))
            run = []
        before = key
        run.append(f"{clock(label.sound.onset_s)} {_stop(label.position)}")
    if before is not None:
        lines.append(_run(before, run, many=len(files) > 1))
    other = [label for _, label in labels if not label.sure and not label.torn and not label.strange]
    if other:
        lines.append(f"  {len(other)} other sounds (talk, bumps, a damped string) were passed over.")
    if fretted_alike:
        lines.append(
            "  Notes fretted by a finger may be no sharper than these presses. Were they fretted, not "
            "pressed with a rod? Say --course frets: then every slot is higher than is told here."
        )
    return lines


def _run(key: tuple[str, int], run: list[str], *, many: bool) -> str:
    """Return one string's line."""
    where = f"{key[0]}, " if many else ""
    return f"  {where}string {key[1]}: {', '.join(run)}"


def _stop(position: Position) -> str:
    """Return how the string was stopped."""
    return f"{position.stop_words} (capo {position.capo})" if position.capo else position.stop_words
