"""Strings off their notes alike: seen in pitches, measured as tuned, and not seen where there is none."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from helpers.folders import FIXTURES
from pitchcheck.instrument import Instrument
from pitchcheck.physics.materials import string_constants
from pitchcheck.retuning import common_offset, retune
from pitchcheck.session.presets import get_preset
from pitchcheck.tuning import shift_note
from pitchcheck.units import cents_between
from pitchcheck.workflow.measure import measure_folder

SEMITONE = 2 ** (1 / 12)


def instrument() -> Instrument:
    preset = get_preset("electric")
    return Instrument(kind="electric", scale_mm=648.0, strings=preset.strings)


def opens(*cents: float) -> dict[int, list[float]]:
    made = instrument()
    return {
        spec.number: [spec.nominal_hz * 2 ** (c / 1200)] for spec, c in zip(made.strings, cents, strict=True)
    }


def test_an_offset_is_what_most_strings_share() -> None:
    assert common_offset(opens(-98, -103, -100, -95, -100, -101), instrument=instrument()) == pytest.approx(
        -100, abs=2
    )
    assert common_offset(opens(-98, -103, -100, -95, -100, 4), instrument=instrument()) == pytest.approx(
        -100, abs=2
    )
    for none in (
        (0, 3, -4, 2, 5, 1),  # in tune
        (-100, 0, 2, -3, 1, -100),  # two strings wrong, the others right
        (-100, 100, -200, 300, 20, -20),  # nothing in common
        (-1200, -1200, -1200, -1200, -1200, -1200),  # an octave: not these strings
    ):
        assert common_offset(opens(*none), instrument=instrument()) is None
    assert common_offset({}, instrument=instrument()) is None


@pytest.mark.parametrize("cents", [-500.0, -200.0, -100.0, -45.0, 32.0, 100.0])
def test_a_retuned_instrument_has_the_pitches_and_the_tension(cents: float) -> None:
    made, tuned = instrument(), retune(instrument(), cents)
    for before, after in zip(made.strings, tuned.strings, strict=True):
        assert cents_between(before.nominal_hz, after.nominal_hz) == pytest.approx(cents, abs=0.1)
        tension = [string_constants(s, scale_mm=648.0).tension_n for s in (before, after)]
        # tension goes with the square of the pitch (Mersenne)
        assert tension[1] / tension[0] == pytest.approx(2 ** (cents / 600), rel=1e-3)


def test_names_go_down_flat_and_up_sharp() -> None:
    assert [shift_note(n, -1) for n in ("E4", "B3", "G3", "C4")] == ["Eb4", "Bb3", "Gb3", "B3"]
    assert [shift_note(n, 1) for n in ("E4", "A2", "B3")] == ["F4", "A#2", "C4"]


def test_a_folder_a_semitone_down_is_measured_and_said(tmp_path: Path) -> None:
    """The same cents above every open string, all a semitone lower, where every press sharpens more."""
    here = FIXTURES / "session-readings"
    (tmp_path / "session.toml").write_bytes((here / "session.toml").read_bytes())
    with (here / "readings.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    with (tmp_path / "readings.csv").open("w", encoding="utf-8", newline="") as file:
        out = csv.DictWriter(file, rows[0].keys())
        out.writeheader()
        out.writerows({**row, "hz": str(float(row["hz"]) / SEMITONE)} for row in rows)
    down, plain = measure_folder(tmp_path), measure_folder(here)
    assert any("cents flat of their notes" in notice for notice in down.notices)
    assert all(take.used for take in down.takes)
    for a, b in zip(down.settings.instrument.strings, plain.settings.instrument.strings, strict=True):
        assert cents_between(b.nominal_hz, a.nominal_hz) == pytest.approx(-100, abs=5)
    heights = [[s.height_mm.median for s in m.plan.strings if s.height_mm is not None] for m in (down, plain)]
    assert len(heights[0]) == len(heights[1]) > 0
    # slacker steel stretches 12 % more for the same press: the same cents then mean a lower slot
    assert np.all(np.array(heights[0]) < np.array(heights[1]))
