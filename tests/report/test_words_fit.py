"""What is to be settled is said with the take that settles it."""

from __future__ import annotations

import pytest

from pitchcheck.fit.result import Unsettled, UnsettledKind
from pitchcheck.words.fit import unsettled


@pytest.mark.parametrize(
    ("frets_mm", "again", "never"),
    # Presses that go too deep look like tall frets: the neck gives. Not down looks like low ones.
    [(2.0, "neck held under the rod", "all the way down"), (0.3, "all the way down", "neck")],
)
def test_frets_that_cannot_be_ask_for_the_press_that_tells_why(
    frets_mm: float, again: str, never: str
) -> None:
    said = unsettled(Unsettled(UnsettledKind.FRET_HEIGHT, (1, 2), expected_mm=frets_mm, sd_mm=0.1))
    assert again in said
    assert never not in said
    assert "before anything is filed" in said
