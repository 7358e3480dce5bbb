"""The neck as the player looks down on it, with the error of every fretted note drawn on its string.

Conventions: headstock on the left, string 1 at the top, frets at their true places. A string is a straight
line where its notes would be true; the drawn line rises above it where notes are sharp. Solid with full dots:
as it is. Dashed with rings: with the slot at its target. Hatched between: the slot's part. [cent]
"""

from __future__ import annotations

from dataclasses import dataclass

from markupsafe import Markup

from pitchcheck.report.drawings import svg
from pitchcheck.report.records import NeckString, NeckView
from pitchcheck.tuning import fret_place

FRETS = 12
_TOP = 26.0
_FOOT = 34.0
_NUT_WIDTH = 7.0
_LEFT = 62.0  # [px] room for the names of the strings
_RIGHT = 14.0
_LANE = {"wide": 70.0, "narrow": 58.0}  # [px] from string to string
_LEAST_CENTS = 4.0  # [cent] range of a lane at least, so that small errors look small
_USED = 0.80  # [-] of a lane that the largest error may fill
_MARKED = (3, 5, 7, 9, 12)  # frets with inlays (common practice)
_NARROW_PX = 500.0  # [px] below this, fewer fret numbers
_BAR_STEPS = (1, 2, 5, 10, 20, 50, 100, 200, 500)  # [cent] lengths of the scale bar


@dataclass(frozen=True)
class _NeckGeometry:
    """Where everything on the neck lies. [px]"""

    frets: tuple[float, ...]  # 0 (nut) to 12
    bases: tuple[float, ...]  # of the straight strings, in order of the view
    px_per_cent: float
    top: float
    bottom: float
    nut: float
    end: float


def draw_neck(
    neck: NeckView,
    *,
    width: float,
    ident: str,
    cls: str = "",
    title: str = "Error of fretted notes over the neck",
    lane: float | None = None,
) -> Markup:
    """Draw the whole neck to fret 12.

    Parameters
    ----------
    neck : NeckView
        At least one string.
    width : float > 0
        Of the drawing; below 500 fewer frets are numbered. [px]
    ident : str
        Unique on the page.
    cls : str
        Class names of the drawing.
    title : str
        Its name for those who cannot see it.
    lane : float > 0, optional
        From string to string. [px]
    """
    strings = sorted(neck.strings, key=lambda s: s.number)
    lane = lane or _LANE["narrow" if width < _NARROW_PX else "wide"]
    at = _geometry(strings, width=width, scale_mm=neck.scale_mm, lane=lane)
    pieces = [
        svg.hatch(f"{ident}-adds", cls="hatch-adds", gap=5.0),
        *_board(at, narrow=width < _NARROW_PX),
    ]
    for string, base in zip(strings, at.bases, strict=True):
        pieces += _string(string, base=base, at=at, ident=ident)
    pieces += _bar(at)
    return svg.picture(
        *pieces,
        ident=ident,
        size=(width, at.bottom + _FOOT),
        title=title,
        desc=neck.desc,
        cls=cls,
    )


def _geometry(strings: list[NeckString], *, width: float, scale_mm: float, lane: float) -> _NeckGeometry:
    """Work out where everything lies."""
    values = [0.0]
    for string in strings:
        values += [*(string.now or ()), *(string.aim or ())]
    low, high = min(values), max(values)
    px_per_cent = _USED * lane / max(high - low, _LEAST_CENTS)
    end = width - _RIGHT
    along = (end - 8 - _LEFT) / fret_place(scale_mm, FRETS)
    frets = tuple([_LEFT] + [_LEFT + along * fret_place(scale_mm, n) for n in range(1, FRETS + 1)])
    first = _TOP + 14 + high * px_per_cent
    bases = tuple(first + i * lane for i in range(len(strings)))
    bottom = bases[-1] - low * px_per_cent + 14
    return _NeckGeometry(frets, bases, px_per_cent, _TOP, bottom, _LEFT, end)


def _board(at: _NeckGeometry, *, narrow: bool) -> list[Markup]:
    """Draw board, frets, inlays, nut and the numbers of the frets."""
    tall = at.bottom - at.top
    pieces = [svg.el("rect", x=at.nut, y=at.top, width=at.end - at.nut, height=tall, cls="board")]
    middle = (at.top + at.bottom) / 2
    for n in range(1, FRETS + 1):
        x = at.frets[n]
        pieces.append(svg.line(x, at.top, x, at.bottom, cls="fret"))
        if n in _MARKED:
            between = (at.frets[n - 1] + x) / 2
            for y in (middle,) if n != FRETS else (middle - tall / 4, middle + tall / 4):
                pieces.append(svg.el("circle", cx=between, cy=y, r=4, cls="inlay"))
        if not narrow or n in (1, 2, *_MARKED):
            pieces.append(svg.text(x, at.top - 8, str(n), cls="t soft-text", anchor="middle"))
    pieces.append(svg.el("rect", x=at.nut - _NUT_WIDTH, y=at.top, width=_NUT_WIDTH, height=tall, cls="nut"))
    return pieces


def _string(string: NeckString, *, base: float, at: _NeckGeometry, ident: str) -> list[Markup]:
    """Draw one string: straight, as it is, at target, and what lies between."""
    thick = "string wound thin" if string.wound else "string thin"
    pieces = [
        svg.line(at.nut - _NUT_WIDTH, base, at.end, base, cls="true-line"),
        svg.text(24, base + 5, str(string.number), cls="t big", anchor="end"),
        svg.text(28, base + 5, string.note, cls="t soft-text"),
    ]
    if string.now is None or string.aim is None:
        pieces.append(svg.text(at.nut + 12, base - 6, "not measured", cls="t soft-text"))
        return pieces
    xs = at.frets[1:]
    now = [(x, base - c * at.px_per_cent) for x, c in zip(xs, string.now, strict=True)]
    aim = [(x, base - c * at.px_per_cent) for x, c in zip(xs, string.aim, strict=True)]
    start = (at.nut, base)
    pieces.append(
        svg.path([start, *now, *reversed(aim), start], cls="adds", closed=True, fill=f"url(#{ident}-adds)")
    )
    pieces.append(svg.path([start, *aim], cls="aim"))
    pieces.append(svg.path([start, *now], cls=thick))
    pieces += [svg.el("circle", cx=x, cy=y, r=2.6, cls="ring") for x, y in aim]
    pieces += [svg.el("circle", cx=x, cy=y, r=2.6, cls="dot") for x, y in now]
    x, y = now[0]
    pieces.append(svg.text(x + 7, min(y, aim[0][1]) - 4, string.label, cls="t strong halo"))
    return pieces


def _bar(at: _NeckGeometry) -> list[Markup]:
    """Draw the scale: a bar of a round number of cents, at the foot."""
    room = 24.0 / at.px_per_cent
    length = max([step for step in _BAR_STEPS if step <= room] or [_BAR_STEPS[0]])
    x, foot = at.nut + 4, at.bottom + _FOOT - 4
    top = foot - length * at.px_per_cent
    word = "cent" if length == 1 else "cents"
    return [
        svg.path([(x - 3, top), (x + 3, top), (x, top), (x, foot), (x - 3, foot), (x + 3, foot)], cls="bar"),
        svg.text(x + 10, (top + foot) / 2 + 4, f"{length} {word}; up is sharp", cls="t soft-text"),
    ]
