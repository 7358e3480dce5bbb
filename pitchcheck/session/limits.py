"""Numbers of the input's edge: default errors of readings, and what is believable.

Lengths in mm. A value outside its range is refused with a message; one inside it that does not fit the sound
is questioned later, by name, and never rescaled. All values are our own choice unless a source stands beside
them.
"""

from __future__ import annotations

from dataclasses import dataclass

from pitchcheck.instrument import MeterQuantity

DEFAULT_SD_CENTS = 0.15  # [cent] of a pitch in readings.csv without sd_cents: a good reading of one pluck
HIGHEST_FRET = 24  # common practice, no source
HIGHEST_STRING = 30
LOWEST_NOTE_HZ, HIGHEST_NOTE_HZ = 20.0, 1400.0  # open strings; B0 of a bass is 31 Hz, E5 of a mandolin 659 Hz
LOWEST_HZ, HIGHEST_HZ = 15.0, 8000.0  # readings; fret 24 of the highest open string is 5.6 kHz
LARGEST_SD_CENTS = 50.0  # [cent] half a fret: no reading at all


@dataclass(frozen=True)
class GaugeLimits:
    """How a gauge is read: the standard error taken when none is given, and the believable range. [mm]"""

    sd_mm: float
    low_mm: float
    high_mm: float


# One row per kind of gauge reading; [instrument] lengths of the same name use the same row.
GAUGE_READINGS = {
    # feeler leaves come in steps of about 0.025 mm
    MeterQuantity.CLEARANCE_THIRD: GaugeLimits(0.03, 0.0, 10.0),
    MeterQuantity.CLEARANCE_OPEN: GaugeLimits(0.03, 0.0, 10.0),
    # depth gauge or stacked leaves against a round slot floor
    MeterQuantity.SLOT_FLOOR: GaugeLimits(0.05, -1.0, 15.0),
    # rule or caliper beside a crowned fret; frets differ by 0.02
    MeterQuantity.FRET_HEIGHT: GaugeLimits(0.05, 0.2, 4.0),
    # rule under a string, read to a quarter of a millimetre or so
    MeterQuantity.ACTION_12: GaugeLimits(0.15, 0.1, 15.0),
    # feeler leaf under a string used as a straightedge
    MeterQuantity.RELIEF: GaugeLimits(0.05, -1.0, 3.0),
}


@dataclass(frozen=True)
class Range:
    """Believable values of a length. [mm]"""

    low_mm: float
    high_mm: float


LEAF = Range(0.02, 3.0)  # feeler leaves, thinnest to a stack over a very high slot
LEAF_SD_MM = 0.012  # [mm] how sharply a leaf tells touching from not touching: burr, tilt, dust; our choice
SCALE = Range(150.0, 1300.0)  # shorter than any fretted instrument to longer than a double-bass scale
GAUGE = Range(0.1, 6.0)  # string diameters
NUT_TO_POST = Range(5.0, 400.0)  # from a headless anchor to the last post of six in a row
FALL_TO_POST = Range(0.0, 100.0)
TARGET_CLEARANCE = Range(0.0, 3.0)
TARGET_HEIGHT = Range(-0.5, 4.0)
TOLERANCE = Range(0.0, 2.0)
FLOOR = Range(-0.5, 2.0)
REMOVED = Range(0.0, 5.0)
ERROR = Range(0.001, 5.0)
