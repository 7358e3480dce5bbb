"""Documents cannot fall behind: every command, error, field and default is in them."""

from __future__ import annotations

import importlib
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from typer.main import get_command

from helpers.imports import modules
from pitchcheck.cli.app import app
from pitchcheck.diagnosis import Cause
from pitchcheck.errors import PitchcheckError
from pitchcheck.instrument import MeterQuantity
from pitchcheck.session.limits import DEFAULT_SD_CENTS, GAUGE_READINGS
from pitchcheck.session.presets import presets

DOCS = Path(__file__).parents[2] / "docs"
FORMATS = (DOCS / "formats.md").read_text(encoding="utf-8")
MESSAGES = (DOCS / "messages.md").read_text(encoding="utf-8")
ALL_DOCS = "\n".join(path.read_text(encoding="utf-8") for path in DOCS.rglob("*.md"))


def kinds(kind: type[PitchcheckError] = PitchcheckError) -> Iterator[type[PitchcheckError]]:
    """Return an error and all that derive from it."""
    yield kind
    for child in kind.__subclasses__():
        yield from kinds(child)


def test_every_error_has_a_section_and_every_section_is_an_error() -> None:
    for module in modules():  # every error of the package is defined once its module is loaded
        if module.name != "pitchcheck.__main__":
            importlib.import_module(module.name)
    slugs = {kind.slug for kind in kinds()}
    assert len(slugs) > 10
    assert set(re.findall(r"^## (\S+)$", MESSAGES, re.MULTILINE)) == slugs


@pytest.mark.parametrize("name", sorted(get_command(app).commands))
def test_every_command_is_in_the_documents_and_helps(name: str) -> None:
    assert f"pitchcheck {name}" in ALL_DOCS
    assert get_command(app).commands[name].help


@pytest.mark.parametrize("gauge", list(MeterQuantity))
def test_every_gauge_stands_with_its_default_error(gauge: MeterQuantity) -> None:
    row = next(line for line in FORMATS.splitlines() if line.startswith(f"| `{gauge}`"))
    assert f"{GAUGE_READINGS[gauge].sd_mm:g} mm" in row


def test_presets_causes_and_the_default_reading_error_are_stated() -> None:
    words = [f"`{preset.name}`" for preset in presets()] + [f"`{cause.value}`" for cause in Cause]
    assert [word for word in words if word not in FORMATS] == []
    assert f"{DEFAULT_SD_CENTS:g} cent" in FORMATS
