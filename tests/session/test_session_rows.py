"""``takes.csv`` and ``readings.csv``: good rows are kept whatever else is wrong."""

from __future__ import annotations

from pathlib import Path

import pytest

from helpers.folders import READINGS, SETTINGS, TAKES, make_folder
from pitchcheck.session.folder import read_session
from pitchcheck.session.limits import DEFAULT_SD_CENTS
from pitchcheck.session.paths import inside
from pitchcheck.takes import Position, Stop

OPEN = "a.wav,1,open,,0\n"


def test_rows_become_positions_in_playing_order(tmp_path: Path) -> None:
    takes = TAKES + OPEN + "b.wav,2,fret,12,\nc.wav,1,press,2,1\n"
    session = read_session(make_folder(tmp_path, takes=takes))
    assert session.problems == ()
    assert [t.position for t in session.takes] == [
        Position(1, Stop.OPEN),
        Position(2, Stop.FRET, 12),
        Position(1, Stop.PRESS, 2, 1),
    ]
    assert [t.row for t in session.takes] == [1, 2, 3]


@pytest.mark.parametrize(
    ("row", "field"),
    [
        ("b.wav,3,open,,0", "string"),
        ("b.wav,0,open,,0", "string"),
        ("b.wav,one,open,,0", "string"),
        ("b.wav,1,opne,,0", "stop"),
        ("b.wav,1,open,3,0", "fret"),
        ("b.wav,1,fret,,0", "fret"),
        ("b.wav,1,fret,25,0", "fret"),
        ("b.wav,1,fret,1.5,0", "fret"),
        ("b.wav,1,fret,-1,0", "fret"),
        ("b.wav,1,fret,2,2", "capo"),
        ("b.wav,1,fret,2,x", "capo"),
        (",1,open,,0", "file"),
        ("a\0.wav,1,open,,0", "file"),
        ("a\x1b[2J.wav,1,open,,0", "file"),
        ("b.wav,1,open,,0,2,1", "end_s"),
        ("b.wav,1,open,,0,-1,1", "start_s"),
        ("b.wav,1,open,,0,nan,1", "start_s"),
        ("b.wav,1,open,,0,0,inf", "end_s"),
    ],
)
def test_a_bad_row_is_named_and_the_rest_kept(tmp_path: Path, row: str, field: str) -> None:
    header = TAKES.strip() + ",start_s,end_s\n"
    session = read_session(make_folder(tmp_path, takes=f"{header}{OPEN}{row}\n{OPEN}"))
    (fault,) = session.problems
    assert (fault.file, fault.row, fault.field) == ("takes.csv", 2, field)
    assert fault.sentence().isprintable()
    assert [t.row for t in session.takes] == [1, 3]


@pytest.mark.parametrize("hz", ["0", "-329", "", "nan", "inf", "1e9", "82,4"])
def test_a_pitch_that_is_none_is_refused(tmp_path: Path, hz: str) -> None:
    readings = f'{READINGS}1,open,,0,329.6\n1,fret,1,0,"{hz}"\n'
    session = read_session(make_folder(tmp_path, readings=readings))
    assert [(f.row, f.field) for f in session.problems] == [(2, "hz")]
    assert [r.row for r in session.readings] == [1]


def test_readings_without_an_error_get_the_stated_default(tmp_path: Path) -> None:
    readings = "string,stop,fret,capo,hz,sd_cents\n1,open,,0,329.6,\n1,open,,0,329.6,0.4\n"
    session = read_session(make_folder(tmp_path, readings=readings))
    assert [r.sd_cents for r in session.readings] == [DEFAULT_SD_CENTS, 0.4]
    assert any(f"{DEFAULT_SD_CENTS:g} cent" in notice for notice in session.notices)


def test_both_lists_are_refused_and_none_is_asked_for(tmp_path: Path) -> None:
    both = read_session(make_folder(tmp_path / "both", takes=TAKES + OPEN, readings=READINGS))
    assert both.takes == ()
    assert both.readings == ()
    assert "both" in both.problems[0].limit
    neither = read_session(make_folder(tmp_path / "neither"))
    assert "readings.csv" in neither.problems[0].action


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("", "columns"),
        ("file,string,stop\na.wav,1,open\n", "columns"),
        ("file,string,stop,fret,fret\na.wav,1,open,,\n", "twice"),
        (TAKES, "no rows"),
    ],
)
def test_a_list_that_is_none_is_one_fault(tmp_path: Path, text: str, part: str) -> None:
    (fault, *_) = read_session(make_folder(tmp_path, takes=text)).problems
    assert fault.file == "takes.csv"
    assert part in fault.limit


def test_spreadsheet_habits_are_read(tmp_path: Path) -> None:
    text = "\ufeffFile; String;Stop;Fret;Capo;Mood\r\na.wav;1;OPEN;;;\r\n;;;;;\r\nb.wav;1;fret;1;0;sad\r\n"
    session = read_session(make_folder(tmp_path, takes=text))
    assert [t.row for t in session.takes] == [1, 3]
    assert any("mood" in notice for notice in session.notices)


def test_a_scalloped_board_gets_no_press_test(tmp_path: Path) -> None:
    settings = SETTINGS.replace('"628 mm"', '"628 mm"\nboard = "scalloped"')
    session = read_session(
        make_folder(tmp_path, settings=settings, takes=TAKES + OPEN + "b.wav,1,press,1,0\n")
    )
    assert [f.field for f in session.problems] == ["stop"]


def test_names_that_lead_out_of_the_folder_are_refused(tmp_path: Path) -> None:
    folder = tmp_path / "in"
    folder.mkdir()
    (tmp_path / "out.wav").write_bytes(b"x")
    (folder / "link.wav").symlink_to(tmp_path / "out.wav")
    (folder / "loop").symlink_to(folder / "loop")
    for name in ("../out.wav", str(tmp_path / "out.wav"), "link.wav", "a/../../out.wav", ".", "a\0b", "loop"):
        found = inside(folder, name)
        assert found is None or not found.exists(), name
    assert inside(folder, "sub/../a.wav") == folder.resolve() / "a.wav"


def test_a_list_that_is_a_link_to_outside_is_refused(tmp_path: Path) -> None:
    folder = make_folder(tmp_path / "in")
    (tmp_path / "takes.csv").write_text(TAKES + OPEN)
    (folder / "takes.csv").symlink_to(tmp_path / "takes.csv")
    session = read_session(folder)
    assert session.takes == ()
    assert "outside" in session.problems[0].limit


def test_a_leaf_take_carries_the_thickness_of_its_leaf(tmp_path: Path) -> None:
    header = TAKES.strip() + ",leaf\n"
    session = read_session(
        make_folder(tmp_path, takes=f"{header}a.wav,1,open,,0,\nb.wav,1,leaf,1,0,10 thou\n")
    )
    assert session.problems == ()
    assert session.takes[1].position == Position(1, Stop.LEAF, 1, 0, pytest.approx(0.254))


@pytest.mark.parametrize("leaf", ["", "0.4", "0 mm", "9 mm", "thin"])
def test_a_leaf_take_without_a_believable_leaf_is_left_out(tmp_path: Path, leaf: str) -> None:
    header = TAKES.strip() + ",leaf\n"
    session = read_session(
        make_folder(tmp_path, takes=f"{header}a.wav,1,open,,0,\nb.wav,1,leaf,1,0,{leaf}\n")
    )
    (fault,) = session.problems
    assert (fault.row, fault.field) == (2, "leaf")
    assert len(session.takes) == 1
