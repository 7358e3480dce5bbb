"""Tries faults in a throwaway copy of the project, with the everyday tests that run the faulty line.

Which tests those are is measured once (``reach``). The quickest come first and the first failure ends a
trial, so a fault is usually caught within seconds. A trial is a fork of a process that has the libraries
loaded already. It ends after so much processor time whatever happens, and when nothing is computed for a
while: a fault that makes the tests hang is caught, not waited for.
"""

from __future__ import annotations

import ast
import contextlib
import functools
import itertools
import json
import os
import resource
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from threading import Event, Thread

from .operators import Mutant

ROOT = Path(__file__).parents[2]
COPIED = (
    "pitchcheck",
    "tests",
    "fixtures",
    "docs",
    "README.md",
    "DEVELOPERS.md",
    "LICENSE",
    "pyproject.toml",
)
# Folders of tests that know a package's truth; a trial may run all of them or these alone.
NEAR = {
    "physics": ("physics", "oracles", "fe_bench", "fit", "plan", "diagnosis"),
    "fit": ("fit", "physics", "plan", "diagnosis", "fe_bench"),
    "plan": ("plan", "diagnosis", "fit", "cli"),
    "diagnosis": ("diagnosis", "plan", "fit", "cli"),
    "pitch": ("pitch", "guide", "memo", "cli"),
    "compare": ("compare", "jobs", "report"),
    "jobs": ("jobs", "report"),
}
FOLDERS = tuple(sorted({folder for near in NEAR.values() for folder in near} | {"session"}))
NOT_FOUND = 4  # pytest's status where a test is not there, or the tests' own beginnings cannot be imported
LIMIT_S = 400  # [s] of processor time a trial: twice what the longest choice of tests takes
IDLE_S = 90  # [s] in which a trial that works computes for a tenth of a second at least, on a busy machine
_LIBRARIES = ("numpy", "scipy.optimize", "scipy.signal", "scipy.stats", "librosa", "pytest")


@dataclass(frozen=True)
class Trial:
    """What became of one fault. ``by`` is the test that failed first, "" where none did."""

    mutant: Mutant
    caught: bool
    by: str
    tests: int  # how many were chosen


def copy_project(place: Path) -> Path:
    """A copy of what the tests need, without compiled files."""
    place.mkdir(parents=True)
    for name in COPIED:
        source = ROOT / name
        if source.is_dir():
            shutil.copytree(source, place / name, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copy2(source, place / name)
    return place


def compile_tests(place: Path) -> None:
    """Keep the compiled form of everything in the copy: a trial compiles the faulty file alone."""
    command = [sys.executable, "-m", "pytest", "--collect-only", "-q", "-n", "0", "tests"]
    environment = {key: value for key, value in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}
    subprocess.run(
        command,
        cwd=place,
        env=environment | {"PYTHONPATH": str(place)},
        check=True,
        stdout=subprocess.DEVNULL,
    )


def measure_reach(data: Path, folders: Sequence[str] = FOLDERS) -> None:
    """Run the everyday tests of these folders under coverage, one data file a folder."""
    data.mkdir(parents=True, exist_ok=True)
    for folder in folders:
        command = [sys.executable, "-m", "tests.mutations.reach", folder, str(data)]
        subprocess.run(command, cwd=ROOT, check=True)


class Reach:
    """Which tests run a line."""

    def __init__(self, data: Path) -> None:
        from coverage import CoverageData

        self._tests: dict[str, dict[int, set[str]]] = {}
        self._seconds: dict[str, float] = {}
        for file in sorted(data.glob(".coverage.*")):
            read = CoverageData(basename=str(file))
            read.read()
            for measured in read.measured_files():
                name = "pitchcheck" + measured.replace("\\", "/").rpartition("/pitchcheck")[2]
                lines = self._tests.setdefault(name, {})
                for line, contexts in read.contexts_by_lineno(measured).items():
                    lines.setdefault(line, set()).update(context for context in contexts if context)
        for file in sorted(data.glob("*.json")):
            self._seconds |= json.loads(file.read_text(encoding="utf-8"))

    def tests(self, mutant: Mutant, place: Path, *, near_only: bool, most_s: float) -> list[str]:
        """Those that run the faulty line; where it runs on import, any of the module or of its own folder.

        Quickest first.

        At most so many as took ``most_s`` together when the reach was measured.
        """
        lines = self._tests.get(mutant.path, {})
        source = (place / mutant.path).read_text(encoding="utf-8")
        last = mutant.line + source.encode()[mutant.start : mutant.end].count(b"\n")
        found = set[str]().union(*(lines.get(i, set()) for i in range(mutant.line, last + 1)))
        if not found or not _in_function(
            mutant.line, source
        ):  # what imports a module first runs its constants
            own = f"tests/{mutant.path.split('/')[1].removesuffix('.py')}/"
            found = {test for test in self._seconds if test.startswith(own)}.union(*lines.values())
        if near_only:
            near = tuple(f"tests/{folder}/" for folder in NEAR[mutant.path.split("/")[1].removesuffix(".py")])
            found = {test for test in found if test.startswith(near)}
        found = {test for test in found if _exists(test, place)}  # renamed since the reach was measured
        chosen = sorted(found, key=lambda test: (self._seconds.get(test, 0.0), test))
        spent = itertools.accumulate(self._seconds.get(test, 0.0) for test in chosen)
        return [test for test, so_far in zip(chosen, spent, strict=True) if so_far <= most_s]


@functools.cache
def _text(file: Path) -> str:
    return file.read_text(encoding="utf-8") if file.is_file() else ""


def _exists(test: str, place: Path) -> bool:
    """Whether a test of that name is in a copy of the project."""
    file, _, name = test.partition("::")
    return f"def {name.partition('[')[0].rpartition('::')[2]}(" in _text(place / file)


def _in_function(line: int, source: str) -> bool:
    """Whether a line is inside the body of a function, so that calls run it."""
    functions = (node for node in ast.walk(ast.parse(source)) if isinstance(node, ast.FunctionDef))
    return any(node.body[0].lineno <= line <= (node.end_lineno or 0) for node in functions)


def load_libraries() -> None:
    """Import what every trial needs, once."""
    for name in _LIBRARIES:
        __import__(name)


def trial(mutant: Mutant, place: Path, tests: Sequence[str]) -> Trial:
    """Put the fault into the copy, run the tests, take it out again."""
    if not tests:
        return Trial(mutant, False, "", 0)
    file = place / mutant.path
    sound = file.read_bytes()
    file.write_bytes(mutant.applied(sound))
    try:
        status, by = _run(place, tests)
    finally:
        file.write_bytes(sound)
    if status == NOT_FOUND and _run(place, tests)[0] == NOT_FOUND:  # not for the fault
        raise RuntimeError(f"no such tests? measure the reach again: {tests}")
    return Trial(mutant, status != 0, by, len(tests))


def _run(place: Path, tests: Sequence[str]) -> tuple[int, str]:
    """Exit status of pytest in a fork, and the test that failed."""
    reader, writer = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reader)
        status = 99
        with contextlib.suppress(BaseException):
            status = _pytest(place, tests, writer)
        os._exit(status)
    os.close(writer)
    with os.fdopen(reader, encoding="utf-8") as said:
        by = said.read()
    code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    if code == NOT_FOUND and any(
        "[" in test for test in tests
    ):  # cases renamed since the reach was measured: all
        return _run(place, list(dict.fromkeys(test.partition("[")[0] for test in tests)))
    if code not in (0, 1, 2, NOT_FOUND) and code != -signal.SIGXCPU:
        raise RuntimeError(f"pytest ended with {code}")
    return code, by or ("" if code == 0 else "time ran out" if code < 0 else "import")


