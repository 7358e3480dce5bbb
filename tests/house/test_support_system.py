"""The helper that skips a test for want of a system part must skip, fail or find, each at its time."""

from __future__ import annotations

import sys

import pytest

from helpers import system as support_system
from helpers.system import PARTS, Part, needs


@pytest.fixture
def lost(monkeypatch: pytest.MonkeyPatch) -> str:
    monkeypatch.setitem(PARTS, "lost", Part(lambda: None, "lost-package"))
    return "lost"


def test_a_missing_part_skips_with_the_package_on_a_users_machine(
    lost: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("CI", raising=False)
    with pytest.raises(pytest.skip.Exception, match="lost-package"):
        needs(lost)


def test_a_missing_part_fails_in_ci(lost: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CI", "true")
    with pytest.raises(pytest.fail.Exception, match=r"lost-package.*\.ci/run"):
        needs(lost)


def test_a_part_that_is_there_is_returned(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(PARTS, "python", Part(lambda: sys.executable, "python3"))
    assert needs("python") == sys.executable


def test_every_part_is_installed_by_ci() -> None:
    script = (support_system.Path(__file__).parents[2] / ".ci" / "run").read_text(encoding="utf-8")
    needed = {part.package for part in PARTS.values() if not part.package.startswith("none")}
    assert [package for package in needed if package not in script] == []
