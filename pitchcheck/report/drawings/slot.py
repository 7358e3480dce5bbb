"""One slot in side view: nut, string over the first frets, where the floor is, where it should be, how sure.

Conventions: the string is held behind fret 3, so it runs straight from the slot to the top of fret 2
(docs/method.md). Along the string true to scale; heights are stretched, and the page says by how much.
"""

from __future__ import annotations

from dataclasses import dataclass

from markupsafe import Markup

from pitchcheck.report.drawings import svg
from pitchcheck.report.drawings.height_scale import Heights, heights
from pitchcheck.report.drawings.nut import describe
from pitchcheck.report.page.records import NutView, SlotView
from pitchcheck.tuning import fret_place

SIZE = (350.0, 196.0)  # [px]
TOP = 12.0
HEIGHT = 150.0
NUT = (104.0, 134.0)  # [px] left and right edge of the nut; right is its front edge
LAST = 326.0  # [px] place of fret 3
_CROWN = 7.0  # [px] half width of a fret
LABEL_GAP = 14.0
_TALL_GAP = 22.0  # [px] a gap drawn taller than this has room for its name beside it
SOFT = (0.05, 0.12, 0.20, 0.28, 0.36, 0.44)  # [-] nested quantiles; the outermost is the 90 % interval


@dataclass(frozen=True)
class Scene:
    """Places of everything in one side view. [px]"""

    scale: Heights
    frets: tuple[float, float, float]


def exaggeration(nut: NutView) -> float:
    """How many times larger heights are drawn than lengths along the string."""
    return stretched(heights(nut, top=TOP, px=HEIGHT), scale_mm=nut.scale_mm)


def stretched(scale: Heights, *, scale_mm: float) -> float:
    """How many times larger than lengths along the string a scale draws heights."""
    return scale.px_per_mm * fret_place(scale_mm, 3) / (LAST - NUT[1])


def scene_of(scale: Heights, *, scale_mm: float) -> Scene:
    """Return the places of a side view on a scale of heights."""
    along = (LAST - NUT[1]) / fret_place(scale_mm, 3)
    first, second, third = (NUT[1] + along * fret_place(scale_mm, n) for n in (1, 2, 3))
    return Scene(scale, (first, second, third))


def draw_slot(slot: SlotView, *, nut: NutView, ident: str, cls: str = "") -> Markup:
    """Draw one slot in side view, on the scale that all slots of the nut share.

    Parameters
    ----------
    slot : SlotView
    nut : NutView
        Gives the scale.
    ident : str
        Unique on the page.
    cls : str
        Class names of the drawing.
    """
    scene = scene_of(heights(nut, top=TOP, px=HEIGHT), scale_mm=nut.scale_mm)
    pieces = [
        svg.hatch(f"{ident}-off", cls="hatch-off"),
        svg.hatch(f"{ident}-up", cls="hatch-up", slope=-1),
        *frets_of(scene),
        *_nut(slot, scene),
        *_band(slot, scene),
        *_change(slot, scene, ident),
        *_strings(slot, scene),
        *_gap(slot, scene),
        *_marks(slot, scene),
    ]
    return svg.picture(
        *pieces,
        ident=ident,
        size=SIZE,
        title=f"String {slot.number} ({slot.note}), slot in side view: {slot.word}",
        desc=describe(slot),
        cls=f"slot {cls}".strip(),
    )


def frets_of(scene: Scene) -> list[Markup]:
    """Draw three frets with round tops, and their numbers."""
    ground, top = scene.scale.bottom, scene.scale.y(0.0)
    pieces = []
    for number, x in enumerate(scene.frets, start=1):
        d = f"M{x - _CROWN:.1f} {ground:.1f}V{top + 8:.1f}Q{x - _CROWN:.1f} {top:.1f} {x:.1f} {top:.1f}"
        d += f"Q{x + _CROWN:.1f} {top:.1f} {x + _CROWN:.1f} {top + 8:.1f}V{ground:.1f}Z"
        pieces.append(svg.el("path", d=d, cls="fret-end"))
        pieces.append(svg.text(x, ground + 17, f"fret {number}", cls="t soft-text", anchor="middle"))
    pieces.append(svg.line(NUT[0] - 8, ground, SIZE[0] - 4, ground, cls="cut"))
    pieces.append(svg.text((NUT[0] + NUT[1]) / 2, ground + 17, "nut", cls="t soft-text", anchor="middle"))
    return pieces


def _nut(slot: SlotView, scene: Scene) -> list[Markup]:
    """Draw the wall of the slot, and the nut below its floor."""
    left, right = NUT
    scale = scene.scale
    floor = scale.inside(slot.target_mm if slot.height_mm is None else slot.height_mm.median)
    wall = [(left, scale.bottom), (left, scale.top), (right, scale.top), (right, scale.bottom)]
    body = [(left, scale.bottom), (left, floor), (right, floor), (right, scale.bottom)]
    pieces = [svg.path(wall, cls="nut-wall", closed=True)]
    if slot.height_mm is not None:
        pieces.append(svg.path(body, cls="nut", closed=True))
    return pieces


