"""Which everyday test runs which line, measured once.

``python -m tests.mutations.reach FOLDER DATA``: coverage of one folder or file of tests, the name of the
running test beside each line, and how long each test took, in files DATA/.coverage.FOLDER and
DATA/FOLDER.json.
"""

from __future__ import annotations

import json
import sys
from collections import defaultdict
from collections.abc import Generator
from pathlib import Path

import coverage
import pytest

ROOT = Path(__file__).parents[2]


class Watch:
    """Tells coverage which test is running, and keeps the seconds of each."""

    def __init__(self, measured: coverage.Coverage) -> None:
        self._measured = measured
        self.seconds: defaultdict[str, float] = defaultdict(float)

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Generator[None, object, object]:
        self._measured.switch_context(item.nodeid)
        answer = yield
        self._measured.switch_context("")
        return answer

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        self.seconds[report.nodeid] += report.duration


def main(folder: str, data: Path) -> int:
    """Run the folder's everyday tests; the exit status is pytest's."""
    name = folder.replace("/", "-")
    measured = coverage.Coverage(
        data_file=str(data / f".coverage.{name}"), source=[str(ROOT / "pitchcheck")], config_file=False
    )
    measured.start()
    watch = Watch(measured)
    options = ["-n", "0", "-p", "no:cacheprovider", "--hypothesis-profile=ci"]
    status = pytest.main([*options, f"{ROOT}/tests/{folder}"], plugins=[watch])
    measured.stop()
    measured.save()
    (data / f"{name}.json").write_text(json.dumps(watch.seconds), encoding="utf-8")
    return int(status)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1], Path(sys.argv[2])))
