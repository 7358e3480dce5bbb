"""Reads the source of a module and lists what it imports and what it calls, without running it."""

from __future__ import annotations

import ast
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path

PACKAGE = "pitchcheck"
ROOT = Path(__file__).parents[2]


@dataclass(frozen=True)
class Module:
    """One source file. ``name`` is dotted, ``pitchcheck.fit.belief``.

    Every worker lists all modules to collect its tests, so a file is parsed only where a test looks into it.
    """

    name: str
    source: str
    is_package: bool = False

    @cached_property
    def tree(self) -> ast.Module:
        """What it says, parsed."""
        return ast.parse(self.source, self.name)

    @cached_property
    def nodes(self) -> tuple[ast.AST, ...]:
        """All nodes of the tree."""
        return tuple(ast.walk(self.tree))

    @property
    def stage(self) -> str:
        """Its place in the architecture: the folder or file directly under the package."""
        return self.name.split(".")[1] if "." in self.name else ""


@cache
def modules() -> tuple[Module, ...]:
    """Every module of the package, in order of name."""
    found = []
    for path in sorted((ROOT / PACKAGE).rglob("*.py")):
        parts = path.relative_to(ROOT).with_suffix("").parts
        is_package = parts[-1] == "__init__"
        name = ".".join(parts[:-1] if is_package else parts)
        found.append(Module(name, path.read_text(encoding="utf-8"), is_package))
    return tuple(found)


def imported(module: Module) -> set[str]:
    """Dotted names of what the module imports, inside functions too; ``from a import b`` is a.b."""
    names: set[str] = set()
    for node in module.nodes:
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            base = _base(module, node)
            names |= {f"{base}.{alias.name}" for alias in node.names}
    return names


def _base(module: Module, node: ast.ImportFrom) -> str:
    if node.level == 0:
        return node.module or ""
    here = module.name.split(".")
    up = here[: len(here) - node.level + module.is_package]
    return ".".join([*up, *([node.module] if node.module else [])])


def own_imports(module: Module, known: set[str]) -> set[str]:
    """Modules of the package that it imports; ``known`` are the names of all modules."""
    found = set()
    for name in imported(module):
        if name.split(".")[0] == PACKAGE:
            found.add(name if name in known else name.rpartition(".")[0])
    return found


def calls(module: Module) -> set[str]:
    """Dotted names of what the module calls or names: ``print``, ``np.random.default_rng``."""
    return {name for node in module.nodes if isinstance(node, ast.Call) and (name := _dotted(node.func))}


def _dotted(node: ast.expr) -> str:
    if isinstance(node, ast.Name):
        return node.id
    if isinstance(node, ast.Attribute):
        inner = _dotted(node.value)
        return f"{inner}.{node.attr}" if inner else f"?.{node.attr}"
    return ""
