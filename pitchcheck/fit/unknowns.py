"""The unknowns of one instrument, and how the coordinates of every case depend on them.

Conventions: unknowns are named in words and are standard normal beforehand; see ``cases`` for the linear map.
A tail shortens the stretch: stretch over the scale = kappa / (1 + tail / scale).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from pitchcheck.fit import priors
from pitchcheck.fit.cases import Case, CaseKind, Coordinate
from pitchcheck.instrument import Instrument, StringSpec, Tailpiece
from pitchcheck.physics.materials import Make, StringConstants, string_constants
from pitchcheck.tuning import fret_place
from pitchcheck.types import FloatArray
from pitchcheck.units import CENTS_PER_LOG


@dataclass
class _Links:
    """Centre and spread while they are being put together."""

    names: dict[str, int] = field(default_factory=dict)
    centres: list[FloatArray] = field(default_factory=list)
    entries: list[tuple[int, int, int, float]] = field(default_factory=list)

    def start(self) -> int:
        """Begin a case; return its index."""
        self.centres.append(np.zeros(len(Coordinate)))
        return len(self.centres) - 1

    def put(self, case: int, at: Coordinate, centre: float) -> None:
        """Add to the centre of a coordinate."""
        self.centres[case][at] += centre

    def link(self, case: int, at: Coordinate, name: str, size: float) -> None:
        """Let a coordinate grow by ``size`` with the unknown of that name."""
        column = self.names.setdefault(name, len(self.names))
        self.entries.append((case, int(at), column, size))


@dataclass(frozen=True)
class Unknowns:
    """The linear map from unknowns to case coordinates.

    Attributes
    ----------
    names : tuple of str
        One a column.
    cases : tuple of Case
    centre : array, shape (c, len(Coordinate))
    spread : array, shape (c, len(Coordinate), n)
    """

    names: tuple[str, ...]
    cases: tuple[Case, ...]
    centre: FloatArray
    spread: FloatArray

    def coordinates(self, z: FloatArray) -> FloatArray:
        """Coordinates of every case, shape (c, len(Coordinate))."""
        return np.asarray(self.centre + self.spread @ z)

    def column(self, name: str) -> int:
        """Column of an unknown."""
        return self.names.index(name)


@dataclass(frozen=True)
class CaseRequest:
    """A case to be predicted: ``removed_mm`` was still on the slot then, with its error.

    A height or a force that is given is fixed.
    """

    kind: CaseKind
    string: int | None
    removed_mm: float = 0.0
    removed_sd_mm: float = 0.0
    fixed_height_mm: float | None = None
    force_n: float | None = None


def build_unknowns(instrument: Instrument, requests: list[CaseRequest]) -> Unknowns:
    """Set out the unknowns for the cases that are requests."""
    links = _Links()
    cases = []
    for item in requests:
        index = links.start()
        number = item.string if item.string is not None else instrument.strings[0].number
        spec = instrument.string(number)
        cases.append(Case(item.kind, item.string, instrument.string_scale_mm(number)))
        _shared(links, index, instrument, spec)
        _string(links, index, instrument, spec, item)
        _frets(links, index, cases[-1].scale_mm, item.kind, nut_at_fret=spec.nut_at_fret)
    spread = np.zeros((len(cases), len(Coordinate), len(links.names)))
    for case, at, column, size in links.entries:
        spread[case, at, column] += size
    return Unknowns(tuple(links.names), tuple(cases), np.array(links.centres), spread)


def _shared(links: _Links, index: int, instrument: Instrument, spec: StringSpec) -> None:
    """What all strings share: frets, nut, relief, action, rod. A short string has its own nut."""
    own_nut = f" at fret {spec.nut_at_fret}" if spec.nut_at_fret else ""
    soft = string_constants(spec, scale_mm=instrument.string_scale_mm(spec.number)).make in (
        Make.POLYMER,
        Make.WOUND_POLYMER,
    )
    mean, sd = priors.LOG_FRET_HEIGHT
    links.put(index, Coordinate.LOG_FRET_HEIGHT, mean)
    links.link(index, Coordinate.LOG_FRET_HEIGHT, "fret height", sd)
    for k in range(4):
        links.link(
            index,
            Coordinate(Coordinate.FRET_ERROR_1 + k),
            f"fret {k + 1 + spec.nut_at_fret}",
            priors.FRET_ERROR_MM,
        )
    links.link(index, Coordinate.NUT_OFFSET, f"nut{own_nut}", priors.NUT_OFFSET_MM)
    links.put(index, Coordinate.BREAK, priors.BREAK_RAD[0])
    links.link(index, Coordinate.BREAK, f"break{own_nut}", priors.BREAK_RAD[1])
    links.put(index, Coordinate.RELIEF, priors.RELIEF_MM[0])
    links.link(index, Coordinate.RELIEF, "relief", priors.RELIEF_MM[1])
    action, action_sd = priors.ACTION_MM["polymer" if soft else "steel"]
    if instrument.action_12 is not None:  # one figure for the instrument; strings differ about it
        action, action_sd = instrument.action_12.value_mm, instrument.action_12.sd_mm
    links.put(index, Coordinate.ACTION_12, action)
    links.link(index, Coordinate.ACTION_12, "action", action_sd)
    links.put(index, Coordinate.ROD_HALF, priors.ROD_HALF_MM[0])
    links.link(index, Coordinate.ROD_HALF, "rod half", priors.ROD_HALF_MM[1])
    links.put(index, Coordinate.GIVE, priors.GIVE_MM[0])
    links.link(index, Coordinate.GIVE, "give", priors.GIVE_MM[1])
    links.put(index, Coordinate.SIDE, priors.SIDE_MM2[0])
    links.link(index, Coordinate.SIDE, "side", priors.SIDE_MM2[1])


def _string(links: _Links, index: int, instrument: Instrument, spec: StringSpec, item: CaseRequest) -> None:
    """What is one string's own."""
    own = spec.number
    constants = string_constants(spec, scale_mm=instrument.string_scale_mm(spec.number))
    links.put(index, Coordinate.TENSION, constants.tension_n)
    if item.fixed_height_mm is not None:
        links.put(index, Coordinate.SLOT_HEIGHT, item.fixed_height_mm)
    else:
        links.put(index, Coordinate.SLOT_HEIGHT, priors.SLOT_HEIGHT_MM[0] + item.removed_mm)
        shared = f"slots at fret {spec.nut_at_fret}" if spec.nut_at_fret else "slots"
        links.link(index, Coordinate.SLOT_HEIGHT, shared, priors.SLOT_HEIGHT_MM[1])
        links.link(index, Coordinate.SLOT_HEIGHT, f"slot {own}", priors.SLOT_OWN_MM)
        if item.removed_mm:
            links.link(index, Coordinate.SLOT_HEIGHT, f"removed {own}", item.removed_sd_mm)
    links.link(index, Coordinate.NUT_OFFSET, f"nut {own}", priors.NUT_OFFSET_STRING_MM)
    saddle, saddle_sd = priors.SADDLE_MM[constants.make]
    links.put(index, Coordinate.SADDLE, saddle)
    links.link(index, Coordinate.SADDLE, f"saddle {own}", saddle_sd)
    links.link(index, Coordinate.ACTION_12, f"action {own}", priors.ACTION_STRING_MM)
    _stretch(links, index, instrument, constants, own)
    _force(links, index, constants, item)


