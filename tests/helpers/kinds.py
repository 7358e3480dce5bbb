"""Kinds of instrument played on some strings only, from simulated sound to slot heights.

A careful hand; every string is simulated on its own scale length, so short and fanned strings are too.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from soundfile import write as write_sound

from helpers.memo_player import RATE_HZ
from pitchcheck.instrument import Instrument
from pitchcheck.judgement import Verdict, slot_goal
from pitchcheck.measurement import Measurement
from pitchcheck.session.memo_folder import memo_takes_text
from pitchcheck.session.new_folder import settings_of_kind
from pitchcheck.session.rows import TakeRow
from pitchcheck.session.settings import parse_settings
from pitchcheck.simulate.body import random_body
from pitchcheck.simulate.instrument import InstrumentTruth, string_truth
from pitchcheck.simulate.player import Hand, play
from pitchcheck.simulate.room import Room
from pitchcheck.simulate.voice import Voice, sound_of
from pitchcheck.takes import Position, Stop
from pitchcheck.types import FloatArray
from pitchcheck.workflow import measure_folder

HOME = ((Stop.OPEN, None), (Stop.PRESS, 1), (Stop.PRESS, 2), (Stop.PRESS, 1), (Stop.OPEN, None))
LONG_S = 2.2
HIGH_MM = 0.5


@dataclass(frozen=True)
class Measured:
    """What was said, and the true heights by string. [mm]"""

    said: Measurement
    true_mm: dict[int, float]

    def errors_mm(self) -> dict[int, float]:
        found = {p.number: p.height_mm for p in self.said.plan.strings if p.height_mm is not None}
        return {n: found[n].median - true for n, true in self.true_mm.items()}

    def held(self) -> list[bool]:
        found = {p.number: p.height_mm for p in self.said.plan.strings if p.height_mm is not None}
        return [found[n].low <= true <= found[n].high for n, true in self.true_mm.items()]

    def verdict(self, number: int) -> Verdict:
        return next(p.verdict for p in self.said.plan.strings if p.number == number)


def measured(text: str, true_mm: dict[int, float], folder: Path, *, seed: int) -> Measured:
    """Play some strings of the instrument a settings file describes, and measure it."""
    rng = np.random.default_rng(seed)
    instrument = parse_settings(text, name="own").settings.instrument
    sounds: list[FloatArray] = []
    rows: list[TakeRow] = []
    voice = Voice(random_body(rng, pull_cents=0.5), Room(), RATE_HZ, LONG_S)
    for number, height_mm in true_mm.items():
        alone, truth = one_string(instrument, number, height_mm)
        places = [Position(number, *place) for place in HOME]
        for note in play(rng, truth=truth, hand=Hand(), positions=places):
            start_s = len(rows) * LONG_S
            sounds.append(sound_of(rng, played=note, instrument=alone, truth=truth, voice=voice).samples)
            rows.append(TakeRow(len(rows) + 1, "all.wav", note.position, start_s + 0.02, start_s + LONG_S))
    folder.mkdir()
    write_sound(folder / "all.wav", np.concatenate(sounds), RATE_HZ)
    (folder / "takes.csv").write_text(memo_takes_text(rows), encoding="utf-8")
    (folder / "session.toml").write_text(text, encoding="utf-8")
    return Measured(measure_folder(folder, workers=1), true_mm)


def one_string(instrument: Instrument, number: int, height_mm: float) -> tuple[Instrument, InstrumentTruth]:
    """Return an instrument of one string on its own scale length, as described and as it is."""
    spec = replace(instrument.string(number), scale_mm=None, nut_at_fret=0)
    alone = replace(instrument, scale_mm=instrument.string_scale_mm(number), strings=(spec,))
    string = string_truth(alone, number, slot_height_mm=height_mm, tail_mm=60.0)
    return alone, InstrumentTruth(alone.scale_mm, (string,), 1.0, (0.0,) * 4, 0.0, 0.15, 0.12)


def measure_kind(name: str, folder: Path, *, seed: int) -> Measured:
    """Measure the outer strings of a kind: the first slot at its target, the last 0.5 mm above it."""
    text = settings_of_kind(name)
    settings = parse_settings(text, name=name).settings
    last = len(settings.instrument.strings)
    true = {n: slot_goal(settings, n).target_mm + more for n, more in ((1, 0.0), (last, HIGH_MM))}
    return measured(text, true, folder, seed=seed)
