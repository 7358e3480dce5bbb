"""Folders beside a memo: the same list goes into the same folder, a corrected one is never written over."""

from __future__ import annotations

from pathlib import Path

import pytest

from pitchcheck.session import memo_folder
from pitchcheck.session.memo_folder import write_memo_folder

LIST = "file,string,stop,fret,capo,start_s,end_s\nmemo.m4a,1,press,1,0,0.500,2.100\n"


def written(memo: Path, *, takes: str = LIST, sound: bytes = b"sound") -> Path:
    memo.write_bytes(sound)
    return write_memo_folder(memo, settings='kind = "bass"\n', takes=takes, sounds=[memo])


def test_the_same_memo_again_finds_its_folder(tmp_path: Path) -> None:
    memo = tmp_path / "memo.m4a"
    first = written(memo)
    assert first == tmp_path / "memo-takes"
    assert {path.name for path in first.iterdir()} == {"memo.m4a", "session.toml", "takes.csv"}
    assert written(memo) == first


def test_a_corrected_list_stays_as_it_is_and_the_next_stands_beside_it(tmp_path: Path) -> None:
    memo = tmp_path / "memo.m4a"
    corrected = LIST.replace("press,1", "press,2")
    (written(memo) / "takes.csv").write_text(corrected, encoding="utf-8")
    assert written(memo) == tmp_path / "memo-takes-2"
    assert (tmp_path / "memo-takes" / "takes.csv").read_text(encoding="utf-8") == corrected
    assert written(memo, sound=b"another sound") == tmp_path / "memo-takes-3"


def test_there_is_an_end_of_folders(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(memo_folder, "MOST_FOLDERS", 2)
    for number in range(2):
        written(tmp_path / "memo.m4a", takes=f"{LIST}{number}\n")
    with pytest.raises(OSError, match="2 folders of this memo are already there"):
        written(tmp_path / "memo.m4a")
