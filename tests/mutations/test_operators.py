"""The faults that are made are the ones meant; the list of equivalent ones has reasons and is not stale."""

from __future__ import annotations

import ast

import pytest

from helpers.imports import ROOT

from . import listing
from .operators import mutants, of_source
from .runs import NEAR


@pytest.mark.parametrize(
    ("source", "expected"),
    [
        ("a - b", {"(a + b)", "a"}),
        ("a * b", {"a", "b"}),
        ("-a", {"a"}),
        ("a < b", {"(a >= b)"}),
        ("a and b", {"(a or b)", "a", "b"}),
        ("0.5", {"0.6", "0.4"}),
        ("20", {"24", "16"}),
        ("min(a, b)", {"max(a, b)"}),
        ("np.floor(a)", {"np.ceil(a)"}),
        ("name.casefold()", {"name"}),
        ("True", {"False"}),
        ("if a:\n    raise ValueError('b')", {"False"}),
        ("x: int = a", set()),
        ("f'{a - b}'", set()),
        ("a[1:3]", set()),
        ("'a' + b", set()),
        ("1e-12", set()),
    ],
)
def test_one_expression_is_changed_at_a_time(source: str, expected: set[str]) -> None:
    found = of_source(source.encode(), "x.py")
    assert {m.becomes for m in found} == expected
    for mutant in found:
        assert ast.dump(ast.parse(mutant.applied(source.encode()))) != ast.dump(ast.parse(source))


def test_letters_of_several_bytes_before_a_fault_shift_nothing() -> None:
    source = "f('ü', a - b)  # ä".encode()
    assert {m.applied(source).decode() for m in of_source(source, "x.py")} == {
        "f('ü', (a + b))  # ä",
        "f('ü', a)  # ä",
    }


def test_equivalent_faults_have_a_reason_and_still_exist() -> None:
    every = mutants(ROOT, tuple(NEAR))
    for entry in listing.equivalents():
        assert len(entry["why"]) > 20, entry
        assert any(listing.reason(mutant, [entry]) for mutant in every), f"no such fault any more: {entry}"
