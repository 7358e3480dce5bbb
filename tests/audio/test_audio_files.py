"""Sound files to clips: formats, rates, channels, stretches, and one clear fault for each bad file."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from helpers.folders import RATE_HZ, pluck, write_sound
from pitchcheck.audio.files import Unsound, read_clip

HZ = 196.0
STEP_24_BIT = 2.0**-23  # full scale 1; the rounding of 24-bit samples
STEP_16_BIT = 2.0**-15


@pytest.mark.parametrize(
    ("name", "subtype", "step"),
    [("a.wav", "PCM_24", STEP_24_BIT), ("a.flac", "PCM_16", STEP_16_BIT), ("a.aiff", "PCM_16", STEP_16_BIT)],
)
def test_lossless_files_come_back_as_they_were(tmp_path: Path, name: str, subtype: str, step: float) -> None:
    note = pluck(HZ)
    write_sound(tmp_path / name, note, subtype=subtype)
    clip = read_clip(tmp_path / name)
    assert clip.rate_hz == RATE_HZ
    assert np.abs(clip.samples - note).max() <= step


@pytest.mark.parametrize("rate", [8000, 22_050, 44_100, 96_000, 192_000])
def test_any_usual_rate_is_kept_with_the_samples(tmp_path: Path, rate: int) -> None:
    write_sound(tmp_path / "a.wav", pluck(HZ, rate_hz=rate), rate_hz=rate)
    clip = read_clip(tmp_path / "a.wav")
    assert clip.rate_hz == rate
    assert clip.duration_s == pytest.approx(2.0, abs=1 / rate)


def test_a_stretch_of_a_long_file_knows_where_it_lies(tmp_path: Path) -> None:
    two = np.concatenate([pluck(HZ), pluck(2 * HZ)])
    write_sound(tmp_path / "a.wav", two)
    clip = read_clip(tmp_path / "a.wav", start_s=2.0, end_s=3.5)
    assert (clip.start_s, clip.duration_s) == (2.0, 1.5)
    assert np.abs(clip.samples - two[2 * RATE_HZ : round(3.5 * RATE_HZ)]).max() <= STEP_24_BIT
    assert read_clip(tmp_path / "a.wav", start_s=3.0, end_s=99.0).duration_s == 1.0


HUM = 0.3 * np.sin(2 * np.pi * 50 * np.arange(2 * RATE_HZ) / RATE_HZ)


@pytest.mark.parametrize("side", [0, 1])
@pytest.mark.parametrize(
    "other",
    [0 * HUM, 0 * HUM + 0.2, HUM, 0.1 * pluck(HZ), -0.5 * pluck(HZ), np.clip(9 * pluck(HZ), -0.99, 0.99)],
    ids=["dead", "only a constant", "louder hum", "faint", "opposite", "overloaded"],
)
def test_of_two_channels_the_one_with_the_note_is_taken(
    tmp_path: Path, side: int, other: np.ndarray[tuple[int], np.dtype[np.float64]]
) -> None:
    note = pluck(HZ)
    channels = [other, other]
    channels[side] = note
    write_sound(tmp_path / "a.wav", np.stack(channels, axis=1))
    assert np.abs(read_clip(tmp_path / "a.wav").samples - note).max() <= STEP_24_BIT


def test_a_compressed_file_that_the_library_knows_is_read(tmp_path: Path) -> None:
    write_sound(tmp_path / "a.ogg", pluck(HZ), subtype="VORBIS")
    assert read_clip(tmp_path / "a.ogg").duration_s == pytest.approx(2.0, abs=0.01)  # a codec may pad


def test_bad_files_say_what_is_wrong_and_what_to_do(tmp_path: Path) -> None:
    rate = RATE_HZ
    write_sound(tmp_path / "silent.wav", np.zeros(rate))
    write_sound(tmp_path / "empty.wav", np.zeros(0))
    write_sound(tmp_path / "short.wav", pluck(HZ, seconds=0.05))
    write_sound(tmp_path / "slow.wav", pluck(HZ, rate_hz=4000), rate_hz=4000)
    write_sound(tmp_path / "long.wav", np.tile(pluck(HZ, rate_hz=8000), 61), rate_hz=8000)
    broken = pluck(HZ)
    broken[9] = np.nan
    write_sound(tmp_path / "nan.wav", broken, subtype="FLOAT")
    (tmp_path / "text.wav").write_text("this is no sound")
    (tmp_path / "phone.m4a").write_bytes(b"\0\0\0\x20ftypM4A " + bytes(200))
    (tmp_path / "folder.wav").mkdir()
    whole = tmp_path / "whole.flac"
    write_sound(whole, pluck(HZ), subtype="PCM_16")
    (tmp_path / "cut.flac").write_bytes(whole.read_bytes()[:300])
    expected = {
        "silent.wav": "silent",
        "empty.wav": "least",
        "short.wav": "least",
        "slow.wav": "samples a second",
        "long.wav": "start_s and end_s",
        "nan.wav": "no numbers",
        "text.wav": "not a sound file",
        "phone.m4a": "copy it from the phone again",
        "folder.wav": "missing",
        "none.wav": "missing",
        "cut.flac": "",
    }
    for name, part in expected.items():
        with pytest.raises(Unsound) as caught:
            read_clip(tmp_path / name)
        assert part in str(caught.value), name
        assert caught.value.action, name
    with pytest.raises(Unsound, match="lasts 2"):
        read_clip(whole, start_s=5.0)
