"""Data sheets in docstrings name what is there: arguments of a function, fields of a record, types."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import cache

from helpers.imports import Module, modules

SECTION = re.compile(r"^(\w[\w ]*)\n-{3,}\n(.*?)(?=^\w[\w ]*\n-{3,}\n|\Z)", re.MULTILINE | re.DOTALL)
CLASS_NAME = re.compile(r"\b[A-Z][a-z]\w+")
FOREIGN = {
    "BaseException",
    "None",
    "True",
    "False",
    "Path",
    "Iterator",
    "Generator",
    "Callable",
    "Markup",
    "Console",
}


@cache
def known_types() -> frozenset[str]:
    """Classes of the package, and names given to a union or a type, such as Doubt or Event."""
    classes = {node.name for m in modules() for node in m.nodes if isinstance(node, ast.ClassDef)}
    aliases = {
        target.id
        for m in modules()
        for node in m.tree.body
        if isinstance(node, ast.Assign)
        for target in node.targets
        if isinstance(target, ast.Name)
    }
    return frozenset(classes | aliases)


def sheet(docstring: str, section: str) -> list[str]:
    """Lines of a section that name something: those that are not indented."""
    text = dict(SECTION.findall(docstring)).get(section, "")
    return [line for line in text.splitlines() if line and not line[0].isspace()]


def named(lines: list[str]) -> set[str]:
    """Names before the colon of each line, several by commas."""
    return {name.strip().lstrip("*") for line in lines for name in line.split(" : ")[0].split(",")}


def arguments(node: ast.FunctionDef | ast.AsyncFunctionDef) -> set[str]:
    """Names of a function's arguments but that of its own object."""
    listed = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
    more = [argument for argument in (node.args.vararg, node.args.kwarg) if argument is not None]
    own = {listed[0].arg} & {"self", "cls"} if listed else set()
    return {argument.arg for argument in (*listed, *more)} - own


def fields(node: ast.ClassDef) -> set[str]:
    """Names of the fields that a record declares itself."""
    return {
        item.target.id
        for item in node.body
        if isinstance(item, ast.AnnAssign) and isinstance(item.target, ast.Name)
    }


def differences(module: Module) -> Iterator[str]:
    """Where a data sheet and the code name different things."""
    for node in module.nodes:
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            section, there = "Parameters", arguments(node)
        elif isinstance(node, ast.ClassDef) and fields(node):
            section, there = "Attributes", fields(node)
        else:
            continue
        told = named(sheet(ast.get_docstring(node) or "", section))
        if told and told != there:
            yield f"{module.name}:{node.lineno} {node.name}: {sorted(told ^ there)}"


def strange_types(module: Module) -> Iterator[str]:
    """Classes that a data sheet names and that there are none of."""
    for node in module.nodes:
        if not isinstance(node, ast.FunctionDef | ast.ClassDef):
            continue
        docstring = ast.get_docstring(node) or ""
        lines = [
            line.partition(" : ")[2] for s in ("Parameters", "Attributes") for line in sheet(docstring, s)
        ]
        lines += sheet(docstring, "Returns")
        for name in {name for line in lines for name in CLASS_NAME.findall(line)} - FOREIGN - known_types():
            yield f"{module.name}:{node.lineno} {node.name}: {name}"


def test_a_data_sheet_names_what_is_there() -> None:
    assert [fault for m in modules() for fault in (*differences(m), *strange_types(m))] == []


def test_a_wrong_name_is_seen() -> None:
    source = (
        'def length(wide: float) -> float:\n    """Length.\n\n    Parameters\n    ----------\n'
        '    width : Widths\n    """\n    return wide\n'
    )
    made = Module("made", source)
    assert list(differences(made)) == ["made:1 length: ['wide', 'width']"]
    assert list(strange_types(made)) == ["made:1 length: Widths"]
