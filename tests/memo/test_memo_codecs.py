"""A memo through real encoders gives the heights of the lossless one."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
import soundfile

from helpers.codecs import PHONE, encode
from helpers.folders import FIXTURES
from pitchcheck.workflow.memo import measure_memo

HERE = FIXTURES / "session-sound"
SAME_MM = 0.02  # asked for at AAC 64 kb/s and MP3 128 kb/s


def _height_mm(folder: Path, name: str) -> tuple[float, list[tuple[str, int | None]]]:
    rows = list(csv.DictReader((HERE / "takes.csv").read_text(encoding="utf-8").splitlines()))
    read = [soundfile.read(HERE / row["file"]) for row in rows]
    folder.mkdir()
    (folder / "session.toml").write_bytes((HERE / "session.toml").read_bytes())
    sound = np.concatenate([samples for samples, _ in read])
    encode(folder / f"memo.{PHONE[name].ending}", sound, rate_hz=read[0][1], encoder=PHONE[name])
    measured = measure_memo([folder])
    found = [(t.position.stop.value, t.position.fret) for t in measured.measurement.takes]
    wanted = [(row["stop"], int(row["fret"]) if row["fret"] else None) for row in rows]
    assert found == wanted
    heights = [s.height_mm.median for s in measured.measurement.plan.strings if s.height_mm is not None]
    assert len(heights) == 1
    return heights[0], found


@pytest.mark.slow
def test_heights_are_those_of_the_lossless_sound(tmp_path: Path) -> None:
    plain, _ = _height_mm(tmp_path / "plain", "flac")
    for name in ("m4a 64k", "mp3 128k"):
        lossy, _ = _height_mm(tmp_path / name.replace(" ", ""), name)
        assert abs(lossy - plain) < SAME_MM, name
