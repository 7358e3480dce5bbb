"""The unknowns of one instrument over all its passes, and how the coordinates of every case depend on them.

Conventions: unknowns are named in words and are standard normal beforehand; see ``cases`` for the linear map.
Passes count from 0, the earliest. A tail shortens the stretch: stretch over the scale = kappa / (1 + tail /
scale). What may differ from pass to pass without a file has small unknowns of its own; slots are as high as
in the first pass less what was removed since.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from pitchcheck.fit import priors
from pitchcheck.fit.cases import Case, CaseKind, Coordinate
from pitchcheck.fit.hand import CAREFUL, Scatter
from pitchcheck.fit.priors import FretworkPriors, fretwork_priors
from pitchcheck.instrument import Instrument, MeterQuantity, StringSpec, Tailpiece
from pitchcheck.physics.materials import Make, StringConstants, string_constants
from pitchcheck.takes import Stop
from pitchcheck.tuning import fret_place
from pitchcheck.types import BoolArray, FloatArray
from pitchcheck.units import CENTS_PER_LOG

# What may differ between two passes by one person with one rod, nothing else having been done; our choice.
RESEATED = 0.01  # [-] how a string put back into its slot slides otherwise than before
TOUCH_CHANGED = 0.2  # [-] usual fretting force, another day
RELIEF_CHANGED_MM = 0.05  # a neck moves a little with the weather
ACTION_CHANGED_MM = 0.10  # a saddle taken out and put back
SUPPORT_CHANGED_MM = 0.010  # a neck held within 50 mm of the rod gives so much (docs/method.md)
HAND_CHANGED_CENTS = 0.10  # what the rod adds to every press alike
USUAL_SPACE_MM = 36.0  # the first space of a guitar: in a narrower one a rod is set as much nearer the middle
ROD_CHANGED = 0.5  # [-] part of ``rod_mm`` that is another one in every pass


@dataclass(frozen=True)
class Removal:
    """What is believed to have been taken off a slot after a pass: mean and standard deviation. [mm]"""

    mean_mm: float
    sd_mm: float


@dataclass(frozen=True)
class PassEffects:
    """What is known of one pass beside its takes.

    Attributes
    ----------
    tuned_log : dict from string number to float
        ln of the open pitch over that of the last pass.
    action_shift_mm : float
        Stated action over fret 12, less that of the last pass.
    removed : dict from string number to Removal
        What came off between this pass and the next one.
    """

    tuned_log: dict[int, float] = field(default_factory=dict)
    action_shift_mm: float = 0.0
    removed: dict[int, Removal] = field(default_factory=dict)


ONE_PASS = (PassEffects(),)


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
        if size:
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

    def misfit_columns(self) -> BoolArray:
        """Which unknowns stand for what one place has of its own, shape (n,)."""
        found = [name.split()[0] in MISFIT or name == "rod alike" for name in self.names]
        return np.array(found, dtype=np.bool_)

    def with_press_shift(self, cents: float) -> Unknowns:
        """Return the map with one more unknown: what all presses are off by alike, ``cents`` or so."""
        column = np.zeros((*self.centre.shape, 1))
        press = [i for i, case in enumerate(self.cases) if case.kind.stop is Stop.PRESS]
        column[press, Coordinate.OFFSET_CENTS, 0] = cents
        return replace(
            self, names=(*self.names, "presses alike"), spread=np.concatenate([self.spread, column], axis=2)
        )

    def widened(self, scatter: Scatter) -> Unknowns:
        """Return the map as wide as a scatter asks: single places, and the mean push by its square."""
        if replace(scatter, slide=1.0, fret=1.0) == CAREFUL:  # those two are noise, no unknowns
            return self
        # A hand rougher in what repeats show is rougher in what they share.
        scale = np.where(self.misfit_columns(), scatter.place * scatter.hand**SHARED_ROUGHNESS, 1.0)
        # The mean push goes with the hand's square, and is as unsure as that is.
        mean, sd = priors.SIDE_MM2
        push = math.sqrt(scatter.hand_4 + (mean / sd * scatter.hand_unsure) ** 2)
        scale[[name == "side" for name in self.names]] = push
        centre = self.centre.copy()
        press = [i for i, case in enumerate(self.cases) if case.kind.stop is Stop.PRESS]
        centre[press, Coordinate.SIDE] += mean * (scatter.hand**2 - 1)
        if "neck" in self.names:
            column = self.column("neck")
            centre[:, Coordinate.NECK_BENDS] += scatter.neck * self.spread[:, Coordinate.NECK_BENDS, column]
            scale[column] = scatter.neck_unsure
        return replace(self, centre=centre, spread=self.spread * scale)


SHARED_ROUGHNESS = (
    0.7  # [-] power of a hand's factor by which what it does alike every time grows; our choice
)
# First words of the unknowns that single places have of their own: they take up what does not fit.
MISFIT = frozenset({"own", "board", "slide"})


@dataclass(frozen=True)
class CaseRequest:
    """A case to be predicted. A height or a force that is given is fixed."""

    kind: CaseKind
    string: int | None
    index: int = 0  # of the pass
    fixed_height_mm: float | None = None
    force_n: float | None = None


def build_unknowns(
    instrument: Instrument,
    requests: Sequence[CaseRequest],
    passes: Sequence[PassEffects] = ONE_PASS,
) -> Unknowns:
    """Set out the unknowns of the cases that are requested.

    Parameters
    ----------
    instrument : Instrument
    requests : sequence of CaseRequest
    passes : sequence of PassEffects
        Earliest first.
    """
    links = _Links()
    spreads = fretwork_priors(instrument)
    constants = {
        s.number: string_constants(s, scale_mm=instrument.string_scale_mm(s.number))
        for s in instrument.strings
    }
    cases = []
    for item in requests:
        index = links.start()
        number = item.string if item.string is not None else instrument.strings[0].number
        spec = instrument.string(number)
        cases.append(Case(item.kind, item.string, instrument.string_scale_mm(number)))
        _shared(links, index, instrument, spec, constants[number], spreads)
        _string(links, index, instrument, spec, item, constants[number], spreads, passes)
        _places(links, index, cases[-1].scale_mm, item, spreads, nut_at_fret=spec.nut_at_fret)
        if item.index:
            _changed(links, index, item, spec, spreads)
        links.put(index, Coordinate.ACTION_12, passes[item.index].action_shift_mm)
    spread = np.zeros((len(cases), len(Coordinate), len(links.names)))
    rows = np.array([entry[:3] for entry in links.entries], dtype=np.intp).reshape(-1, 3)
    np.add.at(spread, tuple(rows.T), [entry[3] for entry in links.entries])
    return Unknowns(tuple(links.names), tuple(cases), np.array(links.centres), spread)


def _shared(
    links: _Links,
    index: int,
    instrument: Instrument,
    spec: StringSpec,
    constants: StringConstants,
    spreads: FretworkPriors,
) -> None:
    """What all strings share: frets, nut, relief, action, rod. A short string has its own nut."""
    own_nut = f" at fret {spec.nut_at_fret}" if spec.nut_at_fret else ""
    soft = constants.make in (Make.POLYMER, Make.WOUND_POLYMER)
    mean, sd = priors.LOG_FRET_HEIGHT
    links.put(index, Coordinate.LOG_FRET_HEIGHT, mean)
    links.link(index, Coordinate.LOG_FRET_HEIGHT, "fret height", sd)
    for k in range(4):
        at = Coordinate(Coordinate.FRET_ERROR_1 + k)
        links.link(index, at, f"fret {k + 1 + spec.nut_at_fret}", spreads.fret_error_mm)
    links.link(index, Coordinate.NUT_OFFSET, f"nut{own_nut}", priors.NUT_OFFSET_MM)
    angle, angle_sd = priors.BREAK_RAD
    if instrument.behind_nut is not None and not own_nut:
        angle, angle_sd = instrument.behind_nut.angle_rad, priors.BREAK_TOLD_RAD
    links.put(index, Coordinate.BREAK, angle)
    links.link(index, Coordinate.BREAK, f"break{own_nut}", angle_sd)
    arch, arch_sd = priors.ARCH_PART["polymer" if soft else "steel"]
    links.put(index, Coordinate.ARCH_PART, arch)
    links.link(index, Coordinate.ARCH_PART, f"arch{own_nut}", arch_sd)
    links.put(index, Coordinate.RELIEF, spreads.relief_mm[0])
    links.link(index, Coordinate.RELIEF, "relief", spreads.relief_mm[1])
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


def _string(
    links: _Links,
    index: int,
    instrument: Instrument,
    spec: StringSpec,
    item: CaseRequest,
    constants: StringConstants,
    spreads: FretworkPriors,
    passes: Sequence[PassEffects],
) -> None:
    """What is one string's own."""
    own = spec.number
    links.put(index, Coordinate.TENSION, constants.tension_n)
    _height(links, index, item, spec, passes)
    links.link(index, Coordinate.NUT_OFFSET, f"nut {own}", priors.NUT_OFFSET_STRING_MM)
    saddle, saddle_sd = priors.SADDLE_MM[constants.make]
    links.put(index, Coordinate.SADDLE, saddle)
    links.link(index, Coordinate.SADDLE, f"saddle {own}", saddle_sd)
    links.link(index, Coordinate.ACTION_12, f"action {own}", priors.ACTION_STRING_MM)
    for k in range(3):
        at = Coordinate(Coordinate.FRET_ERROR_1 + k)
        links.link(index, at, f"fret {k + 1} string {own}", spreads.fret_string_mm)
    _stretch(links, index, instrument, constants, own, spreads)
    _force(links, index, constants, item)
    # Tension goes with the square of pitch, so a string tuned higher stretches and bends less.
    off = passes[item.index].tuned_log.get(own, 0.0)
    links.put(index, Coordinate.LOG_STRETCH_FACTOR, -2 * off)
    links.put(index, Coordinate.LOG_FORCE, -2 * off)
    links.put(index, Coordinate.LOG_BEND, -off)


