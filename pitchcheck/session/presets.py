"""Generic instruments and their usual strings: a starting point to be corrected at the bench.

Conventions: scale lengths and string diameters in mm; strings numbered from 1, nearest the floor in playing
position. The rows are data (``presets.toml``): common practice, no source; no row stands for a product.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources

from pitchcheck.errors import BadValue
from pitchcheck.instrument import StringSpec
from pitchcheck.units import MM_PER_INCH

MATERIALS = {  # letter of a row: material as a packet says it, and whether such a string is wound
    "p": ("plain steel", False),
    "n": ("nickel-plated steel", True),
    "b": ("phosphor bronze", True),
    "y": ("nylon", False),
    "s": ("silver-plated copper on nylon", True),
}
UNFRETTED = ("violin", "viola", "cello", "double bass", "fretless", "lap steel", "pedal steel", "harp")


@dataclass(frozen=True)
class Preset:
    """A kind of instrument by its everyday name."""

    name: str
    words: str
    scale_mm: float
    strings: tuple[StringSpec, ...]


@cache
def presets() -> tuple[Preset, ...]:
    """Every usual instrument, in the order of the file."""
    text = resources.files("pitchcheck.session").joinpath("presets.toml").read_text(encoding="utf-8")
    return tuple(
        Preset(name, row["words"], row["scale_mm"], tuple(map(_string, range(1, 99), row["strings"])))
        for name, row in tomllib.loads(text).items()
    )


def _string(number: int, row: str) -> StringSpec:
    """String from a row: note, diameter in inches, letter of the material (and fret of its nut)."""
    note, inches, letter, *nut = row.split()
    material, wound = MATERIALS[letter]
    return StringSpec(
        number,
        note,
        round(float(inches) * MM_PER_INCH, 4),
        material,
        wound,
        nut_at_fret=int(nut[0]) if nut else 0,
    )


def find_preset(kind: str) -> Preset | None:
    """Preset of that name (capitals, hyphens and underscores do not matter), or None."""
    wanted = _plain(kind)
    return next((preset for preset in presets() if _plain(preset.name) == wanted), None)


def get_preset(kind: str) -> Preset:
    """Preset of that name.

    Raises
    ------
    BadValue
        If there is none; the message lists them. An instrument without frets is told why it cannot be one.
    """
    preset = find_preset(kind)
    if preset is not None:
        return preset
    if any(word in _plain(kind) for word in UNFRETTED):
        raise BadValue(
            f"{kind!r} has no frets to press a string against. The method compares an open string with notes "
            "stopped on frets, so an instrument without them cannot be measured."
        )
    names = ", ".join(f'"{preset.name}"' for preset in presets())
    raise BadValue(
        f"{kind!r} is not a known kind; it must be one of {names}, or a settings file (.toml) of your own. "
        "Choose the nearest and edit it."
    )


def _plain(kind: str) -> str:
    """Name without capitals, hyphens, underscores and double spaces."""
    return " ".join(kind.lower().replace("-", " ").replace("_", " ").split())
