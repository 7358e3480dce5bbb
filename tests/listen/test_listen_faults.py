"""A session at the microphone in trouble with disk, folder, input or tones; and one that goes on later."""

from __future__ import annotations

import errno
from pathlib import Path

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
from pitchcheck.errors import BadInput, NothingMeasured
from pitchcheck.guide.events import Phase
from pitchcheck.guide.scene import Scene
from pitchcheck.recorder import recorder
from pitchcheck.recorder.recorder import Recorder
from pitchcheck.session.folder import read_session
from pitchcheck.session.settings import read_settings
from pitchcheck.workflow.listen.run import Listened


def no_measure(*_: object, **__: object) -> None:
    raise NothingMeasured("left out here")


def quickly(folder: Path, sound: object, **more: object) -> Listened:
    """Listen without measuring at the end."""
    return listen(folder, sound, measure=no_measure, **more)


def test_a_full_disk_pauses_and_goes_on_when_there_is_room(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = new_folder(tmp_path / "bench")
    first = notes((2,))[0]
    keys, full = Fingers(), [True]
    real = recorder.write_whole

    def write(path: Path, content: bytes) -> None:
        if full[0] and path.suffix == ".flac":
            raise OSError(errno.ENOSPC, "No space left on device")
        real(path, content)

    def make_room(scene: Scene) -> None:
        if scene.view.phase is Phase.PAUSED and full[0]:
            full[0] = False
            keys.press("p")

    monkeypatch.setattr(recorder, "write_whole", write)
    screen = Watcher(make_room)
    done = quickly(folder, in_a_row([first, first]), screen=screen, keys=keys)
    assert (
        "Not kept: the disk is full. Make room, then go on with key p; everything accepted so far is kept."
        in (screen.said)
    )
    assert done.taken == 1
    assert [row.file for row in read_session(folder).takes] == ["002-string2-open.flac"]


def test_a_session_goes_on_another_day(tmp_path: Path) -> None:
    folder = new_folder(tmp_path / "bench")
    takes = notes((2,))
    assert quickly(folder, in_a_row(takes[:2])).taken == 2
    screen = Watcher()
    assert quickly(folder, in_a_row(takes[2:]), screen=screen).taken == 6
    assert screen.notes == ["2 of 6 takes are here; going on with string 2 open."]
    assert [row.position for row in read_session(folder).takes] == list(course((2,)))
    assert quickly(folder, room_noise(0.2), screen=screen).taken == 6
    assert screen.notes[-1] == "6 of 6 takes are here; nothing is left to play."


def test_a_folder_that_another_session_holds_is_refused(tmp_path: Path) -> None:
    folder = new_folder(tmp_path / "bench")
    instrument = read_settings(folder).settings.instrument
    with (
        Recorder(folder, instrument=instrument, planned=course((2,))),
        pytest.raises(BadInput, match="another pitchcheck listens"),
    ):
        quickly(folder, room_noise(0.2))


def test_readings_in_the_folder_are_refused(tmp_path: Path) -> None:
    folder = new_folder(tmp_path / "bench")
    (folder / "readings.csv").write_text("string,stop,fret,hz\n1,open,,329.6\n")
    with pytest.raises(BadInput, match="Listen into another folder"):
        quickly(folder, room_noise(0.2))


class Beeps:
    """Tones that would be heard by the microphone for a while."""

    def __init__(self, seconds: float) -> None:
        self.sounded: list[str] = []
        self._seconds = seconds

    def accepted(self) -> float:
        self.sounded.append("accepted")
        return self._seconds

    def again(self) -> float:
        self.sounded.append("again")
        return self._seconds


def test_tones_tell_and_are_not_listened_to(tmp_path: Path) -> None:
    """The sound that comes in while a tone lasts is not heard; a note after it is."""
    takes = notes((2,))
    wrong_first = [takes[1], takes[0], takes[1]]  # fret 1 where the open string is asked for
    beeps = Beeps(GAP_S / 2)
    assert quickly(new_folder(tmp_path / "a"), in_a_row(wrong_first), tones=beeps).taken == 2
    assert beeps.sounded == ["again", "accepted", "accepted"]
    long = Beeps(TAKE_S + GAP_S)  # covers the whole next note
    assert quickly(new_folder(tmp_path / "b"), in_a_row([takes[0], takes[1]]), tones=long).taken == 1
    assert long.sounded == ["accepted"]


def test_an_input_that_stays_away_is_tried_again_and_told(tmp_path: Path) -> None:
    from pitchcheck.capture.devices import CaptureFault, Trouble

    folder = new_folder(tmp_path / "bench")
    sound = in_a_row(notes((2,))[:1])
    gone = CaptureFault(Trouble.GONE, "The input is gone.")
    away = [CaptureFault(Trouble.NOT_FOUND, "No input is called so.")] * 2
    now = [0.0]

    class Unplugged(FileSource):
        def __call__(self, *, again: bool):
            if again and away:
                raise away.pop()
            return super().__call__(again=again)

    def clock() -> float:
        now[0] += 0.3
        return now[0]

    screen = Watcher()
    source = Unplugged(sound, faults=[(round(LEAD_S / 2 * RATE_HZ), gone)])
    assert quickly(folder, sound, source=source, screen=screen, clock=clock).taken == 1
    assert screen.prompts[:4] == [
        "String 2: open",
        "The input is gone.",
        "No input is called so.",
        "String 2: open",
    ]
