"""The input check: what is planted in the sound of a room and of some plucks is found, and nothing else."""

from __future__ import annotations

import numpy as np
import pytest

from pitchcheck.errors import BadValue
from pitchcheck.hearing.input_check import InputCheck, check_input
from pitchcheck.simulate.pluck import PluckSound, Tone, pluck
from pitchcheck.simulate.room import Room, room_noise
from pitchcheck.types import FloatArray
from pitchcheck.words.inputs import input_sentences

RATE_HZ = 48_000.0
QUIET = Room(white_db=-72.0, pink_db=-66.0, hum_db=-np.inf)
LEVEL_DB = 1.0  # the room is random: over 3 s its level scatters by less
HUM_DB = 1.0  # hum's level against what was planted
TONES_HZ = (196.0, 247.0, 330.0)


def room(seconds: float = 3.0, *, seed: int = 1, of: Room = QUIET) -> FloatArray:
    rng = np.random.default_rng(seed)
    return room_noise(rng, room=of, count=round(seconds * RATE_HZ), rate_hz=RATE_HZ)


def plucks(*, level_db: float = -12.0, of: Room = QUIET, decay_s: float = 0.5) -> FloatArray:
    """Three plucks, 3 s each, of the simulator."""
    rng = np.random.default_rng(2)
    sound = PluckSound(level_db=level_db, decay_s=decay_s, start_s=0.3)
    notes = [pluck(rng, tone=Tone(hz, 4e-5), sound=sound, rate_hz=RATE_HZ, duration_s=3.0) for hz in TONES_HZ]
    clean = np.concatenate([note.samples for note in notes])
    return clean + room(clean.size / RATE_HZ, seed=3, of=of)


def said(check: InputCheck) -> str:
    return " ".join(input_sentences(check))


def test_a_good_input_goes_on() -> None:
    quiet = room()
    check = check_input(quiet, plucks(), rate_hz=RATE_HZ)
    channel = check.channels[0]
    assert check.go_on
    assert not channel.dead
    assert not channel.clipped
    assert not channel.pumping
    assert channel.hum is None
    assert channel.plucks == len(TONES_HZ)
    assert channel.floor_db == pytest.approx(20 * np.log10(np.std(quiet)), abs=LEVEL_DB)
    assert channel.peak_db == pytest.approx(-12.0, abs=LEVEL_DB)


@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
def test_hum_is_found_and_measured(mains_hz: float) -> None:
    harmonics = (-10.0, -4.0, -16.0, -9.0, -20.0, -13.0)
    loud = Room(white_db=-72.0, pink_db=-66.0, hum_db=-50.0, mains_hz=mains_hz, hum_harmonics_db=harmonics)
    check = check_input(room(of=loud), plucks(of=loud), rate_hz=RATE_HZ)
    hum = check.channels[0].hum
    planted_db = -50 + 10 * np.log10(1 + sum(10 ** (h / 10) for h in harmonics))
    assert hum is not None
    assert hum.mains_hz == mains_hz
    assert hum.level_db == pytest.approx(planted_db, abs=HUM_DB)
    assert f"{mains_hz:.0f} Hz" in said(check)
    assert check.go_on


def test_silence_of_bits_is_dead() -> None:
    lsb = np.random.default_rng(4).integers(-2, 3, 144_000) / 32768
    for nothing in (np.zeros(144_000), lsb):
        check = check_input(nothing, nothing, rate_hz=RATE_HZ)
        assert check.channels[0].dead
        assert not check.go_on
        assert "dead silent" in said(check)


def test_clipping_stops() -> None:
    check = check_input(room(), np.clip(6 * plucks(), -1, 1), rate_hz=RATE_HZ)
    assert check.channels[0].clipped
    assert not check.go_on
    assert "overdriven" in said(check)


def test_the_channel_with_the_instrument_is_found() -> None:
    dead, hiss = np.zeros(144_000), 5 * room(seed=7)
    long_dead, long_hiss = np.zeros(432_000), 5 * room(9.0, seed=8)
    quiet = np.column_stack([dead, hiss, room()])
    loud = np.column_stack([long_dead, long_hiss + 0.02 * plucks(), plucks()])
    check = check_input(quiet, loud, rate_hz=RATE_HZ)
    assert check.channel == 2
    assert check.go_on
    assert "channel 3 of 3" in said(check)


def gain_control(sound: FloatArray, *, hold_db: float, release_s: float) -> FloatArray:
    """A plain automatic gain: at once down to a level, slowly up again, at most 30 dB."""
    step = 480
    gain, out = 10**1.5, sound.copy()
    for i in range(0, sound.size, step):
        part = sound[i : i + step]
        wanted = 10 ** (hold_db / 20) / max(float(np.sqrt(np.mean(part**2))), 1e-9)
        gain = min(wanted, gain * np.exp(step / RATE_HZ / release_s), 10**1.5)
        out[i : i + step] = part * gain
    return out


def gate(sound: FloatArray) -> FloatArray:
    """Noise suppression that shuts everything off below a level."""
    step = 480
    out = sound.copy()
    for i in range(0, sound.size, step):
        if np.sqrt(np.mean(sound[i : i + step] ** 2)) < 10 ** (-50 / 20):
            out[i : i + step] = 0.0
    return out


def test_gain_control_is_heard() -> None:
    played = gain_control(np.concatenate([room(), plucks(decay_s=0.3)]), hold_db=-20.0, release_s=1.5)
    check = check_input(played[:144_000], played[144_000:], rate_hz=RATE_HZ)
    assert check.channels[0].pumping
    assert not check.go_on
    assert "gain" in said(check)


def test_a_gate_is_heard() -> None:
    check = check_input(room(), gate(plucks(decay_s=0.3)), rate_hz=RATE_HZ)
    assert check.channels[0].pumping
    assert not check.go_on


@pytest.mark.parametrize("decay_s", [0.3, 0.5, 1.6, 6.0])
def test_a_string_that_rings_long_or_short_is_no_gain_control(decay_s: float) -> None:
    check = check_input(room(), plucks(decay_s=decay_s), rate_hz=RATE_HZ)
    assert not check.channels[0].pumping
    assert check.go_on


def test_too_quiet_to_go_on() -> None:
    check = check_input(room(), plucks(level_db=-46.0), rate_hz=RATE_HZ)
    assert not check.go_on
    assert "closer" in said(check)


def test_no_pluck_at_all() -> None:
    check = check_input(room(), room(6.0, seed=9), rate_hz=RATE_HZ)
    assert not check.go_on
    assert "No pluck" in said(check)


def test_the_room_alone_is_judged_too() -> None:
    check = check_input(room(), rate_hz=RATE_HZ)
    assert check.go_on
    assert check.channels[0].pluck_db is None


def test_too_little_is_said() -> None:
    with pytest.raises(BadValue, match="too little"):
        check_input(np.zeros(1000), rate_hz=RATE_HZ)
    with pytest.raises(BadValue, match="channels"):
        check_input(np.zeros((96_000, 2)), np.zeros((96_000, 1)), rate_hz=RATE_HZ)
