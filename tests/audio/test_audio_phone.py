"""Recordings as phones write them: real encoders, any container and name, one fault for each bad file."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from helpers.codecs import PHONE, encode
from helpers.folders import pluck, write_sound
from pitchcheck.audio import decode, recording
from pitchcheck.audio.coding import Coding, loss_sd_cents
from pitchcheck.audio.files import Unsound, read_clip
from pitchcheck.audio.recording import read_recording
from pitchcheck.pitch.read_note import read_note
from pitchcheck.units import cents_between

HZ = 196.0
RATE_HZ = 44_100
PITCH_CENTS = 0.5  # a 12 kb/s voice codec moves a clean note by 0.1; a wrong rate would by a semitone or more
SURE = 4.0  # standard uncertainties: at 32 kb/s a pure tone of ten harmonics is read to 4 cents, and says so
DELAY_S = 0.1  # encoders put some silence before the sound: 0.05 s at most


ONE_CHANNEL = {"3gp amr"}  # a voice codec: 3GPP TS 26.071


@pytest.mark.parametrize(
    ("name", "channels"), [(n, c) for n in PHONE for c in (1, 2) if c == 1 or n not in ONE_CHANNEL]
)
def test_a_note_comes_back_at_its_pitch(tmp_path: Path, name: str, channels: int) -> None:
    note = pluck(HZ, seconds=2.5, rate_hz=RATE_HZ)
    sound = note if channels == 1 else np.stack([0 * note, note], axis=1)
    path = encode(tmp_path / f"a.{PHONE[name].ending}", sound, rate_hz=RATE_HZ, encoder=PHONE[name])
    whole = read_recording(path)
    assert whole.duration_s == pytest.approx(2.5, abs=DELAY_S)
    assert whole.coding.channels == channels
    assert whole.coding.lossless == (name in {"alac", "aiff", "flac", "wav"})
    assert (loss_sd_cents(whole.coding) == 0.0) == whole.coding.lossless
    part = read_clip(path, start_s=0.05, end_s=2.0)
    assert part.duration_s == pytest.approx(1.95, abs=1e-3)
    for clip in (whole.between(0.0, whole.duration_s), part):
        heard = read_note(clip)
        assert abs(cents_between(HZ, heard.hz)) < PITCH_CENTS + SURE * heard.sd_cents


@pytest.mark.parametrize("rate_hz", [8000, 16_000, 32_000, 96_000])
def test_rates_of_a_lossless_phone_file_are_kept(tmp_path: Path, rate_hz: int) -> None:
    note = pluck(HZ, rate_hz=rate_hz)
    path = encode(tmp_path / "a.m4a", note, rate_hz=rate_hz, encoder=PHONE["alac"])
    whole = read_recording(path)
    assert whole.rate_hz == rate_hz
    assert np.abs(whole.samples[: note.size] - note).max() < 2.0**-14  # 16-bit samples, rounded


@pytest.mark.parametrize("name", ["m4a 64k", "mp3 128k", "opus 32k", "wav", "flac"])
def test_the_bytes_decide_and_not_the_name(tmp_path: Path, name: str) -> None:
    path = encode(tmp_path / f"a.{PHONE[name].ending}", pluck(HZ), rate_hz=48_000, encoder=PHONE[name])
    for wrong in ("b.wav", "c.m4a", "d.txt", "e"):
        path = path.rename(tmp_path / wrong)
        assert abs(cents_between(HZ, read_note(read_clip(path)).hz)) < PITCH_CENTS


def test_bad_files_say_what_is_wrong_and_what_to_do(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    good = encode(tmp_path / "a.m4a", pluck(HZ), rate_hz=48_000, encoder=PHONE["m4a 64k"])
    raw = good.read_bytes()
    (tmp_path / "cut.m4a").write_bytes(raw[: len(raw) // 2])  # what says how to read it stands at the end
    (tmp_path / "empty.m4a").write_bytes(b"")
    (tmp_path / "noise.m4a").write_bytes(np.random.default_rng(5).bytes(20_000))
    (tmp_path / "list.m4a").write_text(
        f"#EXTM3U\n#EXT-X-TARGETDURATION:9\n#EXTINF:9,\n{good}\n#EXT-X-ENDLIST\n"
    )
    (tmp_path / "list.txt").write_text(f"ffconcat version 1.0\nfile {good.name}\n")
    for name in ("cut.m4a", "empty.m4a", "noise.m4a", "list.m4a", "list.txt"):
        with pytest.raises(Unsound) as caught:
            read_recording(tmp_path / name)
        assert caught.value.action, name
    write_sound(tmp_path / "dead.wav", np.zeros(9600))
    with pytest.raises(Unsound, match="silent"):
        read_recording(tmp_path / "dead.wav")
    with pytest.raises(Unsound, match="missing"):
        read_recording(tmp_path / "none.m4a")
    for place in (decode, recording):
        monkeypatch.setattr(place, "LONGEST_S", 1.0)
    recording._read_whole.cache_clear()
    write_sound(tmp_path / "long.wav", pluck(HZ))
    for name in ("a.m4a", "long.wav"):
        with pytest.raises(Unsound, match="Cut it into one file for each string"):
            read_recording(tmp_path / name)


def test_a_file_with_a_damaged_piece_is_still_read(tmp_path: Path) -> None:
    path = encode(tmp_path / "a.mp3", pluck(HZ, seconds=4.0), rate_hz=48_000, encoder=PHONE["mp3 128k"])
    raw = bytearray(path.read_bytes())
    middle = len(raw) // 2
    raw[middle : middle + 300] = bytes(300)
    path.write_bytes(raw)
    assert read_recording(path).duration_s > 3.5


def test_less_is_kept_the_less_is_known() -> None:
    """A voice codec costs more than a music codec, a low rate more than a high one."""
    loss = [loss_sd_cents(Coding(*c)) for c in (("mp3", 128e3, 1), ("aac", 64e3, 1), ("aac", 32e3, 1))]
    assert loss == sorted(loss)
    assert loss_sd_cents(Coding("amrnb", 12.2e3, 1)) >= loss[-1]
    assert loss_sd_cents(Coding("aac", 64e3, 2)) == loss[-1]
    assert loss_sd_cents(Coding("wmav2", 20e3, 1)) >= loss[-1]
    assert loss_sd_cents(Coding("alac", 500e3, 2)) == 0.0
