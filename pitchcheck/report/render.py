"""Pages rendered: each is one self-contained HTML file that asks for nothing and can be read offline."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import lru_cache

from jinja2 import Environment, PackageLoader, StrictUndefined

from pitchcheck.instrument import Instrument
from pitchcheck.measurement import Measurement
from pitchcheck.report import chord_words
from pitchcheck.report.drawings import (
    draw_leaf,
    draw_neck,
    draw_nut,
    draw_press,
    draw_slot,
    exaggeration,
)
from pitchcheck.report.job.about import About, about_view
from pitchcheck.report.job.view import JobReportInput, grouped, job_view
from pitchcheck.report.page.view import page_view
from pitchcheck.report.take_sheet import take_sheet
from pitchcheck.takes import Position
from pitchcheck.units import LengthUnit
from pitchcheck.words import cautions

WIDE_PX = 860.0  # [px] drawings for a bench screen and for paper
NARROW_PX = 340.0  # [px] drawings for a phone held upright; the style sheet shows one of the two

_UNIT = re.compile(r"(?<=\d) (?=(?:mm|thou|cents?)\b|%)")  # a number and its unit stay on one line


@lru_cache(maxsize=1)
def environment() -> Environment:
    """Return the template environment: everything escaped, unknown names refused."""
    environment = Environment(
        loader=PackageLoader("pitchcheck.report", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals.update(
        draw_leaf=draw_leaf,
        draw_neck=draw_neck,
        draw_nut=draw_nut,
        draw_press=draw_press,
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
    return _render("page.html.jinja", view=page_view(measurement))


def render_job(given: JobReportInput, *, reader: str) -> str:
    """Render the report of a job.

    Parameters
    ----------
    given : JobReportInput
    reader : {"tech", "player"}
        The player's page leaves out the slots one by one, the takes and the bench notes.

    Returns
    -------
    str
        A whole HTML document; style, drawings and sound are inside.
    """
    return _render("job.html.jinja", view=job_view(given), reader=reader)


def render_intake(
    measurement: Measurement, *, title: str, made: str, about: About, fingerprint: str | None, reader: str
) -> str:
    """Render the page of a job with one pass: how the instrument came in, and what is proposed.

    Parameters
    ----------
    measurement : Measurement
        Of that pass.
    title, made : str
        Of the job, and the date of the page.
    about : About
    fingerprint : str or None
    reader : {"tech", "player"}
    """
    return _render(
        "intake.html.jinja",
        title=f"Intake: {title}",
        made=made,
        view=page_view(measurement),
        about=about_view(about, unit=measurement.settings.unit),
        fingerprint=grouped(fingerprint),
        reader=reader,
    )


def render_take_sheet(
    instrument: Instrument, positions: Sequence[Position], *, unit: LengthUnit = LengthUnit.MM
) -> str:
    """Render the take sheet of an instrument.

    Parameters
    ----------
    instrument : Instrument
        Names the strings.
    positions : sequence of Position
        Every take, in playing order.
    unit : LengthUnit
        What the scale length is shown in.
    """
    return _render("takesheet.html.jinja", view=take_sheet(instrument, positions, unit=unit))


def style_sheet(*, job: bool = False) -> str:
    """Return the style sheet of the report page, and of a job's: what else shows its pieces looks alike."""
    names = ("page.css.jinja", "job.css.jinja") if job else ("page.css.jinja",)
    return "".join(environment().get_template(name).render() for name in names)


def keep_units(page: str) -> str:
    """Return a page in which units stay on the line of their number."""
    return _UNIT.sub("\u00a0", page)


def _render(template: str, **values: object) -> str:
    """Render a template with units kept on the line of their number."""
    return keep_units(environment().get_template(template).render(**values))
