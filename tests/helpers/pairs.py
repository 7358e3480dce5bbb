"""Pairs of passes whose true change is known: by the simulator, and by independent finite elements.

Conventions: mm and cents. Every pass is played afresh: touch, rod, friction, drift and reading are new,
the instrument stays. The second kind takes the presses of an instrument of ``fixtures/thorough`` (made by
independent code, with its own idea of a hand): the first two of each place are the pass before, the next two
the pass after. What was filed off between them is put in by ``beam_oracle``, which shares no code with the
package.
"""

from __future__ import annotations

import csv
import json
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np

from bench.fit_bench import load
from helpers.instruments import READING_CENTS, random_instrument
from oracles.beam import Neck, extra_path_mm
from pitchcheck.course import Thoroughness, survey_positions
from pitchcheck.instrument import SessionSettings
from pitchcheck.measurement import Measurement
from pitchcheck.physics.materials import string_constants
from pitchcheck.plan import make_plan
from pitchcheck.session.folder import read_session
from pitchcheck.simulate.instrument import InstrumentTruth
from pitchcheck.simulate.player import Played, play
from pitchcheck.survey import build_survey
from pitchcheck.takes import Position, Stop, Take
from pitchcheck.units import CENTS_PER_LOG, CENTS_PER_OCTAVE

STEEL = ("electric", "acoustic", "bass")
ANOTHER_DAY_FORCE = 0.15  # [-] sd of the usual touch from one pass to the next
STIFFNESS_ERROR = 0.03  # [-] of a B read from one pluck
ROD_HALF_MM = 0.75  # [mm] of the oracle's rod; what was filed hardly hangs on it
FINGER_BEHIND_MM = 9.0
FINGER_N = 7.0  # [N] of the oracle's finger; fretted notes hardly tell a change
TAIL_MM = 60.0


@dataclass(frozen=True)
class Pair:
    """Two passes and how far each slot really moved. [mm]"""

    name: str
    before: Measurement
    after: Measurement
    change_mm: dict[int, float]


def measured(settings: SessionSettings, takes: Sequence[Take]) -> Measurement:
    """What a comparison needs of a pass; its own fit is left out because it takes time."""
    return Measurement(
        settings, tuple(takes), build_survey(takes), None, (), make_plan(settings, None, ()), ()
    )


def simulated_pair(
    kind: str,
    rng: np.random.Generator,
    *,
    removed_mm: float,
    protocol: Thoroughness = Thoroughness.FULL,
    rougher: float = 1.0,
) -> Pair:
    """An instrument drawn from the beliefs of the fit, played twice; every slot loses as much between.

    ``rougher`` multiplies the scatter of the hand.
    """
    settings, _, truth = random_instrument(kind, rng, protocol)
    positions = survey_positions([s.number for s in settings.instrument.strings], thoroughness=protocol)
    hand = replace(
        truth.hand,
        force_sd=truth.hand.force_sd * rougher,
        rod_sd_mm=truth.hand.rod_sd_mm * rougher,
        slide_sd=truth.hand.slide_sd * rougher,
    )
    filed = lowered(truth.instrument, removed_mm)
    another = replace(hand, force_n=hand.force_n * math.exp(ANOTHER_DAY_FORCE * rng.standard_normal()))
    first = read_all(rng, play(rng, truth=truth.instrument, hand=hand, positions=positions))
    second = read_all(rng, play(rng, truth=filed, hand=another, positions=positions))
    change = {s.number: -removed_mm for s in settings.instrument.strings}
    return Pair(f"simulated {kind}", measured(settings, first), measured(settings, second), change)


def lowered(truth: InstrumentTruth, removed_mm: float) -> InstrumentTruth:
    """The same instrument, its slots filed and its strings in tune again; the saddle stays."""
    return replace(
        truth,
        strings=tuple(
            replace(
                s,
                slot_height_mm=s.slot_height_mm - removed_mm,
                action_12_mm=s.action_12_mm - removed_mm / 2,
            )
            for s in truth.strings
        ),
    )


def read_all(rng: np.random.Generator, notes: Sequence[Played]) -> tuple[Take, ...]:
    """Readings with their noise."""
    takes = []
    for row, note in enumerate(notes, start=1):
        hz = note.hz * 2 ** (READING_CENTS * rng.standard_normal() / CENTS_PER_OCTAVE)
        b = note.inharmonicity * math.exp(STIFFNESS_ERROR * rng.standard_normal())
        takes.append(Take(row, None, note.position, hz, READING_CENTS, float(row), b, STIFFNESS_ERROR * b))
    return tuple(takes)