def _height(
    links: _Links, index: int, item: CaseRequest, spec: StringSpec, passes: Sequence[PassEffects]
) -> None:
    """Slot height in the first pass, less what was removed since."""
    if item.fixed_height_mm is not None:
        links.put(index, Coordinate.SLOT_HEIGHT, item.fixed_height_mm)
        return
    links.put(index, Coordinate.SLOT_HEIGHT, priors.SLOT_HEIGHT_MM[0])
    own = spec.number
    shared = f"slots at fret {spec.nut_at_fret}" if spec.nut_at_fret else "slots"
    links.link(index, Coordinate.SLOT_HEIGHT, shared, priors.SLOT_HEIGHT_MM[1])
    links.link(index, Coordinate.SLOT_HEIGHT, f"slot {own}", priors.SLOT_OWN_MM)
    for earlier in range(item.index):
        removed = passes[earlier].removed.get(own)
        if removed is None:
            continue
        # The saddle stays where it is, so the gap over fret 12, half way, changes by half.
        for at, share in ((Coordinate.SLOT_HEIGHT, 1.0), (Coordinate.ACTION_12, 0.5)):
            links.put(index, at, -share * removed.mean_mm)
            links.link(index, at, removal_name(own, earlier), -share * removed.sd_mm)


def removal_name(string: int, after: int) -> str:
    """Name of the unknown of what came off a slot after a pass."""
    return f"removed {string} after {after}"


