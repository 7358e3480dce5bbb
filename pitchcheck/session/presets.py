"""Generic instruments and their usual strings: a starting point to be corrected at the bench.

Conventions: scale lengths in mm, string diameters in mm written as the packet's inches; strings numbered
from 1, nearest the floor in playing position. Every row is common practice, no source; no row stands for a
product.
"""

from __future__ import annotations

from dataclasses import dataclass

from pitchcheck.errors import BadValue
from pitchcheck.instrument import StringSpec
from pitchcheck.units import MM_PER_INCH

PLAIN, NICKEL, BRONZE, NYLON = "plain steel", "nickel-plated steel", "phosphor bronze", "nylon"
NYLON_WOUND = "silver-plated copper on nylon"


@dataclass(frozen=True)
class Preset:
    """A kind of instrument by its everyday name."""

    name: str
    words: str
    scale_mm: float
    strings: tuple[StringSpec, ...]


def _strings(*rows: tuple[str, float, str]) -> tuple[StringSpec, ...]:
    """Strings from rows of note, diameter in inches and material."""
    wound = {NICKEL, BRONZE, NYLON_WOUND}
    return tuple(
        StringSpec(i, note, round(inches * MM_PER_INCH, 4), material, material in wound)
        for i, (note, inches, material) in enumerate(rows, 1)
    )


PRESETS = (
    Preset(
        "electric",
        "six-string electric guitar",
        648.0,
        _strings(
            ("E4", 0.010, PLAIN),
            ("B3", 0.013, PLAIN),
            ("G3", 0.017, PLAIN),
            ("D3", 0.026, NICKEL),
            ("A2", 0.036, NICKEL),
            ("E2", 0.046, NICKEL),
        ),
    ),
    Preset(
        "acoustic",
        "steel-string acoustic guitar",
        645.0,
        _strings(
            ("E4", 0.012, PLAIN),
            ("B3", 0.016, PLAIN),
            ("G3", 0.024, BRONZE),
            ("D3", 0.032, BRONZE),
            ("A2", 0.042, BRONZE),
            ("E2", 0.053, BRONZE),
        ),
    ),
    Preset(
        "classical",
        "classical guitar, nylon strings",
        650.0,
        _strings(
            ("E4", 0.028, NYLON),
            ("B3", 0.0322, NYLON),
            ("G3", 0.0403, NYLON),
            ("D3", 0.029, NYLON_WOUND),
            ("A2", 0.035, NYLON_WOUND),
            ("E2", 0.043, NYLON_WOUND),
        ),
    ),
    Preset(
        "bass",
        "four-string bass guitar",
        864.0,
        _strings(
            ("G2", 0.045, NICKEL),
            ("D2", 0.065, NICKEL),
            ("A1", 0.085, NICKEL),
            ("E1", 0.105, NICKEL),
        ),
    ),
    Preset(
        "tenor ukulele",
        "tenor ukulele, high fourth string",
        432.0,
        _strings(
            ("A4", 0.024, NYLON),
            ("E4", 0.0285, NYLON),
            ("C4", 0.034, NYLON),
            ("G4", 0.026, NYLON),
        ),
    ),
    Preset(
        "mandolin",
        "mandolin, four pairs; damp one string of a pair while its neighbour is plucked",
        350.0,
        _strings(
            ("E5", 0.011, PLAIN),
            ("E5", 0.011, PLAIN),
            ("A4", 0.015, PLAIN),
            ("A4", 0.015, PLAIN),
            ("D4", 0.026, BRONZE),
            ("D4", 0.026, BRONZE),
            ("G3", 0.040, BRONZE),
            ("G3", 0.040, BRONZE),
        ),
    ),
)


def find_preset(kind: str) -> Preset | None:
    """Preset of that name (capitals, hyphens and underscores do not matter), or None."""
    wanted = " ".join(kind.lower().replace("-", " ").replace("_", " ").split())
    return next((preset for preset in PRESETS if preset.name == wanted), None)


def get_preset(kind: str) -> Preset:
    """Preset of that name.

    Raises
    ------
    BadValue
        If there is none; the message lists them.
    """
    preset = find_preset(kind)
    if preset is None:
        names = ", ".join(f'"{preset.name}"' for preset in PRESETS)
        raise BadValue(
            f"{kind!r} is not a known kind; it must be one of {names}. Choose the nearest and edit it."
        )
    return preset
