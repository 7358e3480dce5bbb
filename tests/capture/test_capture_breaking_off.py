"""Breaking off at any time ends cleanly; a frozen server is told, let go, and found again when it thaws."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import textwrap
import time
from collections.abc import Iterator

import pytest

from helpers.hearing import LIMIT_S
from helpers.microphone import Microphone, run_python, virtual_microphone

END_S = 5.0  # [s] allowed from Ctrl-C to the end, on a busy machine (letting go takes 1 s at most)
BLOCKED_S = 30.0  # [s]; the sound server keeps some 22 s


@pytest.fixture(scope="module")
def microphone() -> Iterator[Microphone]:
    """Return a virtual microphone; a case that breaks it mends it."""
    with virtual_microphone() as running:
        yield running


def break_off(process: subprocess.Popen[str]) -> tuple[int, str]:
    """Press Ctrl-C; return the status and what was said on standard error."""
    start_s = time.monotonic()
    process.send_signal(signal.SIGINT)
    _, said = process.communicate(timeout=LIMIT_S)
    assert time.monotonic() - start_s < END_S
    return process.returncode, said


def started(*words: str, microphone: Microphone) -> subprocess.Popen[str]:
    """Start Python with these words."""
    return subprocess.Popen(
        [sys.executable, *words],
        env=microphone.environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


INPUTS = ("-c", "from pitchcheck.cli import main; main()", "inputs")


def test_trying_an_input_is_broken_off(microphone: Microphone) -> None:
    process = started(*INPUTS, "--try", "pulse", microphone=microphone)
    assert process.stderr is not None
    assert "Listening" in process.stderr.readline()
    status, said = break_off(process)
    assert status != 0
    assert "Traceback" not in said


@pytest.mark.slow
def test_opening_is_broken_off_while_the_server_is_frozen(microphone: Microphone) -> None:
    code = """
    import sys
    from pitchcheck.capture import library
    from pitchcheck.capture.devices import Choice
    from pitchcheck.capture.stream import open_input
    library.list_inputs()
    print("listed", flush=True)
    sys.stdin.readline()
    try:
        open_input(Choice(device="pulse"))
    except KeyboardInterrupt:
        sys.exit("broken off")
    """
    process = subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(code)],
        env=microphone.environment,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stdin is not None
    assert process.stdout is not None
    process.stdout.readline()
    try:
        microphone.signal(signal.SIGSTOP)
        process.stdin.write("\n")
        process.stdin.flush()
        time.sleep(1.0)
        assert break_off(process) == (1, "broken off\n")  # standard error is given back
    finally:
        microphone.start()


@pytest.mark.slow
def test_listing_with_a_frozen_server_is_told_in_time(microphone: Microphone) -> None:
    try:
        microphone.signal(signal.SIGSTOP)
        process = started(*INPUTS, microphone=microphone)
        _, said = process.communicate(timeout=20.0)  # [s] it would wait for ever
        assert process.returncode == 2
        assert "stuck" in said
    finally:
        microphone.start()


@pytest.mark.slow
def test_a_frozen_server_is_refused_at_once_and_found_when_it_thaws(microphone: Microphone) -> None:
    code = f"""
    import json, os, signal, time
    from pitchcheck.capture.devices import CaptureFault, Choice
    from pitchcheck.capture.stream import open_input
    pid, told = {microphone.process}, []
    choice = Choice(device="pulse")
    def stalled(heard):
        try:
            while True:
                heard.read(0.1)
        except CaptureFault as fault:
            told.append(fault.trouble)
    try:
        with open_input(choice) as heard:
            heard.read(5.0)
            os.kill(pid, signal.SIGSTOP)
            stalled(heard)
        start_s = time.monotonic()
        try:
            open_input(choice, again=True)
        except CaptureFault as fault:
            told += [fault.trouble, time.monotonic() - start_s < 1.0]
    finally:
        os.kill(pid, signal.SIGCONT)
    end_s = time.monotonic() + 20.0
    while time.monotonic() < end_s:
        try:
            with open_input(choice, again=True) as heard:
                told.append(heard.read(5.0).size > 0)
                break
        except CaptureFault:
            time.sleep(0.2)
    print(json.dumps(told))
    """
    said = run_python(textwrap.dedent(code), environment=microphone.environment, within_s=LIMIT_S)
    assert json.loads(said) == ["stalled", "stalled", True, True]


@pytest.mark.slow
def test_sound_lost_while_our_side_was_blocked_is_told_once(microphone: Microphone) -> None:
    code = f"""
    import json, time
    from pitchcheck.capture.intake import Intake
    from pitchcheck.capture.devices import CaptureFault, Choice
    from pitchcheck.capture.stream import open_input
    hear, calls = Intake.hear, []
    def slow(self, *arguments):
        calls.append(1)
        if len(calls) == 200:
            time.sleep({BLOCKED_S})
        hear(self, *arguments)
    Intake.hear = slow
    told, frames = [], 0
    with open_input(Choice(device="pulse")) as heard:
        start_s = time.monotonic()
        while len(calls) < 200:
            heard.read(0.1)
        time.sleep({BLOCKED_S} + 1.0)  # a reader who looked meanwhile would be told that it stalled
        end_s = time.monotonic() + 6.0
        while time.monotonic() < end_s:
            try:
                heard.read(0.1)
            except CaptureFault as fault:
                told.append([fault.trouble, str(fault)])
    print(json.dumps(told))
    """
    said = run_python(textwrap.dedent(code), environment=microphone.environment, within_s=LIMIT_S + BLOCKED_S)
    ((trouble, words),) = json.loads(said)
    assert trouble == "dropped"
    assert (
        2_000 < float(words.split()[0]) < 15_000
    )  # [ms] 8.2 s were seen; how much depends on the server's buffer
