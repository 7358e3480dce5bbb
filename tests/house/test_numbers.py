"""The register of numbers is that of the code: none changes unseen, none is without a place in it."""

from __future__ import annotations

from helpers import marks
from helpers.chosen_numbers import numbers, table


def test_the_register_and_the_code_agree() -> None:
    register = marks.cut("numbers.md", "numbers")[1].splitlines()
    code = table().splitlines()
    changed = [f"- {line}" for line in register if line not in code]
    changed += [f"+ {line}" for line in code if line not in register]
    assert changed == [], "PYTHONPATH=tests python -m helpers.chosen_numbers --write writes it anew"
    assert register == code


def test_numbers_are_found_with_their_words() -> None:
    found = {(n.file, n.name): n for n in numbers()}
    worth = found["plan/removal.py", "WORTH_BELIEF"]
    assert (worth.value, worth.words) == ("0.9", "[-] belief that a slot is worth filing: definition")
    assert ("diagnosis/limits.py", "DiagnosisLimits.alarm") in found
    assert sum(bool(n.words) for n in found.values()) > 0.7 * len(found)
