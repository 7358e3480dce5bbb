"""Readings kept beside the sound: the same sound is not heard twice, another is; the answer is the same."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from helpers.folders import FIXTURES
from pitchcheck.workflow import hear
from pitchcheck.workflow.hear import StringWork, read_string
from pitchcheck.workflow.kept_readings import KEPT
from pitchcheck.workflow.measure import measure_folder, quickly_measured

SOUND = FIXTURES / "session-sound"


@pytest.fixture
def heard(monkeypatch: pytest.MonkeyPatch) -> list[StringWork]:
    """What is really listened to."""
    found: list[StringWork] = []

    def listening(work: StringWork) -> list[tuple[int, object]]:
        found.append(work)
        return list(read_string(work))

    monkeypatch.setattr(hear, "read_string", listening)
    return found


def test_the_same_sound_is_heard_once_and_changed_sound_again(
    tmp_path: Path, heard: list[StringWork]
) -> None:
    folder = tmp_path / "bench"
    shutil.copytree(SOUND, folder)
    before = {path.name for path in folder.iterdir()}
    plain = measure_folder(folder)
    strings = len(heard)
    assert {path.name for path in folder.iterdir()} == before  # measuring alone writes nothing
    assert not quickly_measured(folder)
    measure_folder(folder, keep=True)
    assert len(heard) == 2 * strings
    assert quickly_measured(folder)
    again = measure_folder(folder)
    assert len(heard) == 2 * strings
    assert again.takes == plain.takes
    first, second = (one.plan.strings[0].clearance_third_mm for one in (plain, again))
    assert first is not None
    assert second is not None
    assert second.median == pytest.approx(first.median)
    row, other = heard[0].rows[:2]
    shutil.copyfile(folder / other.file, folder / row.file)  # another note under the name of the first
    changed = measure_folder(folder)
    assert len(heard) == 2 * strings + 1
    assert changed.takes[0].hz != plain.takes[0].hz
    (folder / KEPT).write_text("{")  # altered: heard anew
    measure_folder(folder)
    assert len(heard) == 3 * strings + 1
