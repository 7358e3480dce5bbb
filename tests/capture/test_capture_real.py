"""The real way in: a sound server, the audio library, our stream. Each case in a process of its own."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import textwrap
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from helpers.hearing import LIMIT_S, Hearing, found_in, noise
from helpers.microphone import (
    INPUT,
    Microphone,
    file_microphone,
    run_python,
    virtual_microphone,
    write_sound,
)

RUN_S = 600.0  # [s] of the long run
MOST_SHARE = 0.1  # of one core, for hearing alone; a third of what a session may take. Measured: 0.05
MOST_MB = 100.0  # a quarter of the same. Measured: 63


@pytest.fixture(scope="module")
def microphone() -> Iterator[Microphone]:
    """Return one virtual microphone for the cases of this file; a case that breaks it mends it."""
    with virtual_microphone() as running:
        yield running


def test_what_is_played_arrives_bit_for_bit(microphone: Microphone, tmp_path: Path) -> None:
    played = noise(2.0)
    keep = tmp_path / "heard.npy"
    hearing = Hearing(microphone, until_s=3.5, keep=keep)
    assert hearing.begun == "heard"
    assert microphone.play(write_sound(tmp_path / "played.wav", played)).wait(timeout=10) == 0
    assert hearing.result()["faults"] == []
    assert found_in(np.load(keep), played)


@pytest.mark.slow
def test_silence_is_zeros_and_no_fault(microphone: Microphone) -> None:
    result = Hearing(microphone, until_s=3.0).result()
    assert result["peak"] == 0.0
    assert result["faults"] == []


@pytest.mark.slow
def test_an_overloaded_sound_comes_through_unclipped(microphone: Microphone, tmp_path: Path) -> None:
    hearing = Hearing(microphone, until_s=1.5)
    microphone.play(write_sound(tmp_path / "loud.wav", 16 * noise(0.5))).wait(timeout=10)
    assert float(str(hearing.result()["peak"])) > 2.0


def test_a_server_killed_while_it_is_heard(microphone: Microphone) -> None:
    hearing = Hearing(microphone, until_s=20.0)
    try:
        microphone.signal(signal.SIGKILL)
        killed_s = time.monotonic()
        result = hearing.result()
        ((trouble, words, told_s),) = result["faults"]
        assert trouble in {"gone", "stalled"}  # once in eight times the audio library did not notice its end
        assert "are safe" in words
        assert told_s - killed_s < 3.0  # [s] gone: some 10 ms; stalled: 2 s
    finally:
        microphone.start()


@pytest.mark.slow
def test_a_source_that_vanishes_while_another_is_left(microphone: Microphone) -> None:
    hearing = Hearing(microphone, until_s=20.0)
    time.sleep(0.5)  # the source is asked for in a thread of its own
    try:
        microphone.control("unload-module", "module-remap-source")
        ((trouble, words, _),) = hearing.result()["faults"]
        assert trouble == "moved"
        assert "microphone" in words
        assert "cable.monitor" in words
    finally:
        microphone.start()


@pytest.mark.slow
@pytest.mark.parametrize("how", ["suspended", "frozen"])
def test_an_input_that_gives_nothing_is_told_and_let_go(microphone: Microphone, how: str) -> None:
    hearing = Hearing(microphone, until_s=20.0)
    try:
        if how == "frozen":
            microphone.signal(signal.SIGSTOP)
        else:
            microphone.control("suspend-source", "microphone", "1")
            microphone.control("suspend-sink", "cable", "1")
        result = hearing.result(within_s=15.0)  # stopping it the usual way takes 17 s, or never ends
        ((trouble, words, told_s),) = result["faults"]
        assert trouble == "stalled"
        assert "Wake it" in words
        assert float(str(result["closed_s"])) - told_s < 2.0
    finally:
        microphone.start()


def test_a_server_gone_between_listing_and_opening(microphone: Microphone) -> None:
    code = """
    import sys
    from pitchcheck.capture import library
    from pitchcheck.capture.devices import CaptureFault, Choice
    from pitchcheck.capture.stream import open_input
    print([device.name for device in library.list_inputs()], flush=True)
    sys.stdin.readline()
    try:
        open_input(Choice(device="pulse"))
    except CaptureFault as fault:
        print(fault.trouble.value)
    sys.stdin.readline()
    with open_input(Choice(device="pulse"), again=True) as heard:
        print(heard.read(5.0).size > 0, heard.rate_hz)
    """
    process = subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(code)],
        env=microphone.environment,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert process.stdin is not None
    assert process.stdout is not None
    try:
        assert INPUT in process.stdout.readline()
        microphone.stop()
        process.stdin.write("go on\n")
        process.stdin.flush()
        assert process.stdout.readline().strip() == "cannot_open"
    finally:
        microphone.start()
    said, _ = process.communicate("go on\n", timeout=LIMIT_S)
    assert said.split() == ["True", "48000.0"]  # found again, with the listing made anew


OPEN = """
from pitchcheck.capture.devices import CaptureFault, Choice
from pitchcheck.capture.stream import open_input
for choice in ({}):
    try:
        with open_input(choice) as heard:
            print("heard", heard.rate_hz, heard.read(5.0).size > 0)
    except CaptureFault as fault:
        print(fault.trouble.value)
