"""A memo from sound to measurement: what is played is known, the phone's file is real."""

from __future__ import annotations

import csv
import json
import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

from helpers.memo_player import Memo, Wish, make_memo
from pitchcheck.cli.app import app
from pitchcheck.takes import Stop

SEED = 7
ONSET_S = 0.12  # a list's start stands so near before the pluck


@pytest.fixture(scope="module")
def memo() -> Memo:
    wish = Wish(kind="bass", course="short", encoder="m4a 64k", offset_cents=-100.0, snr_db=32.0)
    return make_memo(SEED, wish)


def run(*words: str | Path) -> tuple[int, str, str]:
    done = CliRunner().invoke(app, [*map(str, words)])
    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    return done.exit_code, done.stdout, done.stderr


def test_a_memo_gives_the_output_of_a_folder_and_a_list_to_correct(memo: Memo, tmp_path: Path) -> None:
    path = memo.write(tmp_path)
    status, out, err = run(
        "measure", path, "--kind", "bass", "--scale", f"{memo.instrument.scale_mm} mm", "--json"
    )
    assert status == 0, err
    content = json.loads(out)
    played = [h for h in memo.happenings if h.what == "pluck"]
    takes = content["takes"]
    assert [(t["string"], t["stop"], t["fret"]) for t in takes] == [
        (h.position.string, h.position.stop.value, h.position.fret) for h in played if h.position is not None
    ]
    for take, happening in zip(takes, played, strict=True):
        assert take["file"] == path.name
        assert -0.05 < happening.time_s - take["start_s"] < ONSET_S
        assert take["end_s"] > take["start_s"] + 0.5
        assert take["hz"] == pytest.approx(happening.hz, rel=1e-3)
    assert re.search(r"about (9[5-9]|10[0-5]) cents flat of their notes", err)
    assert "string 4" in err
    assert "Wrong? Correct takes.csv" in err
    folder = tmp_path / f"{path.stem}-takes"
    assert {p.name for p in folder.iterdir()} == {path.name, "session.toml", "takes.csv"}
    with (folder / "takes.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert [row["stop"] for row in rows] == [t["stop"] for t in takes]

    status, again, _ = run("measure", folder, "--json")
    assert status == 0
    assert [s["slot_height_mm"] for s in json.loads(again)["strings"]] == [
        s["slot_height_mm"] for s in content["strings"]
    ]


def test_what_cannot_be_measured_says_why_and_ends_with_2(memo: Memo, tmp_path: Path) -> None:
    from helpers.folders import pluck, write_sound

    write_sound(tmp_path / "one.wav", pluck(82.4))
    (tmp_path / "note.txt").write_text("shopping list", encoding="utf-8")
    for words, part in (
        ((tmp_path / "one.wav",), "--kind"),
        ((tmp_path / "one.wav", "--kind", "kazoo"), "kazoo"),
        ((tmp_path / "one.wav", "--kind", "bass"), "3 are the least"),
        ((tmp_path / "note.txt", "--kind", "bass"), "not a sound file"),
        ((tmp_path / "none.m4a", "--kind", "bass"), "no such file"),
        ((tmp_path / "one.wav", "--kind", "bass", "--course", "dance"), "presses or frets"),
        ((tmp_path / "one.wav", "--kind", "bass", "--tuning", "E A"), "E A"),
    ):
        status, out, err = run("measure", *words)
        assert status == 2, words
        assert part in " ".join((out + err).split()), (words, err)
    status, out, _ = run("measure", tmp_path / "note.txt", "--kind", "bass", "--json")
    assert status == 2
    assert json.loads(out)["errors"][0]["file"] == "note.txt"


@pytest.mark.slow
def test_clips_without_names_in_a_folder_are_one_memo(memo: Memo, tmp_path: Path) -> None:
    from helpers.folders import write_sound
    from helpers.memo_player import RATE_HZ

    times = [h.time_s for h in memo.happenings if h.what == "pluck"]
    for i, start in enumerate(times):
        first, last = round((start - 0.15) * RATE_HZ), round((start + 1.6) * RATE_HZ)
        write_sound(tmp_path / f"New Recording {i + 1}.wav", memo.samples[first:last], rate_hz=RATE_HZ)
    status, out, err = run("measure", tmp_path, "--kind", "bass", "--json")
    assert status == 0, err
    takes = json.loads(out)["takes"]
    names = [(t["string"], Stop(t["stop"]), t["fret"]) for t in takes]
    played = [h.position for h in memo.happenings if h.what == "pluck" and h.position is not None]
    assert names == [(p.string, p.stop, p.fret) for p in played]
    assert len({t["file"] for t in takes}) == len(takes)


@pytest.mark.slow
@pytest.mark.parametrize(("capo", "course"), [(2, "frets apart"), (0, "frets"), (0, "frets apart")])
def test_fretted_notes_and_a_capo_from_sound_to_answer(capo: int, course: str, tmp_path: Path) -> None:
    """Every pluck has its name, a capo is in it, and without a press no slot is called high."""
    wish = Wish(
        kind="tenor ukulele", course=course, encoder="m4a 64k", offset_cents=0.0, snr_db=32.0, capo=capo
    )
    played = make_memo(SEED + 1, wish)
    path = played.write(tmp_path)
    path = path.rename(path.with_stem(f"memo capo {capo}" if capo else "memo"))
    status, out, err = run("measure", path, "--kind", "tenor ukulele", "--json")
    assert status == 0, err
    content = json.loads(out)
    assert [(t["string"], t["stop"], t["fret"], t["capo"]) for t in content["takes"]] == [
        (p.string, p.stop.value, None if p.fret is None else p.fret + capo, capo)
        for p in (h.position for h in played.happenings if h.what == "pluck")
        if p is not None
    ]
    assert {s["verdict"] for s in content["strings"]} <= {"unsure", "fine", "low"}