def _band(slot: SlotView, scene: Scene) -> list[Markup]:
    """Draw where the string may really run: nested wedges that fade outward, and the ends of the interval."""
    belief = slot.height_mm
    if belief is None:
        return []
    scale, (left, right) = scene.scale, NUT
    meet = (scene.frets[1], scale.y(0.0))
    pieces = []
    for p in SOFT:
        low, high = scale.inside(belief.quantile(p)), scale.inside(belief.quantile(1 - p))
        corners = [(left, high), (right, high), meet, (right, low), (left, low)]
        pieces.append(svg.path(corners, cls="soft", closed=True))
    for end in (belief.low, belief.high):
        if scale.low_mm <= end <= scale.high_mm:
            pieces.append(svg.line(left, scale.y(end), right, scale.y(end), cls="band-end"))
    return pieces


def _change(slot: SlotView, scene: Scene, ident: str) -> list[Markup]:
    """Draw the material that comes off now, or that is missing."""
    if slot.height_mm is None:
        return []
    left, right = NUT
    floor, per_mm = scene.scale.inside(slot.height_mm.median), scene.scale.px_per_mm
    pieces = []
    for amount, top, name in (
        (slot.remove_mm, floor, "off"),
        (slot.raise_mm or 0.0, floor - (slot.raise_mm or 0.0) * per_mm, "up"),
    ):
        if amount > 0:
            box = {"x": left, "y": top, "width": right - left, "height": amount * per_mm}
            pieces.append(svg.el("rect", **box, fill=f"url(#{ident}-{name})", cls="patch"))
    return pieces


def _strings(slot: SlotView, scene: Scene) -> list[Markup]:
    """Draw the string from the slot over the frets: dashed as it should run, solid as it runs."""
    scale, (left, right) = scene.scale, NUT
    rest = [(scene.frets[1], scale.y(0.0)), (scene.frets[2], scale.y(0.0))]
    wanted = scale.y(slot.target_mm)
    pieces = [svg.path([(left, wanted), (right, wanted), *rest], cls="target")]
    if slot.height_mm is not None:
        floor = scale.inside(slot.height_mm.median)
        look = "string wound" if slot.wound else "string"
        pieces.append(svg.path([(left - 10, floor + 2), (left, floor), (right, floor), *rest], cls=look))
    pieces.append(svg.zigzag(left - 4, right + 26, scale.y(slot.floor_mm), cls="buzz"))
    return pieces


def _gap(slot: SlotView, scene: Scene) -> list[Markup]:
    """Draw the gap over fret 1 that a feeler gauge would find."""
    if slot.height_mm is None or slot.height_mm.median <= 0:
        return []
    x, top = scene.frets[0], scene.scale.y(0.0)
    along = (scene.frets[1] - x) / (scene.frets[1] - NUT[1])
    string = top - along * (top - scene.scale.inside(slot.height_mm.median))
    ends = [(x - 4, string), (x + 4, string), (x, string), (x, top), (x - 4, top), (x + 4, top)]
    if top - string < _TALL_GAP:  # no room beside it: the word goes above the string
        name = svg.text(x + 6, string - 7, "gap", cls="t soft-text on-paper")
    else:
        name = svg.text(x - 8, top - 5, "gap", cls="t soft-text", anchor="end")
    return [svg.path(ends, cls="bar"), name]


def _marks(slot: SlotView, scene: Scene) -> list[Markup]:
    """Write the names of the lines to the left of the nut."""
    named = [("target", slot.target_mm), ("buzz below", slot.floor_mm)]
    if slot.height_mm is not None:
        named.append(("is now", slot.height_mm.median))
        if slot.remove_mm > 0:
            named.append(("stop here", slot.height_mm.median - slot.remove_mm))
    return marks_of(named, scene, strong="is now")


def marks_of(named: list[tuple[str, float]], scene: Scene, *, strong: str) -> list[Markup]:
    """Write names of heights to the left of the nut, apart from each other."""
    scale = scene.scale
    places = [scale.inside(mm) for _, mm in named]
    labels = svg.spread(places, gap=LABEL_GAP, low=scale.top, high=scale.bottom - 2)
    pieces = []
    for (name, _), place, label in zip(named, places, labels, strict=True):
        look = "t strong" if name == strong else "t"
        pieces.append(svg.text(NUT[0] - 18, label + 4, name, cls=look, anchor="end"))
        pieces.append(svg.line(NUT[0] - 15, label, NUT[0] - 2, place, cls="lead"))
    return pieces
