"""Every small fault that can be put into a source file: one change of one expression each.

A sign, a term left out, a constant by a fifth, a comparison or a choice turned round, a guard or a
normalisation dropped. Messages, annotations, list places and guards against rounding (numbers below 1e-5)
are left alone.
"""

from __future__ import annotations

import ast
import copy
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

LEAST_CONSTANT = 1e-5  # below it a number guards against rounding
_LEAST_WHOLE = 3  # 0, 1 and 2 count places, axes and squares
_SIGNS: dict[type[ast.operator], type[ast.operator]] = {ast.Add: ast.Sub, ast.Sub: ast.Add}
_COMPARISONS: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.GtE,
    ast.GtE: ast.Lt,
    ast.Gt: ast.LtE,
    ast.LtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
}
_OPPOSITES = {
    "min": "max",
    "max": "min",
    "any": "all",
    "all": "any",
    "minimum": "maximum",
    "maximum": "minimum",
    "argmin": "argmax",
    "argmax": "argmin",
    "floor": "ceil",
    "ceil": "floor",
}
_NORMALISERS = {"casefold", "lower", "strip"}
_LEFT_ALONE = (ast.JoinedStr, ast.Raise, ast.Import, ast.ImportFrom, ast.Slice, ast.Assert)


@dataclass(frozen=True)
class Mutant:
    """One fault. ``line`` counts from 1; ``start`` and ``end`` are byte places in the file."""

    path: str  # from the project's root, with forward slashes
    line: int
    kind: str
    start: int
    end: int
    was: str
    becomes: str

    @property
    def name(self) -> str:
        return f"{self.path}:{self.line}: {self.kind}: {self.was} -> {self.becomes}"

    def applied(self, source: bytes) -> bytes:
        return source[: self.start] + self.becomes.encode() + source[self.end :]


def mutants(root: Path, packages: tuple[str, ...]) -> list[Mutant]:
    """All of them, in order of file and place; ``packages`` are stages such as "fit"."""
    found = []
    for package in packages:
        place = root / "pitchcheck" / package
        files = sorted(place.rglob("*.py")) if place.is_dir() else [place.with_suffix(".py")]
        for file in files:
            found += of_source(file.read_bytes(), file.relative_to(root).as_posix())
    return found


def of_source(source: bytes, path: str) -> list[Mutant]:
    """Mutants of one file whose text differs as code."""
    starts = [0]
    for line in source.splitlines(keepends=True):
        starts.append(starts[-1] + len(line))
    found = []
    for kind, node, new in _changes(ast.parse(source)):
        assert node.end_lineno is not None
        assert node.end_col_offset is not None
        start = starts[node.lineno - 1] + node.col_offset
        end = starts[node.end_lineno - 1] + node.end_col_offset
        was = source[start:end].decode()
        becomes = ast.unparse(new)
        if not isinstance(new, ast.Constant | ast.Call | ast.Name | ast.Attribute):
            becomes = f"({becomes})"
        found.append(Mutant(path, node.lineno, kind, start, end, " ".join(was.split()), becomes))
    return sorted(found, key=lambda m: (m.start, m.end, m.kind, m.becomes))


def _changes(tree: ast.AST) -> Iterator[tuple[str, ast.expr, ast.expr]]:
    """Kind, node and what stands in its place, for every expression that counts."""
    for node in _walk(tree):
        if isinstance(node, ast.If) and isinstance(node.body[-1], ast.Raise):
            yield "guard dropped", node.test, ast.Constant(False)
        if isinstance(node, ast.BinOp):
            yield from _arithmetic(node)
        elif isinstance(node, ast.UnaryOp):
            if isinstance(node.op, ast.USub | ast.Not):
                kind = "sign" if isinstance(node.op, ast.USub) else "not"
                yield kind, node, node.operand
        elif isinstance(node, ast.Compare):
            yield from _comparisons(node)
        elif isinstance(node, ast.BoolOp):
            other: ast.boolop = ast.Or() if isinstance(node.op, ast.And) else ast.And()
            yield "and/or", node, ast.BoolOp(other, node.values)
            for i in range(len(node.values)):
                rest = node.values[:i] + node.values[i + 1 :]
                yield "condition dropped", node, rest[0] if len(rest) == 1 else ast.BoolOp(node.op, rest)
        elif isinstance(node, ast.Constant):
            yield from _constants(node)
        elif isinstance(node, ast.Call):
            yield from _calls(node)
        elif isinstance(node, ast.IfExp):
            yield "branches", node, ast.IfExp(node.test, node.orelse, node.body)


