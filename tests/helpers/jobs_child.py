"""What other processes do to a job in tests: write until killed, write a number of notes, try as nobody.

Every accepted write is told through a pipe after the public function returned, and not before.
"""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable
from itertools import count
from multiprocessing.connection import Connection
from multiprocessing.context import ForkContext
from pathlib import Path

import pytest

from helpers.jobs import NOW, make_job
from pitchcheck.errors import PitchcheckError
from pitchcheck.jobs.change import only_writer
from pitchcheck.jobs.write import add_note, record_step
from pitchcheck.workflow.jobs.add_pass import add_pass

NOBODY = 65534  # the user and group without rights on Debian (base-passwd)


def processes() -> ForkContext:
    """Return the way to start processes: copies of this one, which begin at once; skip if there is none."""
    if "fork" not in multiprocessing.get_all_start_methods():
        pytest.skip("needs fork, which this system does not have")
    return multiprocessing.get_context("fork")


def write_until_killed(folder: Path, source: Path, picture: Path, told: Connection, first: int) -> None:
    """Add notes, steps with pictures and passes, and make jobs, for ever."""
    for number in count(first):
        told.send(("trying", number))
        if number % 4 == 0:
            stored = add_pass(folder, source, now=NOW, anyway=True, workers=1).stored
            told.send(("pass", stored.number, stored.folder.name))
        elif number % 4 == 1:
            words = f"note of write {number}"
            told.send(("note", add_note(folder, words, now=NOW), words))
        elif number % 4 == 2:
            line = record_step(folder, "bed", now=NOW, note=f"step of write {number}", photo=picture)
            told.send(("step", number, line.note))
        else:
            told.send(("job", number, make_job(folder.parent).id))


def write_notes(folder: Path, told: Connection, name: str, many: int) -> None:
    """Add a number of notes."""
    for number in range(many):
        told.send((add_note(folder, f"{name} {number}", now=NOW), f"{name} {number}"))
    told.close()


def hold_lock(folder: Path, told: Connection) -> None:
    """Hold the lock until killed."""
    with only_writer(folder):
        told.send("held")
        told.recv()


def as_nobody(told: Connection, tries: list[tuple[str, Callable[..., object], tuple[object, ...]]]) -> None:
    """Call functions as a user without rights; tell each answer or the slug of its error."""
    if os.geteuid() == 0:
        os.setgroups([])
        os.setgid(NOBODY)
        os.setuid(NOBODY)
    for name, function, arguments in tries:
        try:
            told.send((name, "done", function(*arguments)))
        except PitchcheckError as error:
            told.send((name, error.slug, str(error)))
    told.close()