"""


def opened(*choices: str, environment: dict[str, str]) -> list[str]:
    """Return what came of opening inputs, one after the other, in a process of its own."""
    wanted = "".join(f"Choice({choice})," for choice in choices)
    return run_python(OPEN.format(wanted), environment=environment, within_s=LIMIT_S).splitlines()


def test_rates_channels_and_names(microphone: Microphone) -> None:
    cases = {
        "device='pulse', rate_hz=44100.0": "heard 44100.0 True",
        "device='pulse', rate_hz=96000.0": "heard 96000.0 True",
        "device='pulse', channel=2": "heard 48000.0 True",
        "device='pulse', rate_hz=1e6": "rate",
        "device='pulse', channel=33": "channel",
        "device='no such thing'": "not_found",
        "": "heard 48000.0 True",
    }
    assert opened(*cases, environment=microphone.environment) == list(cases.values())


@pytest.mark.slow
def test_no_sound_server_and_no_device(tmp_path: Path, microphone: Microphone) -> None:
    del microphone  # only to be skipped where there is no audio library
    nobody = {**file_microphone(tmp_path, noise(0.1)), "ALSA_CONFIG_PATH": "/usr/share/alsa/alsa.conf"}
    assert opened("", environment=nobody) == ["no_input"]


@pytest.mark.slow
def test_a_server_without_a_source(microphone: Microphone) -> None:
    try:
        microphone.control("unload-module", "module-remap-source")
        microphone.control("unload-module", "module-null-sink")
        assert opened(f"device={INPUT!r}", environment=microphone.environment) == ["cannot_open"]
    finally:
        microphone.start()


@pytest.mark.slow
def test_two_processes_hear_the_same_input(microphone: Microphone) -> None:
    first, second = (Hearing(microphone, until_s=0.5) for _ in range(2))
    assert first.result()["faults"] == second.result()["faults"] == []


@pytest.mark.slow
def test_several_inputs_are_told_apart_by_name(microphone: Microphone, tmp_path: Path) -> None:
    lines = ["</usr/share/alsa/alsa.conf>"]
    for letter, source in (("a", "microphone"), ("b", "cable.monitor")):
        lines.append(
            f'pcm.twin_{letter} {{ type pulse server "unix:{microphone.folder}/native" device "{source}" '
            f"hint {{ show on description {letter} }} }}"
        )
    (tmp_path / "asound.conf").write_text("\n".join(lines) + "\n")
    environment = {**microphone.environment, "ALSA_CONFIG_PATH": str(tmp_path / "asound.conf")}
    environment["PULSE_SERVER"] = "none"
    assert opened("device='twin'", "device='twin_b'", environment=environment) == [
        "ambiguous",
        "heard 48000.0 True",
    ]


def test_a_missing_library_is_one_sentence() -> None:
    code = """
    import sys, types
    class Loader:
        def find_spec(self, name, path=None, target=None):
            if name == "sounddevice":
                raise OSError("PortAudio library not found")  # what the binding raises then
    sys.meta_path.insert(0, Loader())
    from pitchcheck.capture.devices import CaptureFault
    from pitchcheck.capture.library import list_inputs
    try:
        list_inputs()
    except CaptureFault as fault:
        print(fault.trouble.value)
    """
    assert run_python(textwrap.dedent(code), environment=os.environ, within_s=LIMIT_S).strip() == "no_library"


@pytest.mark.slow
def test_hearing_costs_little(microphone: Microphone) -> None:
    code = """
    import resource, time
    from pitchcheck.capture.devices import Choice
    from pitchcheck.capture.stream import open_input
    def spent_s():
        both = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
        return sum(one.ru_utime + one.ru_stime for one in both)
    with open_input(Choice(device="pulse")) as heard:
        heard.read(5.0)
        start_s, spent = time.monotonic(), spent_s()
        while time.monotonic() < start_s + 10.0:
            heard.read(0.05)
            time.sleep(0.02)
        print((spent_s() - spent) / (time.monotonic() - start_s))
    # not ru_maxrss: that remembers the process which this one was forked from
    line = next(line for line in open("/proc/self/status") if line.startswith("VmHWM"))
    print(int(line.split()[1]) / 1024)
    """
    said = run_python(textwrap.dedent(code), environment=microphone.environment, within_s=LIMIT_S)
    share, megabytes = map(float, said.split())
    assert share < MOST_SHARE
    assert megabytes < MOST_MB


@pytest.mark.slow
def test_ten_minutes_without_a_lost_frame(microphone: Microphone, tmp_path: Path) -> None:
    played = noise(RUN_S)
    keep = tmp_path / "heard.npy"
    hearing = Hearing(microphone, until_s=RUN_S + 5.0, keep=keep)
    microphone.play(write_sound(tmp_path / "played.wav", played)).wait(timeout=RUN_S + LIMIT_S)
    assert hearing.result(within_s=LIMIT_S)["faults"] == []
    assert found_in(np.load(keep), played)
