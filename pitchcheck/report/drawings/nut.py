"""The nut seen from the fretboard: each string in its slot, where the slot should end, how sure that is.

Conventions: heights in mm above the line through the fret tops, up is up; strings and slots are not to scale
in width. A verdict is told by a word first, then by the place of the string against the dashed line.
"""

from __future__ import annotations

from markupsafe import Markup

from pitchcheck.report.drawings import svg
from pitchcheck.report.drawings.height_scale import Heights, heights
from pitchcheck.report.page.records import NutView, SlotView

_TOP = 14.0  # [px]
_HEIGHT = 150.0  # [px] of the range of heights
_LABELS = 84.0  # [px] below the block
_STRING_PX = (3.2, 7.5)  # [px] radius of the thinnest and thickest string, for looks only
_THICK_MM = 1.3  # [mm] drawn at the larger radius
_UNKNOWN_GAUGE_MM = 0.6
_LETTER_PX = 8.0  # [px] width of a letter of a verdict
_ROOM_PX = 56.0  # [px] columns narrower than this have no room for the word "measured"
_SOFT = (0.05, 0.15, 0.25, 0.35)  # [-] nested quantiles: the band fades outward, the outermost is 90 %


def draw_nut(nut: NutView, *, width: float, ident: str, cls: str = "") -> Markup:
    """Draw all slots side by side, string 1 on the right.

    Parameters
    ----------
    nut : NutView
        At least one slot.
    width : float > 0
        Of the drawing. [px]
    ident : str
        Unique on the page.
    cls : str
        Class names of the drawing.
    """
    scale = heights(nut, top=_TOP, px=_HEIGHT)
    slots = sorted(nut.slots, key=lambda s: -s.number)
    column = width / len(slots)
    centres = [(i + 0.5) * column for i in range(len(slots))]
    pieces = [
        svg.hatch(f"{ident}-off", cls="hatch-off"),
        svg.hatch(f"{ident}-up", cls="hatch-up", slope=-1),
        _block(slots, centres=centres, column=column, scale=scale, width=width),
    ]
    for slot, x in zip(slots, centres, strict=True):
        pieces += _slot(slot, x=x, half=_half(slot, column), scale=scale, ident=ident)
    pieces.append(_target_line(slots, centres=centres, column=column, scale=scale))
    for slot, x in zip(slots, centres, strict=True):
        pieces += _labels(slot, x=x, top=scale.bottom + 18, column=column)
    return svg.picture(
        *pieces,
        ident=ident,
        size=(width, scale.bottom + _LABELS),
        title="The nut seen from the fretboard",
        desc=" ".join(describe(slot) for slot in sorted(slots, key=lambda s: s.number)),
        cls=cls,
    )


def describe(slot: SlotView) -> str:
    """Return what a drawing of this slot shows, in words."""
    if slot.height_mm is None:
        return f"String {slot.number}, {slot.note}: not measured."
    return (
        f"String {slot.number}, {slot.note}: {slot.word}. The slot floor is at {slot.height}, "
        f"90 % sure between {slot.between.replace(' to ', ' and ')}; it should be at {slot.target}."
    )


def string_radius(slot: SlotView) -> float:
    """Radius a string is drawn with: thicker strings look thicker. [px]"""
    gauge = slot.gauge_mm or _UNKNOWN_GAUGE_MM
    thin, thick = _STRING_PX
    return thin + (thick - thin) * min(gauge / _THICK_MM, 1.0)


def _half(slot: SlotView, column: float) -> float:
    """Half the drawn width of a slot. [px]"""
    return min(string_radius(slot) + 2.0, 0.32 * column)


def _floor(slot: SlotView, scale: Heights) -> float:
    """Place of the slot's floor as drawn. [px]"""
    return scale.inside(slot.target_mm if slot.height_mm is None else slot.height_mm.median)


def _block(
    slots: list[SlotView], *, centres: list[float], column: float, scale: Heights, width: float
) -> Markup:
    """Draw the nut's body with its slots cut down to their medians."""
    points = [(1.0, scale.bottom), (1.0, _TOP)]
    for slot, x in zip(slots, centres, strict=True):
        half, floor = _half(slot, column), _floor(slot, scale)
        points += [(x - half, _TOP), (x - half, floor), (x + half, floor), (x + half, _TOP)]
    points += [(width - 1.0, _TOP), (width - 1.0, scale.bottom)]
    return svg.path(points, cls="nut", closed=True)


def _slot(slot: SlotView, *, x: float, half: float, scale: Heights, ident: str) -> list[Markup]:
    """Draw one slot: soft band, what comes off, buzz line, the string."""
    pieces: list[Markup] = []
    wide = 2 * half + 10
    belief = slot.height_mm
    if belief is not None:
        for p in _SOFT:
            top, bottom = scale.inside(belief.quantile(1 - p)), scale.inside(belief.quantile(p))
            pieces.append(
                svg.el("rect", x=x - wide / 2, y=top, width=wide, height=max(bottom - top, 0.5), cls="soft")
            )
    floor = _floor(slot, scale)
    if slot.remove_mm > 0:
        deep = slot.remove_mm * scale.px_per_mm
        pieces.append(_patch(x, half, floor, deep, fill=f"url(#{ident}-off)"))
    if slot.raise_mm is not None:
        up = slot.raise_mm * scale.px_per_mm
        pieces.append(_patch(x, half, floor - up, up, fill=f"url(#{ident}-up)"))
    pieces.append(svg.zigzag(x - wide / 2, x + wide / 2, scale.y(slot.floor_mm), cls="buzz"))
    radius = min(string_radius(slot), half - 0.5)
    look = "string-end" if belief is not None else "string-end unknown"
    pieces.append(svg.el("circle", cx=x, cy=floor - radius, r=radius, cls=look))
    return pieces


def _patch(x: float, half: float, y: float, height: float, *, fill: str) -> Markup:
    """Draw hatched material."""
    return svg.el("rect", x=x - half, y=y, width=2 * half, height=height, fill=fill, cls="patch")


def _target_line(slots: list[SlotView], *, centres: list[float], column: float, scale: Heights) -> Markup:
    """Draw the dashed line through the targets."""
    places = [(x, scale.y(slot.target_mm)) for slot, x in zip(slots, centres, strict=True)]
    reach = 0.45 * column
    ends = ((places[0][0] - reach, places[0][1]), (places[-1][0] + reach, places[-1][1]))
    return svg.path([ends[0], *places, ends[1]], cls="target")


def _labels(slot: SlotView, *, x: float, top: float, column: float) -> list[Markup]:
    """Write number, note and verdict below one slot, one word to a line, small enough for its column."""
    pieces = [
        svg.text(x, top, str(slot.number), cls="t big", anchor="middle"),
        svg.text(x, top + 16, slot.note, cls="t soft-text", anchor="middle"),
    ]
    words = slot.word.split(" ")
    if slot.height_mm is None and column < _ROOM_PX:
        words = ["not", "heard"]
    longest = max(len(word) for word in words)
    fits = "" if longest * _LETTER_PX <= column else " tiny"
    for i, word in enumerate(words):
        look = f"t verdict {slot.mark}{fits}"
        pieces.append(svg.text(x, top + 33 + 13 * i, word, cls=look, anchor="middle"))
    return pieces
