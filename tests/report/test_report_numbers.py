"""Printed numbers: rounded once, never across a limit, and never a removal that is rounded up."""

from __future__ import annotations

import re
from decimal import ROUND_HALF_EVEN, Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitchcheck.fit.belief import Belief
from pitchcheck.words import numbers

THOU_MM = Decimal("0.0254")  # one thousandth of an inch: 1 in = 25.4 mm exactly (international inch, 1959)
LENGTHS = st.floats(min_value=-2.0, max_value=5.0)
LIMIT = st.floats(min_value=0.0, max_value=2.0)
BINARY = Decimal("1e-9")  # mm or thou: binary fractions such as 0.15 lie this close to their decimal names


def read_back(text: str) -> float:
    """The number a reader takes from a printed value."""
    found = re.search(r"[−+]?\d+\.\d+", text)
    assert found is not None
    return float(found[0].replace("−", "-"))


@given(LENGTHS)
def test_without_limits_it_is_plain_decimal_rounding(value: float) -> None:
    expected = Decimal(value).quantize(
        Decimal("0.01"), rounding=ROUND_HALF_EVEN
    )  # decimal: reference library
    assert read_back(numbers.rounded(value, decimals=2)) == float(expected)


@given(LIMIT, st.floats(min_value=-0.02, max_value=0.02))
def test_a_value_never_prints_on_the_wrong_side_of_a_limit(limit: float, off: float) -> None:
    value = limit + off
    text = numbers.rounded(value, decimals=2, limits=[limit])
    shown, edge = read_back(text), read_back(numbers.rounded(limit, decimals=2))
    if value < limit - 1e-9:
        assert shown < edge or (shown == edge and text.startswith("just under"))
    elif value > limit + 1e-9:
        assert shown > edge or (shown == edge and text.startswith("just over"))


@pytest.mark.parametrize(
    ("value", "limit", "text"),
    [
        (0.4999, 0.50, "just under 0.50"),
        (0.5001, 0.50, "just over 0.50"),
        (0.5000, 0.50, "0.50"),  # on the limit is the limit
        (0.1510, 0.1524, "just under 0.15"),  # both would print 0.15
        (0.1449, 0.1524, "0.14"),
        (-0.001, 0.0, "just under 0.00"),
        (0.52, 0.50, "0.52"),
    ],
)
def test_near_misses(value: float, limit: float, text: str) -> None:
    assert numbers.rounded(value, decimals=2, limits=[limit]) == text


def test_nought_has_no_sign() -> None:
    assert numbers.rounded(-0.001, decimals=2) == "0.00"
    assert numbers.cents(-0.01) == "+0.0 cents"


@given(st.floats(min_value=0.0, max_value=2.0))
def test_a_removal_is_never_printed_larger_than_it_is(amount_mm: float) -> None:
    in_mm, in_thou = (Decimal(x) for x in re.findall(r"\d+\.\d+", numbers.removal(amount_mm)))
    assert in_mm <= Decimal(amount_mm) + BINARY
    assert in_thou * THOU_MM <= Decimal(amount_mm) + BINARY
    assert Decimal(amount_mm) - in_mm < Decimal("0.01") + BINARY
    assert Decimal(amount_mm) / THOU_MM - in_thou < Decimal("0.1") + BINARY


def test_the_plans_own_steps_of_0_05_mm_print_whole() -> None:
    assert [numbers.removal(k * 0.05).split(" ")[0] for k in range(1, 11)] == [
        "0.05", "0.10", "0.15", "0.20", "0.25", "0.30", "0.35", "0.40", "0.45", "0.50",
    ]  # fmt: skip


def test_a_measured_length_shows_both_units_and_its_interval() -> None:
    # 1.645 standard deviations hold 90 % of a normal distribution (any table of it)
    text = numbers.measured(Belief.normal(0.508, 0.04))
    assert text == "0.51 mm (20.0 thou), 90 % sure between 0.44 and 0.57 mm"
    assert numbers.measured(None) == "not measured"


def test_one_cent_is_singular() -> None:
    assert numbers.cents(1.0) == "+1.0 cent"
    assert numbers.cents(-2.25) == "−2.2 cents"
    assert numbers.cents_with_sd(3.21, 0.42) == "+3.2 ± 0.4 cents"
