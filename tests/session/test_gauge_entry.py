"""Gauge readings added to a session folder by command: a correction takes the place of what it corrects."""

from __future__ import annotations

from pathlib import Path

import pytest

from pitchcheck.errors import BadValue
from pitchcheck.instrument import MeterReading
from pitchcheck.session.gauge_entry import add_gauge, parse_gauge
from pitchcheck.session.settings import read_settings
from pitchcheck.simulate.folder import session_text
from pitchcheck.simulate.scenario import demo_settings

OWN = """
[[meter]]  # with the good leaves
what = "clearance_third"
# twice
string = 6
value = "0.30 mm"
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "session.toml").write_text(session_text(demo_settings()) + OWN, encoding="utf-8")
    return tmp_path


def readings(folder: Path) -> list[tuple[int | None, float | None, float | None, float | None]]:
    found: tuple[MeterReading, ...] = read_settings(folder).settings.meter
    leaves = [r.passes_mm is not None or r.stops_mm is not None for r in found]
    return [
        (r.string, None if leaf else r.value_mm, r.passes_mm, r.stops_mm)
        for r, leaf in zip(found, leaves, strict=True)
    ]


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        (["third 6 0.34 mm"], [(6, 0.34, None, None)]),
        (["third 6 0.34 mm", "third 6 0.35 mm"], [(6, 0.35, None, None)]),
        (["third 5 0.34 mm"], [(6, 0.30, None, None), (5, 0.34, None, None)]),
        (["open 6 0.50 mm"], [(6, 0.30, None, None), (6, 0.50, None, None)]),
        (["third 6 passes 0.30 mm"], [(6, None, 0.30, None)]),
        (["third 6 passes 0.30 mm", "third 6 stops 0.40 mm"], [(6, None, 0.30, None), (6, None, None, 0.40)]),
        (["third 6 passes 0.30 mm stops 0.40 mm", "third 6 passes 0.35 mm"], [(6, None, 0.35, None)]),
    ],
)
def test_another_reading_of_the_same_takes_its_place(
    folder: Path, typed: list[str], kept: list[tuple[int, float | None, float | None, float | None]]
) -> None:
    before = (folder / "session.toml").read_text(encoding="utf-8")
    for text in typed:
        add_gauge(folder, parse_gauge(text))
    assert readings(folder) == kept
    after = (folder / "session.toml").read_text(encoding="utf-8")
    bare = [line.removeprefix("# ") for line in after.splitlines()]
    assert all(line.removeprefix("# ") in bare for line in before.splitlines())  # nothing is deleted


def test_it_says_whether_it_did(folder: Path) -> None:
    assert not add_gauge(folder, parse_gauge("relief 0.2 mm"))
    assert add_gauge(folder, parse_gauge("third 6 0.34 mm"))


def test_a_reading_that_is_refused_changes_nothing(folder: Path) -> None:
    before = (folder / "session.toml").read_bytes()
    with pytest.raises(BadValue):
        add_gauge(folder, parse_gauge("third 9 0.34 mm"))
    assert (folder / "session.toml").read_bytes() == before
