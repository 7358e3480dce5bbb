"""Holds the direction of docs/architecture.md: who may import whom, and what the pure core may not touch."""

from __future__ import annotations

from graphlib import CycleError, TopologicalSorter

import pytest

from helpers.imports import Module, calls, imported, modules, own_imports

HELPERS = {"errors", "types", "units", "tuning", "clip", "instrument", "takes", "doubts"}
RECORDS = {"survey", "placing", "physics", "fit", "findings", "judgement", "diagnosis", "plan", "chords"}
EVERYTHING = {"*"}

# Stage: what it may import beside itself and the helpers. A new folder or file needs a line here.
MAY_IMPORT: dict[str, set[str]] = {
    "": {
        "clip",
        "compare",
        "errors",
        "fit",
        "instrument",
        "library",
        "measurement",
        "pitch",
        "placing",
        "survey",
        "takes",
        "workflow",
    },  # the face: pitchcheck/__init__.py
    "library": {"audio", "pitch", "session", "workflow"},
    **dict.fromkeys(HELPERS, HELPERS),
    "course": set(),
    "store": set(),
    "session": {"course", "store"},
    "recorder": {"course", "session", "guide", "store"},
    "audio": set(),
    "pitch": set(),
    "hearing": {"pitch"},
    "memo": {"pitch", "physics"},
    "retuning": set(),
    "survey": {"pitch"},
    "placing": {"survey", "physics"},
    "copies": set(),
    "physics": set(),
    "fit": {"physics", "survey"},
    "findings": {"fit"},
    "judgement": {"physics", "survey", "fit", "findings"},
    "diagnosis": {"physics", "survey", "fit", "findings", "judgement"},
    "plan": {"physics", "survey", "fit", "findings", "judgement", "diagnosis"},
    "chords": {"physics", "fit"},
    "simulate": {"physics", "course"},
    "measurement": RECORDS,
    "guide": {"pitch", "hearing", "course", "physics", "placing", "words"},
    "capture": set(),
    "compare": RECORDS | {"measurement"},
    "jobs": {"session", "recorder", "store"},
    "words": RECORDS | {"measurement", "memo", "guide", "hearing", "compare", "course"},
    "report": RECORDS | {"measurement", "guide", "hearing", "compare", "words"},
    "workflow": EVERYTHING,
    "cli": {
        "workflow",
        "measurement",
        "report",
        "words",
        "session",
        "recorder",
        "course",
        "guide",
        "compare",
        "jobs",
        "store",
        "bench",
    },
    "bench": EVERYTHING,
    "__main__": {"cli"},
}

EDGE = {
    "library",
    "store",
    "session",
    "recorder",
    "audio",
    "capture",
    "jobs",
    "workflow",
    "bench",
    "cli",
    "__main__",
}
EDGE_MODULES = {
    "pitchcheck.simulate.folder",  # writes what the simulator played
    "pitchcheck.report.screen.live",  # draws on a terminal, ten times a second by the clock
    "pitchcheck.report.terminal",  # draws views on a console it is given
}

# Modules that bring files, devices, the clock, the environment, chance, or drawing.
NOT_IN_THE_CORE = {
    *("pathlib", "os", "io", "sys", "shutil", "tempfile", "subprocess", "socket", "platformdirs"),
    *("sounddevice", "soundfile", "typer", "rich", "logging", "matplotlib"),
    *("time", "random", "secrets"),
}
NOT_CALLED_IN_THE_CORE = {"print", "open", "input", "exec", "eval", "__import__", "importlib.import_module"}
CLOCKS = ("datetime.now", "datetime.utcnow", "datetime.today", "date.today")
CHANCE = ("np.random.", "numpy.random.", "default_rng", "random_state", "RandomState")

ALL = modules()
CORE = [m for m in ALL if m.stage not in EDGE and m.name not in EDGE_MODULES]
KNOWN = {module.name for module in ALL}