def _arithmetic(node: ast.BinOp) -> Iterator[tuple[str, ast.expr, ast.expr]]:
    texts = ast.JoinedStr | ast.List | ast.Tuple | ast.ListComp
    if any(isinstance(side, texts) or _is_text(side) for side in (node.left, node.right)):
        return
    if type(node.op) in _SIGNS:
        yield "sign", node, ast.BinOp(node.left, _SIGNS[type(node.op)](), node.right)
    if isinstance(node.op, ast.Add | ast.Sub | ast.Mult | ast.Div):
        yield "term dropped", node, node.left
    if isinstance(node.op, ast.Add | ast.Mult):
        yield "term dropped", node, node.right


def _comparisons(node: ast.Compare) -> Iterator[tuple[str, ast.expr, ast.expr]]:
    for i, op in enumerate(node.ops):
        turned = copy.copy(node)
        turned.ops = [*node.ops[:i], _COMPARISONS[type(op)](), *node.ops[i + 1 :]]
        yield "comparison", node, turned


def _constants(node: ast.Constant) -> Iterator[tuple[str, ast.expr, ast.expr]]:
    value = node.value
    if isinstance(value, bool):
        yield "yes/no", node, ast.Constant(not value)
    elif isinstance(value, float) and abs(value) > LEAST_CONSTANT:
        for factor in (1.2, 0.8):
            yield "constant", node, ast.Constant(float(f"{value * factor:.12g}"))
    elif isinstance(value, int) and value >= _LEAST_WHOLE:
        for more in (max(1, round(0.2 * value)), -max(1, round(0.2 * value))):
            yield "constant", node, ast.Constant(value + more)


def _calls(node: ast.Call) -> Iterator[tuple[str, ast.expr, ast.expr]]:
    function = node.func
    name = function.attr if isinstance(function, ast.Attribute) else getattr(function, "id", "")
    if name in _OPPOSITES:
        if isinstance(function, ast.Attribute):
            other: ast.expr = ast.Attribute(function.value, _OPPOSITES[name])
        else:
            other = ast.Name(_OPPOSITES[name])
        yield "opposite", node, ast.Call(other, node.args, node.keywords)
    elif name == "abs" and len(node.args) == 1:
        yield "magnitude", node, node.args[0]
    elif name == "sorted" and isinstance(function, ast.Name):
        yield "order", node, ast.Call(ast.Name("list"), node.args[:1], [])
    elif name in _NORMALISERS and isinstance(function, ast.Attribute) and not node.args:
        yield "normalisation dropped", node, function.value


def _is_text(node: ast.expr) -> bool:
    return isinstance(node, ast.Constant) and isinstance(node.value, str | bytes)


def _walk(node: ast.AST) -> Iterator[ast.AST]:
    """Nodes that run and decide: no annotations, messages, types, places in a list, __all__."""
    yield node
    for name, value in ast.iter_fields(node):
        if name in ("annotation", "returns", "type_params", "decorator_list", "bases"):
            continue
        if isinstance(node, ast.Subscript) and name == "slice":
            continue
        if isinstance(node, ast.keyword) and node.arg == "strict":  # a guard of zip against slips of ours
            continue
        for child in value if isinstance(value, list) else [value]:
            if isinstance(child, ast.AST) and not isinstance(child, _LEFT_ALONE) and not _typing(child):
                yield from _walk(child)


def _typing(node: ast.AST) -> bool:
    """Whether it only serves types: ``if TYPE_CHECKING:`` and aliases of types."""
    if isinstance(node, ast.If):
        return getattr(node.test, "id", "") == "TYPE_CHECKING"
    return isinstance(node, ast.BinOp) and isinstance(node.op, ast.BitOr)
