"""What strings are made of: constants with their sources, and what they say of one string.

Conventions: SI in this module's constants, mm and N in what it hands out. A relative error is a standard
deviation of the natural logarithm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from pitchcheck.instrument import StringSpec
from pitchcheck.units import MM_PER_INCH

STEEL_MODULUS_PA = 207e9  # [Pa] music wire ASTM A228, 30e6 psi: spring-material tables (others give 190e9)
STEEL_DENSITY = 7861.0  # [kg/m3] music wire ASTM A228, 0.284 lb/in3: spring-material tables
BRONZE_DENSITY = 8858.0  # [kg/m3] phosphor bronze wire B159, 0.32 lb/in3: spring-material table
STEEL_MODULUS_ERROR = 0.031  # [-] tables give 190 to 207 GPa
# Weight of a steel-cored wound string over a solid one of its wrap; from memory, 0.92 to 0.99.
WOUND_FILL = 0.94  # [-]
WOUND_FILL_ERROR = 0.03  # [-] our choice
# Core of a wound steel string: straight line through usual guitar and bass sets, from memory.
CORE_BASE_MM = 0.009 * MM_PER_INCH  # [mm]
CORE_PER_GAUGE = 0.22  # [-]
# J. A. Kemp 2020, SN Applied Sciences 2:636: the partials of a bass low B imply about 0.031 in, not more.
THICKEST_CORE_MM = 0.033 * MM_PER_INCH  # [mm]
CORE_ERROR = 0.05  # [-] relative, our choice: it makes the stretch of a wound string uncertain by 10 %
KNOWN_CORE_ERROR = 0.02  # [-] relative, when the packet gives the core
# Polymers: bulk moduli are useless. kappa = 2R + 1 from measured R: Anderson and Beausoleil 2024,
# J. Acoust. Soc. Am. 156(1), 683: R 22 to 33 over seven of eight sets, up to 55 in one.
POLYMER_STRETCH = 54.0  # [-]
POLYMER_STRETCH_ERROR = 0.20  # [-]
# Lambda over that of a solid elastic string of the same gauge and stretch; from memory.
POLYMER_BEND = 0.95  # [-]
POLYMER_BEND_ERROR = 0.06  # [-]
POLYMER_CORE_BEND = 0.52  # [-] the same with a wrap over a polymer core; from memory
POLYMER_CORE_BEND_ERROR = 0.15  # [-]
NYLON_DENSITY = 1000.0  # [kg/m3] of the stretched string by its nominal gauge: the same paper, 939 to 1015
FLUOROCARBON_DENSITY = 1600.0  # [kg/m3] the same, 1588 to 1623
POLYMER_WOUND_DENSITY = 5200.0  # [kg/m3] weight over gauge section of the wound strings in the same paper


class Make(StrEnum):
    """How a string is built, as far as its stretch is concerned."""

    PLAIN_STEEL = "plain steel"
    WOUND_STEEL = "wound on steel"
    POLYMER = "polymer"
    WOUND_POLYMER = "wound on polymer"


@dataclass(frozen=True)
class StringConstants:
    """What gauge, material and tuning say of one string before it is heard.

    Attributes
    ----------
    make : Make
    stretch_factor : float
        kappa = EA/T, without the tails. [-]
    stretch_factor_error : float
        Relative. [-]
    bend_mm : float
        lambda = sqrt(EI/T) at that stretch. [mm]
    bend_follows : float
        d ln lambda / d ln kappa along the uncertainty of the stretch. [-]
    bend_error : float
        Relative, beyond what follows from the stretch. [-]
    tension_n : float
        [N]
    """

    make: Make
    stretch_factor: float
    stretch_factor_error: float
    bend_mm: float
    bend_follows: float
    bend_error: float
    tension_n: float


def make_of(spec: StringSpec) -> Make:
    """How a string is built, from the user's words and whether it is wound."""
    words = spec.material.lower()
    polymer = any(w in words for w in ("nylon", "carbon", "pvdf", "polymer", "gut", "composite", "silk"))
    if polymer:
        return Make.WOUND_POLYMER if spec.wound else Make.POLYMER
    return Make.WOUND_STEEL if spec.wound else Make.PLAIN_STEEL


