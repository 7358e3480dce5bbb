"""What one more take costs once every sound was heard: the survey is fitted anew, within a second.

Processor time of this thread, best of three, so that a busy machine does not count. Measured 0.36 s (six
strings, full course and a run more) and 0.22 s (third pass of a job) where this was written.
"""

from __future__ import annotations

import time
from pathlib import Path

from fe_bench.sessions import course, listen, write
from fe_bench.single import Case, player_of
from pitchcheck.workflow import measure_folder

LIMIT_S = 1.0  # asked for


def seconds(folder: Path) -> float:
    def once() -> float:
        begun = time.thread_time()
        measure_folder(folder)
        return time.thread_time() - begun

    return min(once() for _ in range(3))


def test_one_more_take_is_measured_within_a_second(tmp_path: Path) -> None:
    player = player_of(Case("electric", 3, course="full"))
    numbers = [s.number for s in player.truth.strings]
    heard = listen(player, course("full", numbers))
    heard += listen(player, course("short", [6]))
    write(tmp_path / "session", player.truth, heard)
    assert seconds(tmp_path / "session") < LIMIT_S


def test_so_is_the_third_pass_of_a_job(tmp_path: Path) -> None:
    player = player_of(Case("electric", 3, course="presses"))
    numbers = [s.number for s in player.truth.strings]
    before = None
    for turn in range(3):
        heard = listen(player, course("presses", numbers))
        write(tmp_path / f"pass-{turn}", player.truth, heard, before=before)
        before = f"../pass-{turn}"
        for number in numbers:
            player.file(number, 0.1)
    assert seconds(tmp_path / "pass-2") < LIMIT_S
