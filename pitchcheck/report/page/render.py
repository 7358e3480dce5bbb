"""The report as one self-contained HTML page: no request to anywhere, readable offline and in print."""

from __future__ import annotations

import re
from functools import lru_cache

from jinja2 import Environment, PackageLoader, StrictUndefined

from pitchcheck.measurement import Measurement
from pitchcheck.report import chord_words
from pitchcheck.report.drawings import draw_neck, draw_nut, draw_slot, exaggeration
from pitchcheck.report.drawings.change import change_exaggeration, draw_change
from pitchcheck.report.page.view import page_view
from pitchcheck.words import cautions

WIDE_PX = 860.0  # [px] drawings for a bench screen and for paper
NARROW_PX = 340.0  # [px] drawings for a phone held upright; the style sheet shows one of the two

_UNIT = re.compile(r"(?<=\d) (?=(?:mm|thou|cents?)\b|%)")  # a number and its unit stay on one line


@lru_cache(maxsize=1)
def _environment() -> Environment:
    """Return the template environment: everything escaped, unknown names refused."""
    environment = Environment(
        loader=PackageLoader("pitchcheck.report", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals.update(
        change_exaggeration=change_exaggeration,
        draw_change=draw_change,
        draw_neck=draw_neck,
        draw_nut=draw_nut,
        draw_slot=draw_slot,
        exaggeration=exaggeration,
        cautions=cautions,
        chord_words=chord_words,
        wide=WIDE_PX,
        narrow=NARROW_PX,
    )
    return environment


def render_page(measurement: Measurement) -> str:
    """Render the report page.

    Parameters
    ----------
    measurement : Measurement
        Any measurement, also one in which no string could be measured.

    Returns
    -------
    str
        A whole HTML document with its style sheet and drawings inside.
    """
    return render("page.html.jinja", view=page_view(measurement))


def render(template: str, **values: object) -> str:
    """Render a template with units kept on the line of their number."""
    return _UNIT.sub("\u00a0", _environment().get_template(template).render(**values))
