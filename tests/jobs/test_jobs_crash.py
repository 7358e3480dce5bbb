"""A process killed while it writes to a job: what was accepted is there, and every list agrees with the disk.

``kill -9`` at random moments; the child tells every write after the public function returned.
"""

from __future__ import annotations

import random
import time
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import pytest

from helpers.jobs import contents, make_job, photo, quick_source, sound
from helpers.jobs_child import processes, write_until_killed
from pitchcheck.jobs.change import finish_change
from pitchcheck.jobs.leftovers import leftovers
from pitchcheck.jobs.read import list_jobs, read_job
from pitchcheck.jobs.verify import verify_job

pytestmark = pytest.mark.filterwarnings(
    "ignore:.*fork.*:DeprecationWarning"
)  # a copy of this process is meant
LONGEST_S = 0.12  # [s] a round of four writes takes about as long, so that kills fall anywhere in them
STARTS_IN_S = 20.0  # [s] for a process to begin on a busy machine
ROUNDS_PER_JOB = 10  # so that jobs stay small and their checks short


def run_and_kill(folder: Path, source: Path, picture: Path, *, after_s: float, first: int) -> list[Any]:
    """Let a process write, kill it, and return what it told."""
    here, there = processes().Pipe(duplex=False)
    child = processes().Process(
        target=write_until_killed, args=(folder, source, picture, there, first), daemon=True
    )
    child.start()
    there.close()
    assert here.poll(STARTS_IN_S)
    time.sleep(after_s)
    child.kill()
    child.join()
    assert child.exitcode == -9
    return drain(here)


def drain(here: Connection) -> list[Any]:
    """Return everything that was told."""
    told = []
    while True:
        try:
            told.append(here.recv())
        except (EOFError, OSError):
            return told


def check(folder: Path, accepted: list[Any], source: Path) -> None:
    """Everything that was accepted is there, and every list agrees with the disk."""
    checked = verify_job(folder)
    assert checked.sound, checked
    job = read_job(folder)
    assert job.faults == ()
    assert {name for name in job.unfinished if name != "ready"} == set(checked.unfinished)
    notes = {note.number: note.words for note in job.notes}
    passes = {stored.folder.name: stored for stored in job.passes}
    steps = {line.note for line in job.steps}
    jobs = {line.id for line in list_jobs(folder.parent) if line.fault is None}
    for kind, number, words in accepted:
        if kind == "note":
            assert notes[number] == words
        elif kind == "pass":
            kept = contents(passes[words].folder)
            assert {name: kept[name] for name in contents(source) if name != "session.toml"} == {
                name: value for name, value in contents(source).items() if name != "session.toml"
            }
        elif kind == "step":
            assert words in steps
        else:
            assert words in jobs


def killed_rounds(place: Path, *, rounds: int, seed: int) -> dict[str, int]:
    """Kill writers at random moments; return how often each state was met."""
    rng = random.Random(seed)
    source, picture = quick_source(place / "source", extra=20), photo(place)
    seen = {"cut short": 0, "leftover": 0, "accepted": 0}
    for number in range(rounds):
        if number % ROUNDS_PER_JOB == 0:
            folder = make_job(place / f"jobs-{number}").folder
            accepted: list[Any] = []
        told = run_and_kill(
            folder, source, picture, after_s=rng.uniform(0, LONGEST_S), first=rng.randrange(4)
        )
        accepted += [item for item in told if item[0] != "trying"]
        check(folder, accepted, source)
        waiting = finish_change(folder)
        seen["cut short"] += waiting
        seen["leftover"] += bool(leftovers(folder))
        check(folder, accepted, source)
        assert verify_job(folder).cut_short == ()
    seen["accepted"] = len(accepted)
    for made in {path.parent for path in place.glob("jobs-*/*/job.toml")}:
        sound(made)
    return seen


def test_a_writer_killed_at_any_moment_loses_nothing_that_was_accepted(tmp_path: Path) -> None:
    killed_rounds(tmp_path, rounds=15, seed=4)


@pytest.mark.slow
def test_two_hundred_killed_writers(tmp_path: Path) -> None:
    seen = killed_rounds(tmp_path, rounds=200, seed=5)
    assert seen["cut short"] > 0  # kills fell before and after the moment at which a write counts
    assert seen["leftover"] > 0
