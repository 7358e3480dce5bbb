"""What is said in a listening session: what to play now, how, what was taken, and what was wrong."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pitchcheck.guide.acceptance import MOST_SD_CENTS, SHORTEST_S
from pitchcheck.guide.events import (
    Accepted,
    AskedAgain,
    GuideView,
    NotKept,
    Outcome,
    Phase,
    Reason,
    Refused,
    Remark,
    RemarkKind,
    Silence,
    Skipped,
    Undone,
)
from pitchcheck.guide.scene import Key, Scene
from pitchcheck.guide.take_list import TakeState
from pitchcheck.instrument import Instrument
from pitchcheck.takes import Position, Stop
from pitchcheck.words import doubts


@dataclass(frozen=True)
class SceneWords:
    """A scene in words.

    Attributes
    ----------
    prompt : str
        The one big sentence: what to play now, or what is wrong.
    hint : str
        One smaller sentence: how to play it.
    said : str
        What was last taken, refused or changed.
    flash : str
        TAKEN or AGAIN for a second after a note; else empty.
    notes : str
        Notices that hold now.
    """

    prompt: str
    hint: str
    said: str
    flash: str
    notes: str


def scene_words(scene: Scene) -> SceneWords:
    """Return a scene in words."""
    view = scene.view
    notes = " ".join(notice.words for notice in scene.notices)
    if scene.entry is not None:
        problem = f"{scene.entry.problem} " if scene.entry.problem else ""
        return SceneWords(f"Gauge: {scene.entry.text}_", f"{problem}{GAUGE_HINT}", "", "", notes)
    if scene.measuring is not None:
        doing = f"{scene.measuring[0].upper()}{scene.measuring[1:]}."
        return SceneWords("Working it out", doing, "", "", notes)
    hearing = view.phase in (Phase.WAITING, Phase.HEARING, Phase.STORING)
    return SceneWords(
        prompt=_prompt(view),
        hint=_hint(view, scene.instrument),
        said="" if view.last is None else outcome_words(view.last),
        flash=_flash(view.last) if view.flash and hearing else "",
        notes=notes,
    )


GAUGE_HINT = (
    "What, string, length: third 6 0.010 in (gap over fret 1, held behind fret 3), or open 6 (string open), "
    "or slot 6; with leaves: third 6 passes 0.010 in stops 0.012 in. Enter keeps it, Esc leaves it."
)


def prompt_words(position: Position) -> str:
    """Return what to play now, in one short sentence."""
    capo = f", capo behind fret {position.capo}" if position.capo else ""
    return f"String {position.string}: {_place(position)}{capo}"


def _place(position: Position) -> str:
    if position.leaf_mm is not None:
        return f"leaf {position.leaf_mm:.2f} mm"
    return position.stop_words


def string_words(string: int, *, instrument: Instrument) -> str:
    """Return which string it is: number, note, and side of the neck."""
    numbers = sorted(spec.number for spec in instrument.strings)
    side = {numbers[0]: ", treble side", numbers[-1]: ", bass side"} if len(numbers) > 1 else {}
    return f"string {string}, {instrument.string(string).note}{side.get(string, '')}"


def how_words(position: Position, *, instrument: Instrument, seat_first: bool) -> str:
    """Return how to play a take.

    Parameters
    ----------
    position : Position
    instrument : Instrument
    seat_first : bool
        True for the first open take of a string: the string is pressed down once before it.
    """
    which = string_words(position.string, instrument=instrument)
    if position.stop is Stop.PRESS:
        behind = "the nut" if position.fret in (1, None) else f"fret {(position.fret or 0) - 1}"
        act = (
            f"with the rod's rounded end hold it down onto the board midway between {behind} and fret "
            f"{position.fret}, rod upright, thumb under the neck there"
        )
    elif position.stop is Stop.LEAF:
        act = (
            f"lay the {position.leaf_mm or 0.0:.2f} mm leaf flat on fret {position.fret} under it, and let go"
        )
    elif position.stop is Stop.FRET:
        act = f"finger just behind fret {position.fret}, as you normally fret"
    else:
        act = "touch nothing but the pick"
        if seat_first:
            act = "first press it down once near fret 1 and let go, to seat it; then touch nothing"
    return f"{which[0].upper()}{which[1:]}: {act}. Damp the others, pluck once, let it ring 2 seconds."


def outcome_words(outcome: Outcome) -> str:
    """Return what became of a note or of a command."""
    match outcome:
        case Accepted(position=position, remark=remark, replaces=replaces):
            again = " again, in place of the last" if replaces is not None else ""
            more = "" if remark is None else f" {remark_words(remark)}"
            return f"Taken{again}: {position.words()}.{more}"
        case Refused():
            return refusal_words(outcome)
        case Undone(entry=entry):
            return f"Taken back: {entry.position.words()}."
        case Skipped(position=position):
            return f"Left out: {position.words()}."
        case AskedAgain(position=position):
            return f"Asked again: {position.words()}."
        case NotKept(words=words):
            return f"Not kept: {words}"
    return ""


def refusal_words(refused: Refused) -> str:
    """Return why a note is not taken, and what to do."""
    asked, cents = refused.position, refused.cents or 0.0
    match refused.reason:
        case Reason.TOO_QUIET:
            return f"Too quiet: the note hardly stands out of the room. Pluck louder or move closer{_AGAIN}"
        case Reason.TOO_LOUD:
            return (
                "Too loud: the sound is cut off at the top. Turn the input down or move back, and play again."
            )
        case Reason.TOO_SHORT:
            return (
                f"Too short: it rang {refused.sounded_s or 0.0:.1f} s and {SHORTEST_S} is the least, 2 is "
                "good. Leave the string alone after the pluck, and play again."
            )
        case Reason.NO_NOTE:
            what = "a noise" if (refused.sounded_s or 0.0) >= SHORTEST_S else "a short noise"
            return (
                f"That was {what} (a knock, a voice, something in the room), not a note. Play the note again."
            )
        case Reason.TWO_STRINGS:
            other = refused.other_string
            which = "another string" if other is None else f"string {other}"
            return (
                f"Two strings sound: {which} rings along near {refused.hz or 0.0:.0f} Hz. "
                "Damp it, then play again."
            )
        case Reason.STILL_MOVING:
            hold = {
                Stop.OPEN: "Leave the tuner and the string alone",
                Stop.FRET: "Keep the finger still",
                Stop.PRESS: "Hold the rod still, all the way down",
                Stop.LEAF: "Leave the string alone and the leaf flat on the fret",
            }[asked.stop]
            return f"The pitch moved by {cents:.0f} cents while it rang. {hold}, and play again."
        case Reason.UNSURE:
            return (
                f"The pitch is only known to {cents:.1f} cents; {MOST_SD_CENTS:.0f} is the most that "
                "helps. Pluck a little louder, let it ring, and play again."
            )
        case Reason.OUT_OF_TUNE:
            return f"String {asked.string} is {_away(cents)}: tune it, then play again."
        case Reason.WRONG_STRING | Reason.WRONG_FRET if refused.heard is not None:
            return _instead_words(asked, refused.heard)
        case _:
            return _nowhere_words(refused, cents)


def _instead_words(asked: Position, heard: Position) -> str:
    if heard.string != asked.string:
        return f"That was {heard.words()}. Play {asked.words()}."
    was = "the open string" if heard.fret is None else f"fret {heard.fret}"
    wanted = "the open string" if asked.fret is None else _place(asked)
    unless = ""
    if asked.stop is Stop.OPEN and heard.fret == 1:
        unless = " Or the string is a semitone sharp: then tune it first."
    return f"That was {was} of string {asked.string}, not {wanted}. Play {asked.words()}.{unless}"


_AGAIN = ", and play again."
NEARBY_CENTS = 300.0  # further off, a pitch is told in hertz


def _nowhere_words(refused: Refused, cents: float) -> str:
    asked = refused.position.words()
    if abs(cents) < NEARBY_CENTS:
        return f"That was {_away(cents)} from {asked}: more than a slot can do. Play it again."
    hz = refused.hz or 0.0
    return f"That was {hz:.0f} Hz, which is neither {asked} nor any other place nearby. Play it again."


def remark_words(remark: Remark) -> str:
    """Return what is worth telling about a good take."""
    if remark.kind is RemarkKind.DOUBTED:
        return doubts.sentence(remark.doubts)
    if remark.kind is RemarkKind.RETUNED:
        return (
            f"The open string is {_away(remark.cents)} of its last open take. If it was tuned or slipped, "
            "undo back to that take and play what came between again."
        )
    return (
        f"The open string came back {_away(remark.cents)}: the slot may be catching, or the tuner gives. "
        "Press the string once beside the nut, let go, and play it again (redo)."
    )


KEY_WORDS = {
    Key.SKIP: ("skip", "leaves this take out"),
    Key.REDO: ("redo", "plays the last take again; the old one counts until the new one is taken"),
    Key.PAUSE: ("pause", "stops hearing, or goes on"),
    Key.UNDO: ("undo", "takes back the last thing done, a take or a skip; again, the one before"),
    Key.GAUGE: ("gauge", "writes down what a gauge or a leaf told"),
    Key.FINISH: ("finish", "ends and measures what there is; another time it goes on"),
    Key.HELP: ("help", "shows or hides this"),
}


def keys_words(keys: Sequence[Key]) -> str:
    """Return the keys and what they do, in one line."""
    return "keys: " + "  ".join(f"{key.value} {KEY_WORDS[key][0]}" for key in keys) if keys else ""


def help_words(keys: Sequence[Key]) -> list[str]:
    """Return what each key does, one line each."""
    return [f"{key.value}  {KEY_WORDS[key][0]}: {KEY_WORDS[key][1]}" for key in keys]


def progress_words(view: GuideView) -> str:
    """Return how far the session is."""
    skipped = sum(take.state is TakeState.SKIPPED for take in view.takes)
    words = f"{view.taken} of {len(view.takes)} takes"
    if skipped:
        words += f", {skipped} left out"
    if view.left_s is not None and view.phase is not Phase.FINISHED:
        words += f", {left_words(view.left_s)} left"
    return words


def left_words(left_s: float) -> str:
    """Return a stretch of time in plain words."""
    if left_s < 90:
        return "about a minute"
    return f"about {round(left_s / 60)} minutes"


def _prompt(view: GuideView) -> str:
    if view.lost:
        return view.lost
    if view.position is None:
        return "Ended early." if view.early else "All takes are played."
    if view.phase is Phase.STORING:
        return f"{prompt_words(view.position)}: good."
    if view.phase is Phase.PAUSED:
        return "Paused."
    return prompt_words(view.position)


def _hint(view: GuideView, instrument: Instrument) -> str:
    if view.lost:
        return "Everything accepted so far is kept. The note that was sounding is not; play it again."
    if view.position is None:
        left = "What was taken is kept; what is left can be played another time."
        return left if view.early else "Everything is kept."
    if view.phase is Phase.STORING:
        return "Keeping it. Damp the string."
    if view.phase is Phase.PAUSED:
        return "Nothing is heard until you go on."
    hint = how_words(view.position, instrument=instrument, seat_first=view.seat_first)
    return f"{hint}{_SILENCE[view.silence]}" if view.phase is Phase.WAITING else hint


_SILENCE = {
    Silence.ROOM: "",
    Silence.LONG: (
        " Waiting for your pluck. If you have plucked, nothing was heard: louder, closer, or check the input."
    ),
    Silence.DEAD: (
        " I hear nothing, not even the room: check the plug, the mute switch and which input is used."
    ),
}


def _flash(last: Outcome | None) -> str:
    if isinstance(last, Accepted):
        return "Taken"
    return "Again" if isinstance(last, Refused) else ""


def _away(cents: float) -> str:
    return f"{abs(cents):.0f} cents {'sharp' if cents > 0 else 'flat'}"
