"""Pages of the bench from templates: its own, and pieces of the report's, with the report's style sheet."""

from __future__ import annotations

from functools import cache
from typing import Any

from jinja2 import ChoiceLoader, Environment, PackageLoader

from pitchcheck.report.render import environment as report_environment
from pitchcheck.report.render import keep_units, style_sheet

STATIC = {"bench.css": "text/css", "bench.js": "text/javascript"}


@cache
def environment() -> Environment:
    """Return the templates of the bench; what it has not itself comes from the report."""
    own = PackageLoader("pitchcheck.bench", "templates")
    report = report_environment()
    assert report.loader is not None
    return report.overlay(loader=ChoiceLoader([own, report.loader]))


def render(template: str, **values: Any) -> str:
    """Render a template; numbers stay on the line of their unit."""
    return keep_units(environment().get_template(template).render(**values))


@cache
def static(name: str) -> str:
    """Return the style sheet or the script."""
    loader = environment().loader
    assert loader is not None
    source = loader.get_source(environment(), name)[0]
    return style_sheet(job=True) + source if name == "bench.css" else source