def _stretch(links: _Links, index: int, instrument: Instrument, constants: StringConstants, own: int) -> None:
    """Stretch and bending length, tied to one another by the string's build."""
    tail, tail_sd = priors.TAIL_MM
    scale = instrument.string_scale_mm(own)
    links.put(
        index, Coordinate.LOG_STRETCH_FACTOR, math.log(constants.stretch_factor) - math.log1p(tail / scale)
    )
    links.link(index, Coordinate.LOG_STRETCH_FACTOR, "tail", -tail_sd / (scale + tail))
    together = constants.stretch_factor_error * priors.SET_SHARE
    apart = constants.stretch_factor_error * math.sqrt(1 - priors.SET_SHARE**2)
    follows = constants.bend_follows
    links.link(index, Coordinate.LOG_STRETCH_FACTOR, f"set {constants.make}", together)
    links.link(index, Coordinate.LOG_STRETCH_FACTOR, f"stretch {own}", apart)
    links.link(index, Coordinate.LOG_STRETCH_FACTOR, f"share {own}", priors.STRETCH_STRING_ERROR)
    if instrument.tailpiece is Tailpiece.FLOATING:
        links.put(index, Coordinate.LOG_STRETCH_FACTOR, priors.FLOATING_STRETCH_SHIFT)
        links.link(index, Coordinate.LOG_STRETCH_FACTOR, "springs", priors.FLOATING_STRETCH_ERROR)
        links.link(index, Coordinate.LOG_STRETCH_FACTOR, f"springs {own}", priors.FLOATING_STRETCH_ERROR / 2)
    links.put(index, Coordinate.LOG_BEND, math.log(constants.bend_mm))
    links.link(index, Coordinate.LOG_BEND, f"set {constants.make}", together * follows)
    links.link(index, Coordinate.LOG_BEND, f"stretch {own}", apart * follows)
    links.link(index, Coordinate.LOG_BEND, f"bend {own}", constants.bend_error)


def _frets(links: _Links, index: int, scale_mm: float, kind: CaseKind, *, nut_at_fret: int) -> None:
    """Frets that are not at their place: the sounding length is wrong, on all strings alike."""
    if kind.stop is None:
        return
    for fret, sign in ((kind.fret, 1.0), (kind.capo, -1.0)):
        if fret:
            sounding_mm = scale_mm - fret_place(scale_mm, fret)
            cents_per_mm = CENTS_PER_LOG / sounding_mm
            links.link(
                index,
                Coordinate.OFFSET_CENTS,
                f"place {fret + nut_at_fret}",
                sign * cents_per_mm * priors.FRET_PLACE_MM,
            )


def _force(links: _Links, index: int, constants: StringConstants, item: CaseRequest) -> None:
    """How hard the finger frets."""
    if item.force_n is not None:
        links.put(index, Coordinate.LOG_FORCE, math.log(item.force_n / constants.tension_n))
        return
    links.put(
        index, Coordinate.LOG_FORCE, priors.log_force(constants.tension_n) - math.log(constants.tension_n)
    )
    links.link(index, Coordinate.LOG_FORCE, "force", priors.LOG_FORCE_N[1])