def _stretch(
    links: _Links,
    index: int,
    instrument: Instrument,
    constants: StringConstants,
    own: int,
    spreads: FretworkPriors,
) -> None:
    """Stretch and bending length, tied to one another by the string's build."""
    tail, tail_sd = spreads.tail_mm
    scale = instrument.string_scale_mm(own)
    at = Coordinate.LOG_STRETCH_FACTOR
    error, shared = constants.stretch_factor_error, priors.SET_SHARE
    if constants.make in (Make.POLYMER, Make.WOUND_POLYMER):
        error, shared = spreads.polymer_stretch, spreads.polymer_shared
    links.put(index, at, math.log(constants.stretch_factor) - math.log1p(tail / scale))
    links.link(index, at, "tail", -tail_sd / (scale + tail))
    together, apart = error * shared, error * math.sqrt(1 - shared**2)
    follows = constants.bend_follows
    links.link(index, at, f"set {constants.make}", together)
    links.link(index, at, f"stretch {own}", apart)
    links.link(index, at, f"share {own}", spreads.tail_string)
    if instrument.tailpiece is Tailpiece.FLOATING:
        links.put(index, at, priors.FLOATING_STRETCH_SHIFT)
        links.link(index, at, "springs", priors.FLOATING_STRETCH_ERROR)
        links.link(index, at, f"springs {own}", priors.FLOATING_STRETCH_ERROR / 2)
    links.put(index, Coordinate.LOG_BEND, math.log(constants.bend_mm))
    links.link(index, Coordinate.LOG_BEND, f"set {constants.make}", together * follows)
    links.link(index, Coordinate.LOG_BEND, f"stretch {own}", apart * follows)
    links.link(index, Coordinate.LOG_BEND, f"bend {own}", constants.bend_error)


