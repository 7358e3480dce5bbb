"""Every kind of instrument from simulated sound to slot heights: what is planted is known."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from helpers.kinds import Measured, measure_kind, measured
from pitchcheck.instrument import Nut
from pitchcheck.judgement import Verdict
from pitchcheck.session.new_folder import settings_of_kind
from pitchcheck.session.presets import presets

FAR_MM = 0.30  # no height is farther off: three times the spread of two strings alone on an unknown board
HELD = 0.8  # of some forty 90 % intervals: fewer in one of sixty honest runs
NAMES = [preset.name for preset in presets()]


@pytest.fixture(scope="module")
def kinds(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Measured]:
    home = tmp_path_factory.mktemp("kinds")
    found = {}
    for seed, name in enumerate(NAMES):
        found[name] = measure_kind(name, home / f"{seed:02d}", seed=seed)
    return found


@pytest.mark.slow
def test_every_kind_is_measured_from_sound_to_height(kinds: dict[str, Measured]) -> None:
    for name, one in kinds.items():
        print(name, {n: round(e, 3) for n, e in one.errors_mm().items()}, one.held())
        assert all(take.used for take in one.said.takes), name
        assert max(map(abs, one.errors_mm().values())) < FAR_MM, name
        assert one.verdict(1) is not Verdict.HIGH, name
        assert one.verdict(max(one.true_mm)) is not Verdict.LOW, name
    held = [hit for one in kinds.values() for hit in one.held()]
    assert np.mean(held) >= HELD


@pytest.mark.slow
def test_a_zero_fret_in_the_plane_of_the_others_is_fine(tmp_path: Path) -> None:
    """Its target is the fret plane, and it is never filed."""
    text = settings_of_kind("electric").replace('nut = "slotted"', 'nut = "zero_fret"')
    one = measured(text, {1: 0.0, 6: 0.0}, tmp_path / "zero", seed=7)
    assert one.said.settings.instrument.nut is Nut.ZERO_FRET
    assert max(map(abs, one.errors_mm().values())) < FAR_MM
    for plan in one.said.plan.strings:
        if plan.number in one.true_mm:
            assert plan.target_mm == pytest.approx(0.0, abs=1e-9)
            assert plan.verdict not in (Verdict.LOW, Verdict.HIGH)
            assert plan.remove_now_mm == 0.0


@pytest.mark.slow
def test_fanned_frets_are_measured_on_each_strings_own_scale(tmp_path: Path) -> None:
    """635 mm under string 1 to 686 under string 6; one common scale would be off by 15 % in cents."""
    scales = dict(zip(range(1, 7), np.linspace(635.0, 686.0, 6), strict=True))
    parts = settings_of_kind("electric").split("[[strings]]\n")
    text = parts[0] + "".join(
        f'[[strings]]\nscale = "{scales[n]:.1f} mm"\n{part}' for n, part in enumerate(parts[1:], 1)
    )
    one = measured(text, {1: 0.6, 6: 0.8}, tmp_path / "fan", seed=8)
    assert max(map(abs, one.errors_mm().values())) < FAR_MM
    assert all(one.held())
