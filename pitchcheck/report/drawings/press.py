"""How a press and a leaf take are played: the neck from the side, for the take sheet and the documents.

Conventions: headstock on the left; not to scale, and the descriptions say so.
"""

from __future__ import annotations

from markupsafe import Markup

from pitchcheck.report.drawings import svg

SIZE = (340.0, 200.0)  # [px]
_BOARD, _UNDER = 112.0, 150.0  # [px] the board's surface, and the back of the neck
_NUT = (40.0, 56.0)
_REST = 84.0  # [px] floor of the slot
_CROWN = 92.0  # [px] tops of the frets
_FRETS = (196.0, 306.0)
_MIDWAY = (_NUT[1] + _FRETS[0]) / 2
_END = 336.0
_ROD = 9.0  # [px] half the rod's width


def draw_press(*, ident: str, cls: str = "") -> Markup:
    """Draw press 1: rod upright, rounded end, midway between nut and fret 1, thumb under the neck."""
    x, down = _MIDWAY, _BOARD - 2
    rod = f"M{x - _ROD} 16V{down - 3 - _ROD}A{_ROD} {_ROD} 0 0 0 {x + _ROD} {down - 3 - _ROD}V16Z"
    thumb = f"M{x - 17} 196V{_UNDER + 16}A17 15 0 0 1 {x + 17} {_UNDER + 16}V196"
    string = [(8.0, _REST + 7), (_NUT[0], _REST), (_NUT[1], _REST), (x - 6, down), (x + 6, down)]
    string += [(_FRETS[0], _CROWN), (_END, _CROWN - 12)]
    pieces = [
        *_neck(),
        svg.path(string, cls="string"),
        svg.el("path", d=rod, cls="rod"),
        svg.el("path", d=thumb, cls="thumb"),
        _arrow(x, 30.0, 62.0),
        *_half_way(_NUT[1], x),
        *_half_way(x, _FRETS[0]),
        svg.text(x + 15, 26, "rod of wood or plastic,"),
        svg.text(x + 15, 42, "upright, rounded end down"),
        svg.text(x + 24, 178, "thumb under the neck,"),
        svg.text(x + 24, 193, "opposite the rod"),
        svg.text(_END, _CROWN - 20, "then pluck", anchor="end"),
    ]
    return svg.picture(
        *pieces,
        ident=ident,
        size=SIZE,
        title="Press 1, seen from the side",
        desc="A rod stands upright on the string, midway between nut and fret 1, its rounded end holding the "
        "string down onto the board. The thumb supports the neck underneath, opposite the rod. The string "
        "is plucked on the other side of fret 1, which sounds. Not to scale.",
        cls=f"hand {cls}".strip(),
    )


def draw_leaf(*, ident: str, cls: str = "") -> Markup:
    """Draw a leaf take: the leaf lies flat on fret 1 under the open string."""
    x = _FRETS[0]
    string = [(8.0, _REST + 7), (_NUT[0], _REST), (_NUT[1], _REST), (_END, _REST - 10)]
    leaf = {"x": x - 34, "y": _CROWN - 4, "width": 68, "height": 4}
    pieces = [
        *_neck(),
        svg.path(string, cls="string"),
        svg.el("rect", **leaf, cls="leaf"),
        svg.path([(x - 20, 48), (x - 20, _CROWN - 6)], cls="lead"),
        svg.text(x - 26, 40, "feeler leaf, flat on fret 1", anchor="middle"),
        svg.text(_END, _REST - 16, "pluck", anchor="end"),
        svg.text(_NUT[1] + 4, 178, "Nothing else touches the string."),
    ]
    return svg.picture(
        *pieces,
        ident=ident,
        size=SIZE,
        title="A leaf take, seen from the side",
        desc="A feeler leaf lies flat on fret 1, under the string, which is plucked open. It sounds as the "
        "open note if the gap is wider than the leaf, as fret 1 if it is not. Not to scale.",
        cls=f"hand {cls}".strip(),
    )


def _neck() -> list[Markup]:
    """Draw board and neck, nut and two frets, with their names."""
    back = [(8.0, _BOARD), (_END, _BOARD), (_END, _UNDER), (8.0, _UNDER)]
    front = [(_NUT[0], _BOARD), (_NUT[0], _REST), (_NUT[1], _REST), (_NUT[1], _BOARD)]
    pieces = [svg.path(back, cls="board", closed=True), svg.path(front, cls="nut", closed=True)]
    pieces.append(svg.text(sum(_NUT) / 2, _BOARD + 16, "nut", anchor="middle"))
    for number, x in enumerate(_FRETS, start=1):
        left, right, side = x - 6, x + 6, _CROWN + 7
        d = f"M{left} {_BOARD}V{side}Q{left} {_CROWN} {x} {_CROWN}Q{right} {_CROWN} {right} {side}V{_BOARD}Z"
        pieces.append(svg.el("path", d=d, cls="fret-end"))
        pieces.append(svg.text(x, _BOARD + 16, f"fret {number}", anchor="middle"))
    return pieces


def _half_way(start: float, end: float) -> list[Markup]:
    """Draw one of two equal halves, with its name."""
    y = _UNDER - 12
    ends = [
        (start + 1, y - 4),
        (start + 1, y + 4),
        (start + 1, y),
        (end - 1, y),
        (end - 1, y - 4),
        (end - 1, y + 4),
    ]
    return [
        svg.path(ends, cls="bar"),
        svg.text((start + end) / 2, y + 10, "half", cls="t tiny-text", anchor="middle"),
    ]


def _arrow(x: float, top: float, tip: float) -> Markup:
    """Draw an arrow that points down."""
    return svg.path([(x, top), (x, tip), (x - 4, tip - 7), (x, tip), (x + 4, tip - 7)], cls="bar")