def _places(
    links: _Links,
    index: int,
    scale_mm: float,
    item: CaseRequest,
    spreads: FretworkPriors,
    *,
    nut_at_fret: int,
) -> None:
    """What belongs to a place on the neck: fret positions, the board under the rod, friction, the body."""
    kind, string = item.kind, item.string
    if kind.gauge is MeterQuantity.FRET_HEIGHT and string is None:  # measured in one of the first spaces
        links.link(index, Coordinate.BOARD, "board 1", spreads.board_space_mm)
    if kind.gauge is MeterQuantity.SLOT_FLOOR:
        links.link(index, Coordinate.BOARD, f"own board {string} nut", spreads.board_space_mm)
    if kind.stop is None:
        return
    for fret, sign in ((kind.fret, 1.0), (kind.capo, -1.0)):
        if fret:
            sounding_mm = scale_mm - fret_place(scale_mm, fret)
            cents_per_mm = sign * CENTS_PER_LOG / sounding_mm
            links.link(
                index,
                Coordinate.OFFSET_CENTS,
                f"place {fret + nut_at_fret}",
                cents_per_mm * spreads.fret_place_mm,
            )
            links.link(index, Coordinate.OFFSET_CENTS, "edges", cents_per_mm * spreads.fret_edge_mm)
        # A resonance of the body pulls every note of a string by its own amount, the open one too.
        links.link(index, Coordinate.OFFSET_CENTS, f"own pull {string} {fret}", sign * spreads.pull_cents)
    if kind.stop is Stop.PRESS:
        space = kind.fret
        links.link(index, Coordinate.BOARD, f"board {space + nut_at_fret}", spreads.board_space_mm)
        links.link(index, Coordinate.BOARD, f"own board {string} {space}", spreads.board_string_mm)
        at = Coordinate.LOG_STRETCH_FACTOR
        links.link(index, at, f"slide {space + nut_at_fret}", spreads.slide_space)
        links.link(index, at, f"own slide {string} {space}", spreads.slide_string)
        aside_mm = spreads.rod_mm * min(1.0, fret_place(scale_mm, 1) / USUAL_SPACE_MM)
        links.link(index, Coordinate.ROD_PLACE, "rod alike", aside_mm)
        links.link(index, Coordinate.NECK_BENDS, "neck", spreads.neck_bends)


def _changed(links: _Links, index: int, item: CaseRequest, spec: StringSpec, spreads: FretworkPriors) -> None:
    """What a later pass may have otherwise than the first without a file."""
    which = f"in {item.index}"
    links.link(index, Coordinate.LOG_STRETCH_FACTOR, f"reseated {spec.number} {which}", RESEATED)
    links.link(index, Coordinate.RELIEF, f"relief {which}", RELIEF_CHANGED_MM)
    links.link(index, Coordinate.ACTION_12, f"action {which}", ACTION_CHANGED_MM)
    if item.force_n is None:
        links.link(index, Coordinate.LOG_FORCE, f"touch {which}", TOUCH_CHANGED)
    if item.kind.stop is Stop.PRESS:
        links.link(index, Coordinate.SLOT_HEIGHT, f"support {which}", SUPPORT_CHANGED_MM)
        links.link(index, Coordinate.OFFSET_CENTS, f"hand {which}", HAND_CHANGED_CENTS)
        links.link(index, Coordinate.ROD_PLACE, f"rod {which}", ROD_CHANGED * spreads.rod_mm)


def _force(links: _Links, index: int, constants: StringConstants, item: CaseRequest) -> None:
    """How hard the finger frets."""
    if item.force_n is not None:
        links.put(index, Coordinate.LOG_FORCE, math.log(item.force_n / constants.tension_n))
        return
    usual = priors.log_force(constants.tension_n) - math.log(constants.tension_n)
    links.put(index, Coordinate.LOG_FORCE, usual)
    links.link(index, Coordinate.LOG_FORCE, "force", priors.LOG_FORCE_N[1])