def finite_element_pair(folder: Path, rng: np.random.Generator, *, removed_mm: float) -> Pair:
    """A steel instrument of ``fixtures/thorough`` as two passes of the ``full`` protocol's presses."""
    known = load(folder, rng)
    first, second = _two_passes(known.takes)
    if removed_mm:
        moved = filed_cents(folder, removed_mm)
        second = [_moved(take, moved) for take in second]
    change = dict.fromkeys(known.heights_mm, -removed_mm)
    return Pair(known.name, measured(known.settings, first), measured(known.settings, second), change)


def _two_passes(takes: Sequence[Take]) -> tuple[list[Take], list[Take]]:
    """Presses 1 and 2: the first two of each before, the next two after; fret 1 once each.

    Other frets were played once and stay before; no take is in both passes but the open ones.
    """
    seen: dict[Position, int] = {}
    first, second = [], []
    for take in takes:
        place = take.position
        if place.stop is Stop.OPEN:
            first.append(take)
            second.append(take)
            continue
        seen[place] = count = seen.get(place, 0) + 1
        repeated = 2 if place.stop is Stop.PRESS else 1
        if place.stop is Stop.PRESS and place.fret not in (1, 2):
            continue
        if count <= 2 * repeated:
            (first if count <= repeated else second).append(take)
    return first, second


def _moved(take: Take, cents: dict[tuple[int, Stop, int | None], float]) -> Take:
    """The take as it would have sounded with the slot filed."""
    place = take.position
    if place.stop is Stop.OPEN or take.hz is None:
        return take
    return replace(take, hz=take.hz * 2 ** (cents[place.string, place.stop, place.fret] / CENTS_PER_OCTAVE))


@cache
def filed_cents(folder: Path, removed_mm: float) -> dict[tuple[int, Stop, int | None], float]:
    """How much filing moves presses 1 and 2 and fret 1 of every string, by finite elements. [cent]"""
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    with (folder / "readings.csv").open(encoding="utf-8", newline="") as file:
        inharmonicity = {int(r["string"]): float(r["B"]) for r in csv.DictReader(file) if r["stop"] == "open"}
    instrument = read_session(folder).settings.instrument
    assert instrument.action_12 is not None
    found = {}
    for number, b in inharmonicity.items():
        string = truth["strings"][str(number)]
        height, scale = string["slot_height_mm"], instrument.scale_mm
        neck = Neck(
            scale_mm=scale,
            slot_mm=height,
            saddle_mm=2 * instrument.action_12.value_mm - height,
            fret_mm=truth["fret_height_mm"],
            tail_mm=TAIL_MM,
            nut_break_rad=truth["nut_break_rad"],
        )
        kappa = string["EA_over_T"] * scale / (scale + truth["tail_mm"])
        bend = scale * math.sqrt(b) / math.pi
        tension = string_constants(instrument.string(number), scale_mm=scale).tension_n
        for stop, fret in ((Stop.PRESS, 1), (Stop.PRESS, 2), (Stop.FRET, 1)):
            logs = [
                _log_hz(replace(neck, slot_mm=at), bend, kappa, stop, fret, tension)
                for at in (height, height - removed_mm)
            ]
            found[number, stop, fret] = CENTS_PER_LOG * (logs[1] - logs[0])
    return found


def _log_hz(neck: Neck, bend_mm: float, kappa: float, stop: Stop, fret: int, tension_n: float) -> float:
    """Logarithm of a stopped note over its open string, but for a constant."""
    start, end = (neck.fret_place(n) for n in (fret - 1, fret))
    held: tuple[tuple[float, float], ...] = ()
    loads = held
    if stop is Stop.PRESS:
        middle = (start + end) / 2
        held = tuple((middle + side * ROD_HALF_MM, -neck.fret_mm) for side in (-1.0, 1.0))
    else:
        loads = ((end - FINGER_BEHIND_MM, FINGER_N / tension_n),)
    path = extra_path_mm(neck, stiffness_mm=bend_mm, held=held, loads=loads, element_mm=2.0)
    return (math.log1p(kappa * path / neck.scale_mm) + math.log1p(path / neck.scale_mm)) / 2
