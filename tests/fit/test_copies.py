"""Rows copied within one pass count once; takes that agree because their digits are few do not suffer."""

from __future__ import annotations

import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fe_bench.sessions import Heard, course, listen, write
from fe_bench.single import Case, player_of
from pitchcheck.doubts import CopyOf
from pitchcheck.measurement import Measurement
from pitchcheck.workflow import measure_folder

PLAYER = player_of(Case("electric", 7, course="presses"))
HEARD = listen(PLAYER, course("presses", [s.number for s in PLAYER.truth.strings]))
TIMES = 20


def measured(heard: list[Heard]) -> Measurement:
    with tempfile.TemporaryDirectory() as home:
        write(Path(home) / "session", PLAYER.truth, heard)
        return measure_folder(Path(home) / "session")


def widths(measurement: Measurement) -> list[float]:
    assert measurement.fit is not None
    return [s.height_mm.high - s.height_mm.low for s in measurement.fit.strings]


@pytest.mark.parametrize("how", ["rows", "blocks"])
def test_copies_count_once(how: str) -> None:
    """Each row twenty times, or the whole table: the same beliefs as from the table itself."""
    copied = [h for h in HEARD for _ in range(TIMES)] if how == "rows" else HEARD * TIMES
    got, plain = measured(copied), measured(HEARD)
    assert widths(got) == pytest.approx(widths(plain), rel=1e-6)
    said = [d for take in got.takes for d in take.doubts if isinstance(d, CopyOf)]
    assert len(said) == (TIMES - 1) * len(HEARD)
    rows = {take.row: take for take in got.takes}
    for take in got.takes:
        for first in (rows[d.row] for d in take.doubts if isinstance(d, CopyOf)):
            assert first.used
            assert not take.used
            assert (first.position, first.hz) == (take.position, take.hz)


def test_few_digits_are_no_copies() -> None:
    """Pitches to a tenth of a hertz, as some readers show them: every take of the bass strings counts."""
    coarse = [replace(h, hz=round(h.hz, 1)) for h in HEARD]
    assert not any(isinstance(d, CopyOf) for take in measured(coarse).takes for d in take.doubts)


def test_honest_repeats_are_no_copies() -> None:
    rng = np.random.default_rng(3)
    again = [replace(h, hz=h.hz * 2 ** (0.3 * float(rng.standard_normal()) / 1200)) for h in HEARD]
    assert all(take.used for take in measured([*HEARD, *again]).takes)
