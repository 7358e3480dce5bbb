"""The nut seen from the fretboard: each string in its slot, where the slot should end, how sure that is.

Conventions: string 1 on the right; up is up; strings and slots are not to scale in width. A verdict is told
by a word first, then by the place of the string against the dashed line.
"""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from pitchcheck.report.drawings import svg
from pitchcheck.report.drawings.slot_geometry import HAZE, Heights, heights
from pitchcheck.report.records import SlotPicture

_LABELS = 84.0  # [px] below the block
_STRING_PX = (3.2, 7.5)  # [px] radius of the thinnest and thickest string, for looks only
_THICK_MM = 1.3  # [mm] drawn at the larger radius
_UNKNOWN_GAUGE_MM = 0.6
_LETTER_PX = 8.0  # [px] width of a letter of a verdict
_ROOM_PX = 56.0  # [px] columns narrower than this have no room for the word "measured"


def draw_nut(slots: Sequence[SlotPicture], *, width: float, ident: str, cls: str = "") -> Markup:
    """Draw all slots side by side.

    Parameters
    ----------
    slots : sequence of SlotPicture
        At least one.
    width : float > 0
        Of the drawing. [px]
    ident : str
        Unique on the page.
    cls : str
        Class names of the drawing.
    """
    scale = heights(slots)
    order = sorted(slots, key=lambda s: -s.number)
    column = width / len(order)
    places = [(slot, (i + 0.5) * column) for i, slot in enumerate(order)]
    pieces = [
        svg.hatch(f"{ident}-off", cls="hatch-off"),
        svg.hatch(f"{ident}-up", cls="hatch-up", slope=-1),
        _block(places, column=column, scale=scale, width=width),
    ]
    for slot, x in places:
        pieces += _slot(slot, x=x, half=_half(slot, column), scale=scale, ident=ident)
    pieces.append(_target_line(places, column=column, scale=scale))
    for i, (slot, x) in enumerate(places):
        pieces += _labels(slot, x=x, top=scale.bottom + 18, column=column, odd=bool(i % 2))
    return svg.picture(
        *pieces,
        ident=ident,
        size=(width, scale.bottom + _LABELS),
        title="The nut seen from the fretboard",
        desc=" ".join(slot.desc for slot in reversed(order)),
        cls=cls,
    )


def string_radius(slot: SlotPicture) -> float:
    """Radius a string is drawn with: thicker strings look thicker. [px]"""
    gauge = slot.gauge_mm or _UNKNOWN_GAUGE_MM
    thin, thick = _STRING_PX
    return thin + (thick - thin) * min(gauge / _THICK_MM, 1.0)


def _half(slot: SlotPicture, column: float) -> float:
    """Half the drawn width of a slot. [px]"""
    return min(string_radius(slot) + 2.0, 0.32 * column)


def _block(places: list[tuple[SlotPicture, float]], *, column: float, scale: Heights, width: float) -> Markup:
    """Draw the nut's body with its slots cut down to their medians."""
    points = [(1.0, scale.bottom), (1.0, scale.top)]
    for slot, x in places:
        half, floor = _half(slot, column), scale.floor(slot)
        points += [(x - half, scale.top), (x - half, floor), (x + half, floor), (x + half, scale.top)]
    points += [(width - 1.0, scale.top), (width - 1.0, scale.bottom)]
    return svg.path(points, cls="nut", closed=True)


def _slot(slot: SlotPicture, *, x: float, half: float, scale: Heights, ident: str) -> list[Markup]:
    """Draw one slot: haze, what comes off or is missing, buzz line, the string."""
    pieces: list[Markup] = []
    wide = 2 * half + 10
    belief, floor = slot.height_mm, scale.floor(slot)
    for p in HAZE[::2] if belief is not None else ():
        assert belief is not None
        top, bottom = scale.inside(belief.quantile(1 - p)), scale.inside(belief.quantile(p))
        box = {"x": x - wide / 2, "y": top, "width": wide, "height": max(bottom - top, 0.5)}
        pieces.append(svg.el("rect", **box, cls="soft"))
    off, up = (amount * scale.px_per_mm for amount in (slot.remove_mm, slot.raise_mm or 0.0))
    for top, height, name in ((floor, off, "off"), (floor - up, up, "up")):
        if height > 0:
            box = {"x": x - half, "y": top, "width": 2 * half, "height": height}
            pieces.append(svg.el("rect", **box, fill=f"url(#{ident}-{name})", cls="patch"))
    pieces.append(svg.zigzag(x - wide / 2, x + wide / 2, scale.y(slot.floor_mm), cls="buzz"))
    radius = min(string_radius(slot), half - 0.5)
    look = "string-end" if belief is not None else "string-end unknown"
    pieces.append(svg.el("circle", cx=x, cy=floor - radius, r=radius, cls=look))
    return pieces


def _target_line(places: list[tuple[SlotPicture, float]], *, column: float, scale: Heights) -> Markup:
    """Draw the dashed line through the targets."""
    points = [(x, scale.y(slot.target_mm)) for slot, x in places]
    reach = 0.45 * column
    ends = (points[0][0] - reach, points[0][1]), (points[-1][0] + reach, points[-1][1])
    return svg.path([ends[0], *points, ends[1]], cls="target")


def _labels(slot: SlotPicture, *, x: float, top: float, column: float, odd: bool) -> list[Markup]:
    """Write number, note and verdict below one slot; in narrow columns every other a line lower."""
    pieces = [
        svg.text(x, top, str(slot.number), cls="t big", anchor="middle"),
        svg.text(x, top + 16, slot.note, cls="t soft-text", anchor="middle"),
    ]
    words = slot.word.split(" ")
    if slot.height_mm is None and column < _ROOM_PX:
        words = ["not", "heard"]
    longest = max(len(word) for word in words)
    fits = "" if longest * _LETTER_PX <= column else " tiny"
    for i, word in enumerate(words, start=1 if odd and fits and len(words) == 1 else 0):
        look = f"t verdict {slot.mark}{fits}"
        pieces.append(svg.text(x, top + 33 + 13 * i, word, cls=look, anchor="middle"))
    return pieces