def plain_stretch(
    wave_speed: float, *, modulus_pa: float = STEEL_MODULUS_PA, density: float = STEEL_DENSITY
) -> float:
    """Stretch kappa = E / (rho v^2) of a plain string; the gauge cancels (equation 2 of docs/model.md).

    Parameters
    ----------
    wave_speed : float > 0
        2 x scale x frequency. [m/s]
    modulus_pa : float > 0
        Young's modulus E. [Pa]
    density : float > 0
        rho of the string's metal. [kg/m3]
    """
    return modulus_pa / (density * wave_speed**2)


def string_constants(spec: StringSpec, *, scale_mm: float) -> StringConstants:
    """Constants of one string from its packet, its tuning and the scale length.

    Parameters
    ----------
    spec : StringSpec
        A missing gauge is filled with a usual one for the pitch, and its error widened.
    scale_mm : float > 0

    Returns
    -------
    StringConstants
    """
    make = make_of(spec)
    speed = 2 * scale_mm / 1000 * spec.nominal_hz
    gauge_mm = spec.gauge_mm if spec.gauge_mm is not None else _usual_gauge_mm(make, speed)
    section = math.pi / 4 * (gauge_mm / 1000) ** 2
    unknown = 0.0 if spec.gauge_mm is not None else 0.2
    if make is Make.PLAIN_STEEL:
        stretch_factor = plain_stretch(speed)
        return StringConstants(
            make,
            stretch_factor,
            STEEL_MODULUS_ERROR,
            gauge_mm / 4 * math.sqrt(stretch_factor),
            0.5,
            math.hypot(0.02, unknown),
            STEEL_DENSITY * section * speed**2,
        )
    if make is Make.WOUND_STEEL:
        return _wound_steel(spec, gauge_mm=gauge_mm, speed=speed, unknown=unknown)
    fluoro = any(w in spec.material.lower() for w in ("carbon", "pvdf"))
    wound = make is Make.WOUND_POLYMER
    density = POLYMER_WOUND_DENSITY if wound else (FLUOROCARBON_DENSITY if fluoro else NYLON_DENSITY)
    shape, shape_error = (
        (POLYMER_CORE_BEND, POLYMER_CORE_BEND_ERROR) if wound else (POLYMER_BEND, POLYMER_BEND_ERROR)
    )
    return StringConstants(
        make,
        POLYMER_STRETCH,
        POLYMER_STRETCH_ERROR,
        shape * gauge_mm / 4 * math.sqrt(POLYMER_STRETCH),
        0.5,
        math.hypot(shape_error, unknown),
        density * section * speed**2,
    )


def _wound_steel(spec: StringSpec, *, gauge_mm: float, speed: float, unknown: float) -> StringConstants:
    """Constants of a string wound on a steel core: the core stretches, the whole string weighs."""
    wrap = BRONZE_DENSITY if any(w in spec.material.lower() for w in ("bronze", "brass")) else STEEL_DENSITY
    known = spec.core_mm is not None
    usual_mm = min(CORE_BASE_MM + CORE_PER_GAUGE * gauge_mm, THICKEST_CORE_MM)
    core_mm = spec.core_mm if spec.core_mm is not None else usual_mm
    tension = WOUND_FILL * wrap * math.pi / 4 * (gauge_mm / 1000) ** 2 * speed**2
    stretch_factor = STEEL_MODULUS_PA * math.pi / 4 * (core_mm / 1000) ** 2 / tension
    core_error = KNOWN_CORE_ERROR if known else CORE_ERROR
    error = math.sqrt(
        (2 * core_error) ** 2 + STEEL_MODULUS_ERROR**2 + WOUND_FILL_ERROR**2 + (2 * unknown) ** 2
    )
    # kappa grows with the square of the core, lambda = (core radius / 2) sqrt(kappa) with the square as well.
    return StringConstants(
        Make.WOUND_STEEL,
        stretch_factor,
        error,
        core_mm / 4 * math.sqrt(stretch_factor),
        1.0,
        math.hypot(0.02, unknown),
        tension,
    )


def _usual_gauge_mm(make: Make, speed: float) -> float:
    """Gauge that gives a usual tension at this pitch; a stand-in when none is stated."""
    tension, density = {
        Make.PLAIN_STEEL: (75.0, STEEL_DENSITY),
        Make.WOUND_STEEL: (110.0, WOUND_FILL * STEEL_DENSITY),
        Make.POLYMER: (65.0, NYLON_DENSITY),
        Make.WOUND_POLYMER: (65.0, POLYMER_WOUND_DENSITY),
    }[make]
    return 1000 * math.sqrt(4 * tension / (math.pi * density * speed**2))