def wrong_imports(module: Module, known: set[str]) -> set[str]:
    """Modules of the package that this one may not import."""
    if module.stage not in MAY_IMPORT:
        return {f"(stage {module.stage!r} has no line in MAY_IMPORT)"}
    allowed = MAY_IMPORT[module.stage] | {module.stage, ""} | (HELPERS if module.stage else set())
    if allowed & EVERYTHING:
        return set()
    return {name for name in own_imports(module, known) if _stage(name) not in allowed}


def impurities(module: Module) -> set[str]:
    """What a module of the pure core imports or calls and should not."""
    found = {name for name in imported(module) if name.split(".")[0] in NOT_IN_THE_CORE}
    for name in calls(module):
        clock = name.endswith(CLOCKS)
        chance = any(part in name for part in CHANCE)
        if name in NOT_CALLED_IN_THE_CORE or clock or chance:
            found.add(f"{name}()")
    return found


def _stage(name: str) -> str:
    return name.split(".")[1] if "." in name else ""


def _users(stage: str) -> set[str]:
    return {m.stage for m in ALL if stage in {_stage(name) for name in own_imports(m, KNOWN)}}


def test_imports_go_one_way() -> None:
    wrong = {m.name: wrong_imports(m, KNOWN) for m in ALL}
    assert {name: found for name, found in wrong.items() if found} == {}


def test_the_core_is_pure() -> None:
    assert len(CORE) > 100
    found = {m.name: impurities(m) for m in CORE}
    assert {name: what for name, what in found.items() if what} == {}


def test_only_the_workflow_reads_sound_and_nothing_imports_the_command_line() -> None:
    assert _users("audio") <= {"audio", "library", "workflow"}
    assert _users("cli") <= {"cli", "__main__"}


def test_no_circle_of_imports() -> None:
    graph = {m.name: own_imports(m, KNOWN) - {m.name, "pitchcheck"} for m in ALL}
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as circle:
        pytest.fail(f"modules import each other in a circle: {' -> '.join(circle.args[1])}")


@pytest.mark.parametrize(
    ("name", "source", "fault"),
    [
        ("pitchcheck.pitch.x", "from pitchcheck.fit.belief import Belief", "pitchcheck.fit.belief"),
        ("pitchcheck.fit.x", "def f():\n    import pitchcheck.session", "pitchcheck.session"),
        ("pitchcheck.physics.x", "from ..plan import Plan", "pitchcheck.plan"),
        ("pitchcheck.units", "from pitchcheck import survey", "pitchcheck.survey"),
    ],
)
def test_a_wrong_import_is_seen(name: str, source: str, fault: str) -> None:
    known = {
        "pitchcheck",
        "pitchcheck.fit.belief",
        "pitchcheck.session",
        "pitchcheck.plan",
        "pitchcheck.survey",
    }
    assert wrong_imports(Module(name, source), known) == {fault}


def test_a_stage_without_a_line_is_seen() -> None:
    assert wrong_imports(Module("pitchcheck.novelty", ""), set())


@pytest.mark.parametrize(
    "source",
    [
        "from pathlib import Path",
        "def f():\n    import os.path",
        "import soundfile as sf",
        "from matplotlib import pyplot",
        "print('x')",
        "open('x')",
        "from datetime import datetime\ndatetime.now()",
        "import datetime\ndatetime.datetime.now(tz=None)",
        "from time import time",
        "import numpy as np\nnp.random.default_rng(1)",
        "from numpy.random import default_rng\ndefault_rng()",
        "import numpy as np\nnp.random.normal(3)",
    ],
)
def test_an_impurity_is_seen(source: str) -> None:
    assert impurities(Module("pitchcheck.fit.x", source)) != set()


def test_a_generator_as_argument_is_pure() -> None:
    source = "import numpy as np\ndef f(rng: np.random.Generator):\n    return rng.normal()"
    assert impurities(Module("pitchcheck.simulate.x", source)) == set()
