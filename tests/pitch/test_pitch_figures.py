"""Figures of docs/accuracy-pitch.md that are cheap enough to be made again in CI."""

from __future__ import annotations

import pytest

from bench.bench_pitch_figures import main
from helpers import marks


@pytest.mark.slow
@pytest.mark.parametrize("table", ["surveys", "bound"])
def test_the_document_says_what_the_code_gives(table: str) -> None:
    assert main([table, "--check"]) == 0


def test_tables_agree_to_a_unit_of_the_last_place() -> None:
    assert marks.agree("| a | 0.12 | +3 % |", "| a | 0.13 | 3 % |")
    assert not marks.agree("| a | 0.12 |", "| a | 0.14 |")
    assert not marks.agree("| a | 0.12 |", "| b | 0.12 |")
    assert not marks.agree("| a | 12 |", "| a | 12 | 3 |")
