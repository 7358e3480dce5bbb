"""The drawings of the pages: the nut from the front, a slot from the side, the neck, a press.

Conventions: each is a pure function from a view record to inline SVG; ``ident`` must be unique on a page.
They carry class names only; ``templates/page.css.jinja`` gives them ink.
"""

from __future__ import annotations

from pitchcheck.report.drawings.neck import draw_neck
from pitchcheck.report.drawings.nut import draw_nut
from pitchcheck.report.drawings.press import draw_leaf, draw_press
from pitchcheck.report.drawings.slot import draw_slot
from pitchcheck.report.drawings.slot_geometry import exaggeration

__all__ = ["draw_leaf", "draw_neck", "draw_nut", "draw_press", "draw_slot", "exaggeration"]
