"""A whole job at the bench, through the commands and the capture path: no file edited, no folder named twice.

The demo's guitar is played into the input as sound; between the sittings its slots are filed by what the
table allowed.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from helpers.listen import RATE_HZ, SEED, TAKE_S, FileSource, course, in_a_row, new_folder
from pitchcheck.cli.app import app
from pitchcheck.course import Thoroughness
from pitchcheck.jobs.layout import VARIABLE
from pitchcheck.jobs.read import read_job
from pitchcheck.jobs.verify import verify_job
from pitchcheck.simulate.body import random_body
from pitchcheck.simulate.instrument import InstrumentTruth
from pitchcheck.simulate.player import play
from pitchcheck.simulate.room import Room
from pitchcheck.simulate.scenario import HAND, demo_settings, demo_truth
from pitchcheck.simulate.voice import Voice, sound_of

MOST_COMMANDS = 15
STRINGS = (1, 2, 3, 4, 5, 6)


class Bench:
    """The instrument, what is done to it, and the commands that were typed."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, jobs: Path) -> None:
        self.truth = demo_truth()
        self.log: list[str] = []
        self._patch = monkeypatch
        monkeypatch.setenv(VARIABLE, str(jobs))

    def run(self, *words: str | Path) -> str:
        """Type a command."""
        self.log.append("pitchcheck " + " ".join(map(str, words)))
        done = CliRunner().invoke(app, list(map(str, words)))
        assert done.exit_code == 0, f"{self.log[-1]}: {done.exception} {done.stdout[-500:]}{done.stderr}"
        return done.stdout + done.stderr

    def play(self, strings: Sequence[int], *words: str | Path) -> str:
        """Type a command that listens, and play what it asks for."""
        sound = in_a_row(played(self.truth, strings))
        self._patch.setattr("pitchcheck.workflow.listen.input.microphone", lambda **_: FileSource(sound))
        return self.run(*words, "--thoroughness", "quick", "--plain", "--no-tones")

    def file(self, string: int, amount_mm: float) -> None:
        """Take something off a slot."""
        strings = tuple(
            replace(
                s,
                slot_height_mm=s.slot_height_mm - amount_mm,
                action_12_mm=s.action_12_mm - amount_mm / 2,
            )
            if n == string
            else s
            for n, s in enumerate(self.truth.strings, 1)
        )
        self.truth = replace(self.truth, strings=strings)


def played(truth: InstrumentTruth, strings: Sequence[int]) -> list[np.ndarray]:
    """Return the sound of every take of a course."""
    rng = np.random.default_rng(SEED)
    voice = Voice(random_body(rng, pull_cents=1.5), Room(), RATE_HZ, TAKE_S)
    positions = course(strings, Thoroughness.QUICK)
    return [
        sound_of(rng, played=p, instrument=demo_settings().instrument, truth=truth, voice=voice).samples
        for p in play(rng, truth=truth, hand=HAND, positions=positions)
    ]


def allowed(job: Path) -> dict[int, float]:
    """Return what the last pass lets come off, by string."""
    content = json.loads((read_job(job).counted[-1].folder / "measurement.json").read_bytes())
    return {s["number"]: s["remove_now_mm"] for s in content["strings"] if s["remove_now_mm"] > 0}


@pytest.mark.slow
def test_a_whole_job_from_intake_to_hand_over(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    bench = Bench(monkeypatch, tmp_path / "jobs")
    folder = new_folder(tmp_path / "bench")
    bench.run("job", "new", "Lamp room guitar", "--serial", "LR-0417", "--owner-words", "sour")
    said = bench.play(STRINGS, "listen", folder, "--job", "lamp")
    assert "Sealed as pass 1, before" in said, said[-600:]
    job = next((tmp_path / "jobs").iterdir())
    bench.run("job", "report", "lamp", "--to", tmp_path / "intake.html", "--for", "player")
    for number in (2, 3):
        off = allowed(job)
        for string, amount in off.items():
            bench.file(string, amount)
        removed = [word for string, amount in off.items() for word in ("--removed", f"{string}={amount} mm")]
        strings = ",".join(map(str, off))
        last = ("--final",) if number == 3 else ()
        said = bench.play(tuple(off), "again", "lamp", "--strings", strings, *removed, *last)
        assert f"Sealed as pass {number}" in said, said[-600:]
    bench.run("gauge", "lamp", "third", "2", "0.25", "mm")
    said = bench.run("job", "compare", "lamp")
    bench.run("job", "report", "lamp", "--to", tmp_path / "lamp.html", "--for", "player", "--signature")
    bench.run("job", "export", "lamp", "--to", tmp_path / "lamp.zip")
    bench.run("job", "verify", "lamp")
    assert len(bench.log) <= MOST_COMMANDS
    print("\n".join(bench.log))
    assert verify_job(job).sound
    page = (tmp_path / "lamp.html").read_text(encoding="utf-8")
    assert "not heard" not in page
    assert "Strings 1, 3, 4 and 6 were heard once" in page
    for string, spec in enumerate(bench.truth.strings, 1):  # nothing ended below its floor
        assert spec.slot_height_mm > 0.05, string
