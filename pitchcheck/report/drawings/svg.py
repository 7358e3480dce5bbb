"""Inline SVG out of small pieces; every text and attribute is escaped.

Conventions: user units are CSS pixels, y grows downward. Colour never stands in a drawing: pieces carry class
names, and the page's style sheet gives them ink for light, dark and print.
"""

from __future__ import annotations

from collections.abc import Iterable

from markupsafe import Markup, escape

Attribute = str | float | int


def el(tag: str, *children: str | Markup, **attributes: Attribute) -> Markup:
    """Return one element; ``cls`` becomes ``class``, underscores become hyphens, numbers get 2 decimals."""
    written = Markup("").join(
        Markup(' {}="{}"').format(_name(key), _value(value)) for key, value in attributes.items()
    )
    inner = Markup("").join(escape(child) for child in children)
    return Markup("<{0}{1}>{2}</{0}>").format(Markup(tag), written, inner)


def path(
    points: Iterable[tuple[float, float]], *, cls: str, closed: bool = False, **more: Attribute
) -> Markup:
    """Return straight lines through points."""
    d = "M" + "L".join(f"{_value(x)} {_value(y)}" for x, y in points) + ("Z" if closed else "")
    return el("path", d=d, cls=cls, **more)


def line(x1: float, y1: float, x2: float, y2: float, *, cls: str) -> Markup:
    """Return one straight line."""
    return el("line", x1=x1, y1=y1, x2=x2, y2=y2, cls=cls)


def text(x: float, y: float, words: str, *, cls: str = "t", anchor: str = "start") -> Markup:
    """Return a line of text with its baseline at ``y``."""
    return el("text", words, x=x, y=y, cls=cls, text_anchor=anchor)


def zigzag(x1: float, x2: float, y: float, *, cls: str, tooth: float = 3.0) -> Markup:
    """Return a shivering line from ``x1`` to ``x2``: the sign for buzz."""
    count = max(2, round((x2 - x1) / tooth))
    step = (x2 - x1) / count
    return path(
        [(x1 + i * step, y + (tooth / 2 if i % 2 else -tooth / 2)) for i in range(count + 1)], cls=cls
    )


def hatch(ident: str, *, cls: str, slope: int = 1, gap: float = 6.0) -> Markup:
    """Return a pattern of slanted lines, for use as ``fill="url(#ident)"``."""
    angle = 45 * slope
    return el(
        "pattern",
        line(0, 0, 0, gap, cls=cls),
        id=ident,
        width=gap,
        height=gap,
        patternUnits="userSpaceOnUse",
        patternTransform=f"rotate({angle})",
    )


def picture(
    *body: Markup, ident: str, size: tuple[float, float], title: str, desc: str, cls: str = ""
) -> Markup:
    """Return a whole inline drawing with its title and description for those who cannot see it.

    Parameters
    ----------
    *body : Markup
        Pieces, first at the back.
    ident : str
        Unique on the page; the ids of title and description grow from it.
    size : tuple of float
        Width and height in user units.
    title, desc : str
        Name of the drawing, and what it shows in words.
    cls : str
        Class names of the drawing.
    """
    width, height = size
    return el(
        "svg",
        el("title", title, id=f"{ident}-title"),
        el("desc", desc, id=f"{ident}-desc"),
        *body,
        viewBox=f"0 0 {_value(width)} {_value(height)}",
        role="img",
        aria_labelledby=f"{ident}-title {ident}-desc",
        cls=f"drawing {cls}".strip(),
    )


def spread(places: Iterable[float], *, gap: float, low: float, high: float) -> list[float]:
    """Move label places apart to at least ``gap``, inside ``low`` to ``high``, keeping their order."""
    given = list(places)
    order = sorted(range(len(given)), key=lambda i: given[i])
    moved = [0.0] * len(given)
    last = low - gap
    for i in order:
        last = moved[i] = max(given[i], last + gap)
    ceiling = high
    for i in reversed(order):
        moved[i] = min(moved[i], ceiling)
        ceiling = moved[i] - gap
    return moved


def _name(key: str) -> str:
    """Return an attribute's name."""
    return "class" if key == "cls" else key.replace("_", "-")


def _value(value: Attribute) -> str:
    """Return an attribute's value; numbers with at most 2 decimals."""
    if isinstance(value, str):
        return value
    short = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if short in ("-0", "") else short
