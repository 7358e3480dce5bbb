"""One slot in side view before and now: dashed as it was, solid as it is, hatched what came off.

Conventions: as in ``draw_slot``: the string is held behind fret 3; along the string true to scale, heights
stretched alike in all pictures of a page.
"""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from pitchcheck.report.drawings import svg
from pitchcheck.report.drawings.height_scale import Heights, span
from pitchcheck.report.drawings.slot import (
    HEIGHT,
    NUT,
    SIZE,
    TOP,
    Scene,
    frets_of,
    marks_of,
    scene_of,
    stretched,
)
from pitchcheck.report.job.records import ChangePicture


def change_scale(pictures: Sequence[ChangePicture]) -> Heights:
    """Return the scale of heights that all pictures share."""
    lows = [0.0, *(p.floor_mm for p in pictures)]
    highs = [0.0, *(p.target_mm for p in pictures)]
    for picture in pictures:
        for height in (picture.before_mm, picture.after_mm, picture.low_mm, picture.high_mm):
            if height is not None:
                lows.append(height)
                highs.append(height)
    return span(lows, highs, top=TOP, px=HEIGHT)


def change_exaggeration(pictures: Sequence[ChangePicture], *, scale_mm: float) -> float:
    """How many times larger heights are drawn than lengths along the string."""
    return stretched(change_scale(pictures), scale_mm=scale_mm)


def draw_change(
    picture: ChangePicture, *, pictures: Sequence[ChangePicture], scale_mm: float, ident: str
) -> Markup:
    """Draw one slot.

    Parameters
    ----------
    picture : ChangePicture
    pictures : sequence of ChangePicture
        All of the page; they give the scale.
    scale_mm : float > 0
        Of the instrument. [mm]
    ident : str
        Unique on the page.
    """
    scene = scene_of(change_scale(pictures), scale_mm=scale_mm)
    pieces = [
        svg.hatch(f"{ident}-off", cls="hatch-off"),
        svg.hatch(f"{ident}-up", cls="hatch-up", slope=-1),
        *frets_of(scene),
        *_nut(picture, scene),
        *_band(picture, scene),
        *_moved(picture, scene, ident),
        *_strings(picture, scene),
        *marks_of(_named(picture), scene, strong="now"),
    ]
    return svg.picture(*pieces, ident=ident, size=SIZE, title=picture.title, desc=picture.desc, cls="slot")


def _nut(picture: ChangePicture, scene: Scene) -> list[Markup]:
    """Draw the wall of the slot, and the nut below its floor as it is now."""
    (left, right), scale = NUT, scene.scale
    wall = [(left, scale.bottom), (left, scale.top), (right, scale.top), (right, scale.bottom)]
    pieces = [svg.path(wall, cls="nut-wall", closed=True)]
    if picture.after_mm is not None:
        floor = scale.inside(picture.after_mm)
        body = [(left, scale.bottom), (left, floor), (right, floor), (right, scale.bottom)]
        pieces.append(svg.path(body, cls="nut", closed=True))
    return pieces


def _band(picture: ChangePicture, scene: Scene) -> list[Markup]:
    """Draw where the string may really run now."""
    if picture.low_mm is None or picture.high_mm is None:
        return []
    (left, right), scale = NUT, scene.scale
    high, low = scale.inside(picture.high_mm), scale.inside(picture.low_mm)
    corners = [(left, high), (right, high), (scene.frets[1], scale.y(0.0)), (right, low), (left, low)]
    return [svg.path(corners, cls="soft", closed=True)]


def _moved(picture: ChangePicture, scene: Scene, ident: str) -> list[Markup]:
    """Draw the material between the floor as it was and as it is."""
    if picture.before_mm is None or picture.after_mm is None:
        return []
    was, now = (scene.scale.inside(mm) for mm in (picture.before_mm, picture.after_mm))
    fill = f"url(#{ident}-{'off' if now > was else 'up'})"
    box = {"x": NUT[0], "y": min(was, now), "width": NUT[1] - NUT[0], "height": abs(now - was)}
    return [svg.el("rect", **box, fill=fill, cls="patch")]


def _strings(picture: ChangePicture, scene: Scene) -> list[Markup]:
    """Draw the string as it was, as it is, and the height below which it buzzes."""
    (left, right), scale = NUT, scene.scale
    rest = [(scene.frets[1], scale.y(0.0)), (scene.frets[2], scale.y(0.0))]
    pieces = [
        svg.line(left - 4, scale.y(picture.target_mm), right + 8, scale.y(picture.target_mm), cls="goal")
    ]
    if picture.before_mm is not None:
        was = scale.inside(picture.before_mm)
        pieces.append(svg.path([(left, was), (right, was), *rest], cls="target"))
    if picture.after_mm is not None:
        floor = scale.inside(picture.after_mm)
        look = "string wound" if picture.wound else "string"
        pieces.append(svg.path([(left - 10, floor + 2), (left, floor), (right, floor), *rest], cls=look))
    pieces.append(svg.zigzag(left - 4, right + 26, scale.y(picture.floor_mm), cls="buzz"))
    return pieces


def _named(picture: ChangePicture) -> list[tuple[str, float]]:
    """Return the heights that are written beside the nut."""
    named = [("target", picture.target_mm), ("buzz below", picture.floor_mm)]
    if picture.before_mm is not None:
        named.append(("before", picture.before_mm))
    if picture.after_mm is not None:
        named.append(("now", picture.after_mm))
    return named
