"""One slot in side view: nut, string over the first frets, where the floor is, was and should be, how sure.

Conventions: the string is held behind fret 3, so it runs straight from the slot to the top of fret 2
(docs/method.md). Along the string true to scale; heights are stretched, and the page says by how much.
"""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from pitchcheck.report.drawings import svg
from pitchcheck.report.drawings.slot_geometry import (
    HAZE,
    NUT_EDGES,
    SIDE_SIZE,
    Heights,
    heights,
    side_frets,
)
from pitchcheck.report.records import SlotPicture

_LEFT, _RIGHT = NUT_EDGES
_CROWN = 7.0  # [px] half width of a fret
_LABEL_GAP = 14.0
_TALL_GAP = 22.0  # [px] a gap drawn taller than this has room for its name beside it


def draw_slot(slot: SlotPicture, *, slots: Sequence[SlotPicture], scale_mm: float, ident: str) -> Markup:
    """Draw one slot, and as it was before if that is known.

    Parameters
    ----------
    slot : SlotPicture
    slots : sequence of SlotPicture
        All of the page: they share one scale of heights.
    scale_mm : float > 0
        Scale length of the instrument. [mm]
    ident : str
        Unique on the page.
    """
    scale, frets = heights(slots), side_frets(scale_mm)
    pieces = [
        svg.hatch(f"{ident}-off", cls="hatch-off"),
        svg.hatch(f"{ident}-up", cls="hatch-up", slope=-1),
        *_frets(scale, frets),
        *_nut(slot, scale),
        *_haze(slot, scale, frets),
        *_material(slot, scale, ident),
        *_strings(slot, scale, frets),
        *_gap(slot, scale, frets),
        *_names(slot, scale),
    ]
    title = f"String {slot.number} ({slot.note}), slot in side view: {slot.word}"
    return svg.picture(*pieces, ident=ident, size=SIDE_SIZE, title=title, desc=slot.desc, cls="slot")


def _frets(scale: Heights, frets: tuple[float, ...]) -> list[Markup]:
    """Draw three frets with round tops, and their numbers."""
    ground, top = scale.bottom, scale.y(0.0)
    pieces = []
    for number, x in enumerate(frets, start=1):
        d = f"M{x - _CROWN:.1f} {ground:.1f}V{top + 8:.1f}Q{x - _CROWN:.1f} {top:.1f} {x:.1f} {top:.1f}"
        d += f"Q{x + _CROWN:.1f} {top:.1f} {x + _CROWN:.1f} {top + 8:.1f}V{ground:.1f}Z"
        pieces.append(svg.el("path", d=d, cls="fret-end"))
        pieces.append(svg.text(x, ground + 17, f"fret {number}", cls="t soft-text", anchor="middle"))
    pieces.append(svg.line(_LEFT - 8, ground, SIDE_SIZE[0] - 4, ground, cls="cut"))
    pieces.append(svg.text((_LEFT + _RIGHT) / 2, ground + 17, "nut", cls="t soft-text", anchor="middle"))
    return pieces


def _nut(slot: SlotPicture, scale: Heights) -> list[Markup]:
    """Draw the wall of the slot, and the nut below its floor."""
    pieces = [_box(scale.top, scale.bottom, cls="nut-wall")]
    if slot.height_mm is not None:
        pieces.append(_box(scale.floor(slot), scale.bottom, cls="nut"))
    return pieces


def _box(top: float, bottom: float, **look: str) -> Markup:
    """Draw a piece of the nut between two heights."""
    return svg.el("rect", x=_LEFT, y=top, width=_RIGHT - _LEFT, height=bottom - top, **look)


def _haze(slot: SlotPicture, scale: Heights, frets: tuple[float, ...]) -> list[Markup]:
    """Draw where the string may really run: nested wedges that fade outward, and the ends of the interval."""
    belief = slot.height_mm
    if belief is None:
        return []
    meet = (frets[1], scale.y(0.0))
    pieces = []
    for p in HAZE:
        low, high = scale.inside(belief.quantile(p)), scale.inside(belief.quantile(1 - p))
        corners = [(_LEFT, high), (_RIGHT, high), meet, (_RIGHT, low), (_LEFT, low)]
        pieces.append(svg.path(corners, cls="soft", closed=True))
    for end in (belief.low, belief.high):
        if scale.low_mm <= end <= scale.high_mm:
            pieces.append(svg.line(_LEFT, scale.y(end), _RIGHT, scale.y(end), cls="band-end"))
    return pieces


