"""Kinds of instrument: scales, actions, tuners, strings, in the ranges of the sixty fixture instruments.

Conventions: mm, string diameters in inches as packets say them. Common practice, no source, where nothing
else is said.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Wire:
    """One string as the packet says it. ``core`` is the core's diameter over the gauge, 1 for a plain one."""

    note: str
    hz: float
    gauge_in: float
    material: str
    core: float = 1.0

    @property
    def wound(self) -> bool:
        return self.material not in ("plain steel", "nylon")


@dataclass(frozen=True)
class Kind:
    """What instruments of a kind have in common. Ranges are uniform."""

    kind: str
    scales_mm: tuple[float, ...]
    action_mm: tuple[float, float]
    tuner_mm: tuple[float, float]  # from the nut to the post that is used; nearest and farthest string
    wires: tuple[Wire, ...]


PLAIN, NICKEL, BRONZE, NYLON = "plain steel", "nickel-plated steel", "phosphor bronze", "nylon"
SILVER = "silver-plated copper on nylon"
A4 = 440.0


def _hz(note: str) -> float:
    """Equal temperament, A4 = 440 Hz (ISO 16:1975)."""
    return float(A4 * 2 ** ((("C D EF G A B".index(note[0]) - 9) + 12 * (int(note[1]) - 4)) / 12))


def _wires(*rows: tuple[str, float, str, float]) -> tuple[Wire, ...]:
    return tuple(Wire(note, _hz(note), gauge, material, core) for note, gauge, material, core in rows)


# Cores of wound strings over their gauge: from memory; the fixtures' own EA/T imply them within 3 %.
KINDS = {
    "electric": Kind(
        "electric",
        (628.0, 648.0),
        (1.3, 2.5),
        (40.0, 130.0),
        _wires(
            ("E4", 0.010, PLAIN, 1.0),
            ("B3", 0.013, PLAIN, 1.0),
            ("G3", 0.017, PLAIN, 1.0),
            ("D3", 0.026, NICKEL, 0.566),
            ("A2", 0.036, NICKEL, 0.470),
            ("E2", 0.046, NICKEL, 0.416),
        ),
    ),
    "acoustic": Kind(
        "acoustic",
        (632.0, 645.0),
        (1.5, 2.5),
        (40.0, 130.0),
        _wires(
            ("E4", 0.012, PLAIN, 1.0),
            ("B3", 0.016, PLAIN, 1.0),
            ("G3", 0.024, BRONZE, 0.595),
            ("D3", 0.032, BRONZE, 0.501),
            ("A2", 0.042, BRONZE, 0.434),
            ("E2", 0.053, BRONZE, 0.390),
        ),
    ),
    "classical": Kind(
        "classical",
        (650.0,),
        (1.8, 3.4),
        (40.0, 120.0),
        _wires(
            ("E4", 0.028, NYLON, 1.0),
            ("B3", 0.0322, NYLON, 1.0),
            ("G3", 0.0403, NYLON, 1.0),
            ("D3", 0.029, SILVER, 0.52),
            ("A2", 0.035, SILVER, 0.52),
            ("E2", 0.043, SILVER, 0.52),
        ),
    ),
    "bass": Kind(
        "bass",
        (864.0,),
        (1.3, 2.6),
        (50.0, 190.0),
        _wires(
            ("G2", 0.045, NICKEL, 0.420),
            ("D2", 0.065, NICKEL, 0.358),
            ("A1", 0.085, NICKEL, 0.326),
            ("E1", 0.105, NICKEL, 0.306),
        ),
    ),
    "tenor ukulele": Kind(
        "tenor ukulele",
        (432.0,),
        (1.7, 3.2),
        (35.0, 90.0),
        _wires(
            ("A4", 0.024, NYLON, 1.0),
            ("E4", 0.0285, NYLON, 1.0),
            ("C4", 0.034, NYLON, 1.0),
            ("G4", 0.026, NYLON, 1.0),
        ),
    ),
    "mandolin": Kind(
        "mandolin",
        (350.0,),
        (1.2, 2.0),
        (35.0, 110.0),
        _wires(
            ("E5", 0.011, PLAIN, 1.0),
            ("E5", 0.011, PLAIN, 1.0),
            ("A4", 0.015, PLAIN, 1.0),
            ("A4", 0.015, PLAIN, 1.0),
            ("D4", 0.026, BRONZE, 0.565),
            ("D4", 0.026, BRONZE, 0.565),
            ("G3", 0.040, BRONZE, 0.445),
            ("G3", 0.040, BRONZE, 0.445),
        ),
    ),
}
FIVE = ("electric", "acoustic", "classical", "bass", "tenor ukulele")
STEEL = ("electric", "acoustic", "bass", "mandolin")
