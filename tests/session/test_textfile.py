"""Settings and courses with absurd numbers or nesting are refused in words."""

from __future__ import annotations

from pathlib import Path

import pytest

from helpers.folders import READINGS, SETTINGS, make_folder
from pitchcheck.errors import NothingMeasured
from pitchcheck.recorder.course_file import parse_course
from pitchcheck.session.folder import read_session
from pitchcheck.session.textfile import LARGEST_NUMBER, parse_toml

HUGE = "9" * 5000
STRANGE = [
    f"a = {HUGE}",
    f"a = 0x{HUGE}",
    f"a = -{HUGE}",
    f"a = [[1, {{b = {LARGEST_NUMBER + 1}}}]]",
    "a = " + "[" * 10**5,
]


@pytest.mark.parametrize("text", STRANGE)
def test_a_number_beyond_all_measure_is_no_settings(tmp_path: Path, text: str) -> None:
    with pytest.raises(ValueError, match=r"."):
        parse_toml(text)
    with pytest.raises(ValueError, match=r"."):
        parse_course(f"schema = 1\n{text}\n")
    folder = make_folder(tmp_path / "bench", settings=f"{text}\n{SETTINGS}", readings=READINGS)
    with pytest.raises(NothingMeasured, match="cannot be used"):
        read_session(folder)


def test_other_numbers_are_read() -> None:
    assert parse_toml(f"a = {LARGEST_NUMBER}\nb = 1.5\nc = true") == {
        "a": LARGEST_NUMBER,
        "b": 1.5,
        "c": True,
    }