def _pytest(place: Path, tests: Sequence[str], writer: int) -> int:
    import pytest

    class FirstFailure:
        def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
            if report.failed:
                os.write(writer, report.nodeid.encode() + b"\n")

        def pytest_collectreport(self, report: pytest.CollectReport) -> None:
            if report.failed:
                os.write(writer, f"import of {report.nodeid}\n".encode())

    resource.setrlimit(resource.RLIMIT_CPU, (LIMIT_S, LIMIT_S))
    Thread(target=_end_when_idle, args=(writer,), daemon=True).start()
    os.chdir(place)
    os.environ |= {"PYTHONPATH": str(place), "PYTHONDONTWRITEBYTECODE": "1", "HOME": str(place / "home")}
    sys.dont_write_bytecode = True
    sys.path[:] = [str(place), *(p for p in sys.path if p not in ("", str(ROOT), str(ROOT / "tests")))]
    silent = os.open(os.devnull, os.O_RDWR)
    for stream in (0, 1, 2):
        os.dup2(silent, stream)
    for name in [n for n in sys.modules if n.split(".")[0] in ("pitchcheck", "tests", "helpers")]:
        del sys.modules[name]
    options = ["-n", "0", "-x", "-p", "no:cacheprovider", "--hypothesis-profile=ci"]
    return int(pytest.main([*options, *tests], plugins=[FirstFailure()]))


def _end_when_idle(writer: int) -> None:
    """End this process as a failure when nothing has been computed for so long."""
    spent_s, since_s, pause = 0.0, time.monotonic(), Event()  # a test may have taken sleep away
    while time.monotonic() - since_s < IDLE_S:
        pause.wait(1.0)
        times = os.times()
        if sum(times[:4]) > spent_s + 0.1:
            spent_s, since_s = sum(times[:4]), time.monotonic()
    os.write(writer, b"nothing was computed any more\n")
    os._exit(1)


def trials(
    mutants: Sequence[Mutant], place: Path, reach: Reach, *, near_only: bool, most_s: float
) -> Iterator[Trial]:
    """Try them one after the other."""
    load_libraries()
    compile_tests(place)
    for mutant in mutants:
        tests = reach.tests(mutant, place, near_only=near_only, most_s=most_s)
        if mutant is mutants[0] and (found := _run(place, tests))[0] != 0:
            raise RuntimeError(f"the tests fail on sound code: {found}")
        yield trial(mutant, place, tests)
