"""A survey at the microphone, from a file at full speed: every take kept, none twice, read as recorded."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from helpers.listen import (
    GAP_S,
    LEAD_S,
    RATE_HZ,
    TAKE_S,
    FileSource,
    Fingers,
    Watcher,
    course,
    in_a_row,
    listen,
    new_folder,
    notes,
    room_noise,
)
from pitchcheck.audio.files import read_clip
from pitchcheck.capture.devices import CaptureFault, Trouble
from pitchcheck.guide.events import Phase
from pitchcheck.guide.take_list import TakeState
from pitchcheck.instrument import MeterQuantity
from pitchcheck.pitch.read_note import read_note
from pitchcheck.plan import Verdict
from pitchcheck.recorder.course_file import parse_course
from pitchcheck.session.folder import read_session
from pitchcheck.session.settings import read_settings
from pitchcheck.takes import Position, Stop
from pitchcheck.units import cents_between
from pitchcheck.workflow import measure_folder

READ_AGAIN_CENTS = 0.05  # what is asked of a live reading against the same file read offline
STRINGS = (2,)
NOTE_S = TAKE_S + GAP_S


def positions(folder: Path) -> list[Position]:
    return [row.position for row in read_session(folder).takes]


def test_every_take_is_kept_once_and_the_slot_is_measured(tmp_path: Path) -> None:
    folder = new_folder(tmp_path / "bench")
    screen = Watcher()
    done = listen(folder, in_a_row(notes(STRINGS)), screen=screen)
    assert (done.taken, done.missing, done.stopped, done.problems) == (6, 0, False, ())
    assert positions(folder) == list(course(STRINGS))
    assert len(set(folder.glob("*.flac"))) == 6
    assert [line[:6] for line in screen.said] == ["Taken:"] * 6
    assert done.measurement is not None
    by_files = measure_folder(folder)
    assert [s.verdict for s in done.measurement.plan.strings] == [s.verdict for s in by_files.plan.strings]
    string = next(s for s in by_files.plan.strings if s.number == 2)
    assert string.verdict is Verdict.HIGH  # the demo's string 2 stands 0.88 mm high
    for place in parse_course((folder / "course.toml").read_text()).entries[:6]:
        assert place.file is not None
        assert place.hz is not None
        again = read_note(read_clip(folder / place.file), expected_hz=place.hz)
        assert abs(cents_between(place.hz, again.hz)) < READ_AGAIN_CENTS


@pytest.mark.parametrize("piece", [137, 48_000])
def test_takes_do_not_depend_on_how_sound_comes_in_pieces(tmp_path: Path, piece: int) -> None:
    sound = in_a_row(notes(STRINGS)[:2])
    files = []
    for size in (4096, piece):
        folder = new_folder(tmp_path / str(size))
        listen(folder, sound, source=FileSource(sound, piece=size))
        files.append([path.read_bytes() for path in sorted(folder.glob("*.flac"))])
    assert len(files[0]) == 2
    assert files[0] == files[1]


def test_keys_skip_undo_redo_and_finish(tmp_path: Path) -> None:
    """Skip the first fret take, take the second open one back, play it twice, then finish."""
    folder = new_folder(tmp_path / "bench")
    keys, told = Fingers(), []

    def press(scene: object) -> None:
        said = screen.said[-1] if screen.said else ""
        for when, key in (
            (("Taken: string 2 open.", 1), "s"),
            (("Taken: string 2 open.", 2), "u"),
            (("Taken: string 2 open.", 3), "r"),
            (("Taken again, in place of the last: string 2 open.", 1), "f"),
        ):
            if said == when[0] and screen.said.count(said) == when[1] and when not in told:
                told.append(when)
                keys.press(key)

    screen = Watcher(press)
    opens = notes(STRINGS)[0]
    done = listen(folder, in_a_row([opens] * 5), screen=screen, keys=keys)
    assert done.taken == 2
    assert screen.states() == "tst..."
    assert [path.name for path in sorted(folder.glob("*.flac"))] == [
        "001-string2-open.flac",
        "004-string2-open.flac",
    ]
    aside = {path.name for path in (folder / "set-aside").iterdir()}
    assert aside == {"002-string2-open.flac", "003-string2-open.flac"}
    assert positions(folder) == [Position(2, Stop.OPEN)] * 2


def test_a_skip_is_undone_and_stays_undone_on_disk(tmp_path: Path) -> None:
    folder = new_folder(tmp_path / "bench")
    done = listen(folder, room_noise(0.3), keys=Fingers("ssu"))
    assert done.taken == 0
    states = [e.state for e in parse_course((folder / "course.toml").read_text()).entries]
    assert states == [TakeState.SKIPPED] + [TakeState.TO_PLAY] * 5


def test_an_open_string_plucked_once_more_replaces_its_file(tmp_path: Path) -> None:
    folder = new_folder(tmp_path / "bench")
    first, second = notes(STRINGS)[:2]
    done = listen(folder, in_a_row([first, first, second]))
    assert done.taken == 2
    assert [row.file for row in read_session(folder).takes] == [
        "002-string2-open.flac",
        "003-string2-fret1.flac",
    ]
    assert {path.name for path in (folder / "set-aside").iterdir()} == {"001-string2-open.flac"}


def test_a_gauge_reading_is_typed_and_written_down(tmp_path: Path) -> None:
    folder = new_folder(tmp_path / "bench")
    screen = Watcher()
    typed = "gthird 2 0.45 mmm\x7f\rgthird 9 0.45 mm\r\x1bgleaf\x1bs"
    listen(folder, room_noise(1.0), screen=screen, keys=Fingers(typed))
    settings = read_settings(folder).settings
    assert [(m.what, m.string, m.value_mm) for m in settings.meter] == [
        (MeterQuantity.CLEARANCE_THIRD, 2, 0.45)
    ]
    assert any(note == "Written down: third 2 0.45 mm." for note in screen.notes)
    assert screen.states() == "s....."  # keys are keys again


def test_pause_hears_nothing_until_it_is_pressed_again(tmp_path: Path) -> None:
    folder = new_folder(tmp_path / "bench")
    sound = in_a_row(notes(STRINGS)[:2])
    source, keys = FileSource(sound), Fingers()
    presses = [LEAD_S / 2, LEAD_S + NOTE_S - 0.2]  # around the first note

    def press(scene: object) -> None:
        if presses and source.read_samples >= presses[0] * RATE_HZ:
            presses.pop(0)
            keys.press("p")

    screen = Watcher(press)
    done = listen(folder, sound, source=source, screen=screen, keys=keys)
    assert "Paused." in screen.prompts
    assert done.taken == 0  # the first note was not heard
    assert len(screen.said) == 1  # the second was: it is fret 1, and not the open string that is asked for
    assert "fret 1" in screen.said[0]


def test_the_input_lost_in_a_note_costs_that_note_only(tmp_path: Path) -> None:
    folder = new_folder(tmp_path / "bench")
    first, second = notes(STRINGS)[:2]
    sound = in_a_row([first, second, second])
    gone = CaptureFault(Trouble.GONE, "The input is gone. Plug it in again.")
    source = FileSource(sound, faults=[(round((LEAD_S + NOTE_S + 1.0) * RATE_HZ), gone)])
    screen, now = Watcher(), [0.0]

    def clock() -> float:
        now[0] += 0.2
        return now[0]

    done = listen(folder, sound, source=source, screen=screen, clock=clock)
    assert "The input is gone. Plug it in again." in screen.prompts
    assert source.opened == 2
    assert done.taken == 2
    assert positions(folder) == list(course(STRINGS)[:2])


def test_sound_lost_on_the_way_costs_that_note_only(tmp_path: Path) -> None:
    folder = new_folder(tmp_path / "bench")
    first, second = notes(STRINGS)[:2]
    lost = CaptureFault(Trouble.DROPPED, "30 ms of sound were lost.")
    sound = in_a_row([first, first, second])
    source = FileSource(sound, faults=[(round((LEAD_S + 1.0) * RATE_HZ), lost)])
    done = listen(folder, sound, source=source)
    assert source.opened == 1
    assert done.taken == 2


def test_a_source_that_moved_by_itself_waits_for_the_player(tmp_path: Path) -> None:
    folder = new_folder(tmp_path / "bench")
    sound = in_a_row(notes(STRINGS)[:1])
    moved = CaptureFault(Trouble.MOVED, "The system moved the sound.")
    source = FileSource(sound, faults=[(0, moved)])
    screen, now = Watcher(), [0.0]

    def clock() -> float:
        now[0] += 0.2
        return now[0]

    done = listen(folder, sound, source=source, screen=screen, clock=clock)
    assert screen.prompts[1:3] == ["The system moved the sound.", "Paused."]
    assert done.taken == 0


def test_an_input_that_cannot_be_opened_at_the_start_is_an_error(tmp_path: Path) -> None:
    folder = new_folder(tmp_path / "bench")

    def refuse(*, again: bool) -> FileSource:
        raise CaptureFault(Trouble.NO_INPUT, "No input.")

    with pytest.raises(CaptureFault):
        listen(folder, np.zeros(0), source=refuse)
    assert not (folder / "listen.lock").exists()


def test_the_room_is_judged_while_the_first_prompt_stands(tmp_path: Path) -> None:
    folder = new_folder(tmp_path / "bench")
    screen = Watcher()
    listen(folder, np.zeros(round(2 * RATE_HZ)), screen=screen)
    assert any("dead silent" in note for note in screen.notes)
    screen = Watcher()
    listen(folder, room_noise(2.0), screen=screen)
    assert screen.notes == []
    assert screen.last is not None
    assert screen.last.view.phase is Phase.FINISHED