def _material(slot: SlotPicture, scale: Heights, ident: str) -> list[Markup]:
    """Hatch what came off or was added; without a pass before, what may come off or is missing."""
    if slot.height_mm is None:
        return []
    now = slot.height_mm.median
    if slot.before_mm is not None:
        other, name = slot.before_mm, "off" if slot.before_mm > now else "up"
    elif slot.remove_mm > 0:
        other, name = now - slot.remove_mm, "off"
    elif slot.raise_mm:
        other, name = now + slot.raise_mm, "up"
    else:
        return []
    top, bottom = sorted((scale.inside(now), scale.inside(other)))
    return [_box(top, bottom, fill=f"url(#{ident}-{name})", cls="patch")]


def _strings(slot: SlotPicture, scale: Heights, frets: tuple[float, ...]) -> list[Markup]:
    """Draw the string over the frets: dashed as it was or should run, solid as it runs; where it buzzes."""
    rest = [(frets[1], scale.y(0.0)), (frets[2], scale.y(0.0))]
    target = scale.y(slot.target_mm)
    pieces = []
    if slot.before_mm is not None:
        was = scale.inside(slot.before_mm)
        pieces += [
            svg.line(_LEFT - 4, target, _RIGHT + 8, target, cls="goal"),
            svg.path([(_LEFT, was), (_RIGHT, was), *rest], cls="target"),
        ]
    else:
        pieces.append(svg.path([(_LEFT, target), (_RIGHT, target), *rest], cls="target"))
    if slot.height_mm is not None:
        floor = scale.floor(slot)
        look = "string wound" if slot.wound else "string"
        pieces.append(svg.path([(_LEFT - 10, floor + 2), (_LEFT, floor), (_RIGHT, floor), *rest], cls=look))
    pieces.append(svg.zigzag(_LEFT - 4, _RIGHT + 26, scale.y(slot.floor_mm), cls="buzz"))
    return pieces


def _gap(slot: SlotPicture, scale: Heights, frets: tuple[float, ...]) -> list[Markup]:
    """Draw the gap over fret 1 that a feeler gauge would find."""
    if slot.height_mm is None or slot.height_mm.median <= 0:
        return []
    x, top = frets[0], scale.y(0.0)
    along = (frets[1] - x) / (frets[1] - _RIGHT)
    string = top - along * (top - scale.floor(slot))
    ends = [(x - 4, string), (x + 4, string), (x, string), (x, top), (x - 4, top), (x + 4, top)]
    if top - string < _TALL_GAP:  # no room beside it: the word goes above the string
        name = svg.text(x + 6, string - 7, "gap", cls="t soft-text halo-paper")
    else:
        name = svg.text(x - 8, top - 5, "gap", cls="t soft-text", anchor="end")
    return [svg.path(ends, cls="bar"), name]


def _names(slot: SlotPicture, scale: Heights) -> list[Markup]:
    """Write the names of the heights to the left of the nut, apart from each other."""
    now = "is now" if slot.before_mm is None else "now"
    named = [("target", slot.target_mm), ("buzz below", slot.floor_mm)]
    if slot.before_mm is not None:
        named.append(("before", slot.before_mm))
    if slot.height_mm is not None:
        named.append((now, slot.height_mm.median))
        if slot.remove_mm > 0:
            named.append(("stop here", slot.height_mm.median - slot.remove_mm))
    places = [scale.inside(mm) for _, mm in named]
    labels = svg.spread(places, gap=_LABEL_GAP, low=scale.top, high=scale.bottom - 2)
    pieces = []
    for (name, _), place, label in zip(named, places, labels, strict=True):
        look = "t strong" if name == now else "t"
        pieces.append(svg.text(_LEFT - 18, label + 4, name, cls=look, anchor="end"))
        pieces.append(svg.line(_LEFT - 15, label, _LEFT - 2, place, cls="lead"))
    return pieces
