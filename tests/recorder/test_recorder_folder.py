"""A session at the microphone on disk: an ordinary folder at every moment, edited, taken back, resumed."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from helpers.recorder import (
    COURSE,
    listed,
    new_session,
    number_of,
    open_recorder,
    set_aside_names,
    states,
    store,
    take_back,
)
from pitchcheck.clip import Clip
from pitchcheck.course import Thoroughness, survey_positions
from pitchcheck.errors import BadInput
from pitchcheck.guide.take_list import PlannedTake, TakeList, TakeState
from pitchcheck.recorder.course_file import course_text, parse_course
from pitchcheck.recorder.disk import encode, parse_name, take_name
from pitchcheck.recorder.reconcile import reconcile
from pitchcheck.session.folder import read_session
from pitchcheck.takes import Position, Stop
from pitchcheck.workflow.new import new_folder

MORE = [Position(6, Stop.PRESS, 4), Position(6, Stop.LEAF, 1, 0, 0.254)]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    new_session(tmp_path / "bench")
    return tmp_path / "bench"


def test_takes_are_listed_in_playing_order_under_names_that_say_what_they_are(folder: Path) -> None:
    with open_recorder(folder) as recorder:
        for number in (1, 2, 3):
            store(recorder, number, number - 1)
    assert listed(folder) == [
        ("001-string1-open.flac", COURSE[0]),
        ("002-string1-fret1.flac", COURSE[1]),
        ("003-string1-open.flac", COURSE[2]),
    ]
    assert read_session(folder).problems == ()
    assert not (folder / "listen.lock").exists()


@pytest.mark.parametrize("capo", [0, 2])
@pytest.mark.parametrize(("stop", "fret"), [(Stop.OPEN, None), (Stop.FRET, 12), (Stop.PRESS, 3)])
def test_a_name_tells_number_and_place(stop: Stop, fret: int | None, capo: int) -> None:
    position = Position(6, stop, fret, capo)
    assert parse_name(take_name(1007, position, ending=".flac")) == (1007, position)


@pytest.mark.parametrize(
    "name", ["001.wav", "001-string1-open.mp3", "1-string1-open.flac", "001-string1-fret.flac"]
)
def test_other_names_are_not_ours(name: str) -> None:
    assert parse_name(name) is None


def test_every_value_of_a_24_bit_converter_is_kept_exactly(tmp_path: Path) -> None:
    rng = np.random.default_rng(4)
    steps = np.concatenate([[-(2**23) + 1, 2**23 - 1, 0, 1, -1], rng.integers(-(2**23) + 1, 2**23, 10_000)])
    samples = np.float32(steps / 2**23).astype(np.float64)
    content, ending = encode(Clip(samples, 44_100.0))
    (tmp_path / f"x{ending}").write_bytes(content)
    read, rate = soundfile.read(tmp_path / f"x{ending}")
    assert (ending, rate) == (".flac", 44_100)
    assert np.array_equal(read, samples)


def test_what_24_bits_cannot_hold_is_kept_as_floats(tmp_path: Path) -> None:
    samples = np.float32(np.linspace(-1.5, 1.5, 5000)).astype(np.float64)
    content, ending = encode(Clip(samples, 96_000.0))
    (tmp_path / f"x{ending}").write_bytes(content)
    assert ending == ".wav"
    assert np.array_equal(soundfile.read(tmp_path / "x.wav")[0], samples)


def test_a_session_goes_on_where_it_was(folder: Path) -> None:
    with open_recorder(folder) as recorder:
        store(recorder, 1, 0)
        assert recorder.takes.skip() == 1
        store(recorder, 2, 2, clip=Clip(np.ones(9600) / 3, 48_000.0), hz=329.5)
    with open_recorder(folder, ()) as recorder:
        assert states(recorder) == "tst" + "." * 9
        assert recorder.takes.entries[2].hz == 329.5
        assert recorder.takes.next_number == 3
        assert recorder.notices == ()


def test_a_take_taken_back_is_set_aside_and_its_number_never_used_again(folder: Path) -> None:
    with open_recorder(folder) as recorder:
        store(recorder, 1, 0)
        store(recorder, 2, 1)
        assert take_back(recorder, 2) is None
        assert listed(folder) == [("001-string1-open.flac", COURSE[0])]
        assert set_aside_names(folder) == {"002-string1-fret1.flac"}
        assert recorder.takes.next_number == 3
    with open_recorder(folder) as recorder:
        assert states(recorder)[:2] == "t."
        assert recorder.takes.next_number == 3


def test_a_take_played_again_takes_the_place_of_the_old_one(folder: Path) -> None:
    with open_recorder(folder) as recorder:
        store(recorder, 1, 0)
        store(recorder, 2, 1)
        store(recorder, 3, 1)
        assert [name for name, _ in listed(folder)] == ["001-string1-open.flac", "003-string1-fret1.flac"]
        assert take_back(recorder, 2) is None
        assert set_aside_names(folder) == {"002-string1-fret1.flac"}
        assert [name for name, _ in listed(folder)] == ["001-string1-open.flac", "003-string1-fret1.flac"]


def test_a_folder_made_by_new_is_the_course(tmp_path: Path) -> None:
    new_folder(tmp_path / "bench", kind="bass", thoroughness=Thoroughness.QUICK)
    folder = tmp_path / "bench"
    before = (folder / "takes.csv").read_text()
    with open_recorder(folder, ()) as recorder:
        assert [p.position for p in recorder.takes.entries] == [
            row.position for row in read_session(folder).takes
        ]
        assert (folder / "takes.csv").read_text() == before  # as long as nothing was played
    with open_recorder(folder, ()) as recorder:
        assert states(recorder) == "." * 24
        store(recorder, 1, 0)
    assert [name for name, _ in listed(folder)] == ["001-string1-open.flac"]
    assert (folder / "set-aside" / "takes.csv").read_text() == before
    with open_recorder(folder, ()) as recorder:
        assert states(recorder) == "t" + "." * 23


def test_recordings_made_by_hand_count(tmp_path: Path) -> None:
    new_folder(tmp_path / "bench", kind="bass", thoroughness=Thoroughness.QUICK)
    folder = tmp_path / "bench"
    for name in ("001.wav", "003.wav"):
        soundfile.write(folder / name, np.zeros(4800), 48_000)
    with open_recorder(folder, ()) as recorder:
        assert states(recorder) == "t.t" + "." * 21
        assert recorder.takes.next_number == 3
        store(recorder, 3, 1)
    assert [name for name, _ in listed(folder)] == ["001.wav", "003.wav", "003-string1-fret1.flac"]


def test_a_row_taken_out_by_hand_is_asked_for_again_and_its_file_set_aside(folder: Path) -> None:
    with open_recorder(folder) as recorder:
        for number in (1, 2, 3):
            store(recorder, number, number - 1)
    lines = (folder / "takes.csv").read_text().splitlines(keepends=True)
    (folder / "takes.csv").write_text("".join(lines[:2] + lines[3:]))
    with open_recorder(folder) as recorder:
        assert states(recorder)[:4] == "t.t."
        assert recorder.takes.next_number == 4
        assert set_aside_names(folder) == {"002-string1-fret1.flac"}
        assert any("asked again" in notice for notice in recorder.notices)
    with open_recorder(folder) as recorder:
        assert states(recorder)[:4] == "t.t."
        assert recorder.notices == ()


def test_a_place_corrected_by_hand_and_columns_of_the_user_are_kept(folder: Path) -> None:
    with open_recorder(folder) as recorder:
        store(recorder, 1, 0)
        store(recorder, 2, 1)
    text = (
        "file;string;stop;fret;capo;remark\n"
        "001-string1-open.flac;1;open;;0;soft pick\n"
        "002-string1-fret1.flac;2;fret;1;;\n"
    )
    (folder / "takes.csv").write_text(text)
    with open_recorder(folder) as recorder:
        assert states(recorder) == "t......t...."  # place 7 is string 2, fret 1
        store(recorder, 3, 1)
    written = (folder / "takes.csv").read_text()
    assert written == text + "003-string1-fret1.flac;1;fret;1;0;\n"


def test_a_list_that_cannot_be_read_is_left_alone(folder: Path) -> None:
    (folder / "takes.csv").write_text("sound,note\nx.wav,E4\n")
    with pytest.raises(BadInput, match="must name the columns"):
        open_recorder(folder)
    assert (folder / "takes.csv").read_text() == "sound,note\nx.wav,E4\n"


def test_a_list_that_is_gone_is_made_again(folder: Path) -> None:
    with open_recorder(folder) as recorder:
        store(recorder, 1, 0)
        store(recorder, 2, 1)
    (folder / "takes.csv").unlink()
    with open_recorder(folder) as recorder:
        assert states(recorder)[:3] == "tt."
    assert [name for name, _ in listed(folder)] == ["001-string1-open.flac", "002-string1-fret1.flac"]


@pytest.mark.parametrize(
    "text", ["schema = 2\n", "no toml at all [", "schema = 1\nnext_number = 3\nplaces = [{}]\n"]
)
def test_a_course_that_cannot_be_read_costs_no_take(folder: Path, text: str) -> None:
    with open_recorder(folder) as recorder:
        store(recorder, 1, 0)
        store(recorder, 2, 1)
    (folder / "course.toml").write_text(text)
    with open_recorder(folder) as recorder:
        assert states(recorder) == "tt"
        assert recorder.takes.next_number == 3
    assert "course.toml" in set_aside_names(folder)


def test_a_course_of_which_nothing_was_played_can_be_replaced(folder: Path) -> None:
    open_recorder(folder).close()
    other = survey_positions([6], thoroughness=Thoroughness.FULL)
    with open_recorder(folder, other, replan=True) as recorder:
        assert tuple(p.position for p in recorder.takes.entries) == other
        store(recorder, 1, 0)
    with open_recorder(folder, COURSE, replan=True) as recorder:
        assert tuple(p.position for p in recorder.takes.entries) == other


def test_added_takes_are_part_of_the_course(folder: Path) -> None:
    with open_recorder(folder) as recorder:
        recorder.takes.extend(MORE)
        recorder.save_course()
    with open_recorder(folder) as recorder:
        added = recorder.takes.entries[-2:]
        assert [e.position for e in added] == [
            Position(6, Stop.PRESS, 4),
            Position(6, Stop.LEAF, 1, 0, 0.254),
        ]
        assert {e.state for e in added} == {TakeState.TO_PLAY}


def test_the_course_reads_back_what_was_written() -> None:
    takes = TakeList(
        (
            PlannedTake(Position(1, Stop.OPEN), TakeState.TAKEN, 1, 'ö "x"\\.flac', 329.6275569),
            PlannedTake(Position(1, Stop.FRET, 5, 2), TakeState.SKIPPED),
            PlannedTake(Position(1, Stop.LEAF, 1, 0, 0.3048)),
            PlannedTake(Position(1, Stop.PRESS, 1)),
        ),
        next_number=9,
    )
    read = parse_course(course_text(takes))
    assert (read.entries, read.next_number) == (takes.entries, 9)


def test_a_take_that_is_not_on_disk_yet_is_written_as_still_to_be_played() -> None:
    takes = TakeList.planned(COURSE)
    takes.accept(0)
    assert parse_course(course_text(takes)).entries[0].state is TakeState.TO_PLAY


def test_a_leaf_take_has_its_thickness_in_name_and_list(folder: Path) -> None:
    leaf = Position(1, Stop.LEAF, 1, 0, 0.254)
    with open_recorder(folder, (leaf, *COURSE)) as recorder:
        assert store(recorder, 1, 0).name == "001-string1-leaf1-0.254mm.flac"
        store(recorder, 2, 1)
    assert listed(folder) == [
        ("001-string1-leaf1-0.254mm.flac", leaf),
        ("002-string1-open.flac", COURSE[0]),
    ]
    with open_recorder(folder, ()) as recorder:
        assert states(recorder)[:3] == "tt."


def test_a_sound_of_ours_is_readable_at_once(folder: Path) -> None:
    with open_recorder(folder) as recorder:
        path = store(recorder, 1, 0)
        assert number_of(path) == 1


def test_a_row_with_a_name_that_no_disk_can_hold_is_a_take_still_to_be_played(folder: Path) -> None:
    # found by tests/fuzz: seed "interrupted courses 16"
    instrument = new_session(folder.parent / "long")
    (folder.parent / "long" / "takes.csv").write_text(
        f"file,string,stop,fret,capo\n{'9' * 500}.wav,1,open,,0\n"
    )
    found = reconcile(folder.parent / "long", instrument=instrument, planned=COURSE)
    assert all(entry.file is None for entry in found.entries)
