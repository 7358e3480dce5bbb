"""The published compensation model for fretted strings, written from its equations: an oracle for the tests.

M. B. Anderson, R. G. Beausoleil (2024), "Classical guitar intonation and compensation: The well-tempered
guitar", J. Acoust. Soc. Am. 156(1), 683. Nothing of the package is used here. Their conventions: lengths in
mm; heights above the plane of the fret tops; ``saddle_rise`` is the saddle's height above the nut slot;
setbacks are positive where the string becomes longer, so a nut moved towards the saddle has a negative one.

One slip of the paper is put right: the stiffness of a fretted string goes with T^(-1/2), so the factor
sqrt(1 + kappa Q) divides. It changes no figure by 0.01 cent.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
FRETS = np.arange(1, 13)


@dataclass(frozen=True)
class Setup:
    """One string on one instrument, in the paper's terms."""

    scale: float  # X0 [mm]
    nut_height: float  # b [mm]
    saddle_rise: float  # c [mm]
    stretch: float  # kappa = EA/T [-]
    stiffness: float  # B0, the paper's: overtones grow by 1 + B0 + (1 + pi^2/2) B0^2 [-]
    finger: float = 0.0  # d, how far behind the fret the string kinks [mm]
    saddle_setback: float = 0.0  # Delta S [mm]
    nut_setback: float = 0.0  # Delta N [mm]


@dataclass(frozen=True)
class Parts:
    """The four separable causes of a fretted note's error. [cent]"""

    length: FloatArray
    mass: FloatArray
    tension: FloatArray
    stiffness: FloatArray

    @property
    def total(self) -> FloatArray:
        return self.length + self.mass + self.tension + self.stiffness


def _growth(fret: FloatArray) -> FloatArray:
    return np.asarray(2 ** (fret / 12.0), dtype=np.float64)


def open_length(s: Setup) -> float:
    """L0, the open string. [mm]"""
    return math.hypot(s.scale + s.saddle_setback + s.nut_setback, s.saddle_rise)


def sounding_length(s: Setup, fret: FloatArray = FRETS) -> FloatArray:
    """L_n, fret to saddle. [mm]"""
    return np.hypot(s.scale / _growth(fret) + s.saddle_setback, s.nut_height + s.saddle_rise)


def extra_stretch(s: Setup, fret: FloatArray = FRETS) -> FloatArray:
    """Q_n, relative lengthening of the whole string when it is fretted. [-]"""
    place = s.scale / _growth(fret)
    drop = s.nut_height + s.saddle_rise
    sounding = sounding_length(s, fret)
    behind = sounding * s.finger / (place + s.saddle_setback) + np.hypot(
        s.scale - place + s.nut_setback - s.finger,
        s.nut_height + drop * s.finger / (place + s.saddle_setback),
    )
    whole = open_length(s)
    return np.asarray((sounding + behind - whole) / whole, dtype=np.float64)


def _overtone(stiffness: FloatArray | float) -> FloatArray:
    return np.asarray(1 + stiffness + (1 + math.pi**2 / 2) * np.square(stiffness), dtype=np.float64)


def error_parts(s: Setup, fret: FloatArray = FRETS) -> Parts:
    """Error of the fretted notes against equal temperament from the open string, cause by cause. [cent]"""
    growth, extra = _growth(fret), extra_stretch(s, fret)
    tension = 1 + s.stretch * extra
    fretted = growth * s.stiffness / np.sqrt(tension)
    return Parts(
        length=1200 * np.log2(open_length(s) / (growth * sounding_length(s, fret))),
        mass=600 * np.log2(1 + extra),
        tension=600 * np.log2(tension),
        stiffness=1200 * np.log2(_overtone(fretted) / _overtone(s.stiffness)),
    )


def best_setbacks(s: Setup) -> tuple[float, float, float]:
    """Saddle and nut setback of least squared error over frets 1 to 12, and the rms error left."""
    from scipy.optimize import least_squares

    def left(setbacks: FloatArray) -> FloatArray:
        saddle, nut = (float(v) for v in setbacks)
        return error_parts(replace(s, saddle_setback=saddle, nut_setback=nut)).total

    found = least_squares(left, [0.0, 0.0])
    return float(found.x[0]), float(found.x[1]), float(np.sqrt(np.mean(found.fun**2)))


def mean_setbacks(s: Setup) -> tuple[float, float]:
    """Saddle and nut setback that bring the mean error over frets 1 to 12 to nought, in first order. [mm]"""
    return s.stiffness * s.scale, -s.stretch * s.scale * float(np.mean(extra_stretch(s))) / 2


PROTOTYPE = Setup(scale=650.0, nut_height=1.0, saddle_rise=4.0, stretch=51.0, stiffness=0.00236)
# string: (kappa = 2 R + 1 from the measured sensitivity R, stiffness B0)
MEASURED_STRINGS = {
    "E4": (48.2, 0.00190),
    "B3": (48.7, 0.00220),
    "G3": (58.6, 0.00301),
    "D3": (46.0, 0.00192),
    "A2": (48.7, 0.00239),
    "E2": (58.2, 0.00321),
}
# string: (fret 1, fret 12), lowest and highest of the readings on the measured guitar
MEASURED_CENTS = {
    name: ((4.5, 5.75), (18.5, 19.5) if name in ("G3", "E2") else (15.75, 17.5)) for name in MEASURED_STRINGS
}
