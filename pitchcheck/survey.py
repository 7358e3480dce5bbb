"""From takes to errors in cents: every stopped take against the open takes around it.

Conventions: the error of a stopped take is its interval above the open string, less equal temperament's; the
open pitch is interpolated in time between the open takes before and after. Errors share open takes, so their
uncertainties are correlated: the covariance is given whole.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

import numpy as np

from pitchcheck.takes import Position, Stop, Take
from pitchcheck.tuning import CENTS_PER_SEMITONE
from pitchcheck.types import FloatArray
from pitchcheck.units import cents_between


@dataclass(frozen=True)
class Stopped:
    """One stopped take, compared with its open string. [cent]"""

    take: Take
    error_cents: float
    sd_cents: float  # reading noise only, open takes included


class LeafOutcome(StrEnum):
    """What the open string did over a feeler leaf on a fret."""

    PASSES = "passes"  # it sounds as the open note: the gap is wider than the leaf
    STOPS = "stops"  # it sounds as the fret's note: the gap is narrower
    NEAR = "near"  # neither: it touches now and then


@dataclass(frozen=True)
class LeafReading:
    """A leaf take, and what its pitch says."""

    take: Take
    outcome: LeafOutcome

    @property
    def leaf_mm(self) -> float:
        """Thickness of the leaf. [mm]"""
        assert self.take.position.leaf_mm is not None
        return self.take.position.leaf_mm


# Half a fret tells the two notes apart; a string that buzzes on the leaf is pulled between them. Our choice.
LEAF_OPEN_BELOW_CENTS, LEAF_STOPS_ABOVE_CENTS = 35.0, 65.0


@dataclass(frozen=True)
class Return:
    """How an open string came back after the takes between two open ones. [cent]"""

    string: int
    capo: int
    row_before: int
    row_after: int
    change_cents: float
    sd_cents: float
    between: tuple[Position, ...]


@dataclass(frozen=True, repr=False)
class Survey:
    """All comparisons of one pass over an instrument.

    Attributes
    ----------
    stopped : tuple of Stopped
        In playing order.
    covariance_cents2 : array, shape (len(stopped), len(stopped))
        Of the error_cents, from the pitch readings alone. [cent^2]
    returns : tuple of Return
    opens : tuple of Take
        Every usable open take.
    leaves : tuple of LeafReading
        In playing order.
    """

    stopped: tuple[Stopped, ...]
    covariance_cents2: FloatArray
    returns: tuple[Return, ...]
    opens: tuple[Take, ...]
    leaves: tuple[LeafReading, ...] = ()

    def __repr__(self) -> str:
        """Return one line: how much was compared."""
        return f"<Survey: {len(self.stopped)} stopped takes against {len(self.opens)} open ones>"


@dataclass(frozen=True)
class Bracket:
    """The open takes around a stopped one, and the weight of the later one (0 to 1)."""

    before: Take
    after: Take
    weight_after: float

    @property
    def change_cents(self) -> float:
        """How far the open string moved between them. [cent]"""
        return cents_between(_hz(self.before), _hz(self.after))


def build_survey(takes: Sequence[Take]) -> Survey:
    """Errors of all stopped takes against the open takes around them.

    Takes without a pitch, with ``used`` False, or without any open take of the same string and capo are left
    out. Where the open take before or after is missing, the other one stands alone.

    Parameters
    ----------
    takes : sequence of Take
        In playing order. Within one string and capo ``when`` is on one time scale.

    Returns
    -------
    Survey
        Errors [cent] and their covariance [cent^2]: A S A' with S the readings' variances and A the weights
        of the stopped and open takes in each error, and what the open pitch may have done between two open
        takes, as far as the open takes are seen to walk.

    References
    ----------
    JCGM 100:2008 (GUM), 5.2: propagation through shared inputs.
    """
    usable = [take for take in takes if is_usable(take)]
    column = {id(take): i for i, take in enumerate(usable)}
    stopped: list[Stopped] = []
    leaves: list[LeafReading] = []
    weights: list[FloatArray] = []
    variance = np.array([_sd(take) ** 2 for take in usable], dtype=np.float64)
    for take in usable:
        if take.position.stop is Stop.OPEN:
            continue
        bracket = find_bracket(take, usable)
        if bracket is None:
            continue
        if take.position.stop is Stop.LEAF:
            leaves.append(_leaf_reading(take, bracket))
            continue
        row = np.zeros(len(usable))
        row[column[id(take)]] += 1.0
        row[column[id(bracket.before)]] -= 1.0 - bracket.weight_after
        row[column[id(bracket.after)]] -= bracket.weight_after
        stopped.append(Stopped(take, interval_error_cents(take, bracket), float(np.sqrt(row**2 @ variance))))
        weights.append(row)
    matrix = np.array(weights).reshape(len(weights), len(usable))
    walked = _walk_covariance([one.take for one in stopped], usable)
    return Survey(
        stopped=tuple(stopped),
        covariance_cents2=(matrix * variance) @ matrix.T + walked,
        returns=tuple(_returns(takes)),
        opens=tuple(take for take in usable if take.position.stop is Stop.OPEN),
        leaves=tuple(leaves),
    )


@dataclass(frozen=True)
class _Walk:
    """The open pitch from one open take of a string to the next. [cent, cent^2]"""

    before: Take
    after: Take
    change_cents: float
    reading_cents2: float
    steps: int  # takes from the one to the other


# A walk is believed to be none until several open takes show one: so many intervals weigh against it.
STEADY_INTERVALS = 4.0  # our choice
# [-] square of a change over its variance from which it was a jump at an unknown moment; our choice
JUMPED = 6.0


def _walk_covariance(stopped: Sequence[Take], usable: Sequence[Take]) -> FloatArray:
    """Covariance of what interpolation between open takes misses when their pitch walks. [cent^2]

    A random walk pinned at both open takes (a Brownian bridge): at the parts a <= b of the way its covariance
    is the walk's variance times a (1 - b). The walk's variance for one take is learned from all open takes.
    """
    walks = _walks(usable)
    excess = sum((walk.change_cents**2 - walk.reading_cents2) / walk.steps for walk in walks)
    per_take = max(0.0, excess) / (len(walks) + STEADY_INTERVALS)
    covariance = np.zeros((len(stopped), len(stopped)))
    for walk in walks:
        whole = per_take * walk.steps
        if walk.change_cents**2 > JUMPED * (walk.reading_cents2 + whole):
            whole = walk.change_cents**2 - walk.reading_cents2
        inside = [i for i, take in enumerate(stopped) if _between(take, walk)]
        span = walk.after.when - walk.before.when
        part = [(stopped[i].when - walk.before.when) / span for i in inside]
        for i, a in zip(inside, part, strict=True):
            for j, b in zip(inside, part, strict=True):
                covariance[i, j] += whole * min(a, b) * (1 - max(a, b))
    return covariance


def _walks(usable: Sequence[Take]) -> list[_Walk]:
    """Every pair of neighbouring open takes of one string and capo."""
    found: list[_Walk] = []
    for key in dict.fromkeys((take.position.string, take.position.capo) for take in usable):
        group = [take for take in usable if (take.position.string, take.position.capo) == key]
        group.sort(key=lambda take: take.when)
        opens = [i for i, take in enumerate(group) if take.position.stop is Stop.OPEN]
        for i, j in pairwise(opens):
            before, after = group[i], group[j]
            if after.when > before.when:
                change = cents_between(_hz(before), _hz(after))
                found.append(_Walk(before, after, change, _sd(before) ** 2 + _sd(after) ** 2, j - i))
    return found


def _between(take: Take, walk: _Walk) -> bool:
    """Whether a stopped take was played between the two open takes of a walk."""
    here, there = take.position, walk.before.position
    same = (here.string, here.capo) == (there.string, there.capo)
    return same and walk.before.when <= take.when < walk.after.when


def _leaf_reading(take: Take, bracket: Bracket) -> LeafReading:
    """What a leaf take says: the open note, the fret's note, or neither."""
    above = interval_error_cents(take, bracket) + CENTS_PER_SEMITONE * take.position.semitones
    share = above / take.position.semitones
    if share < LEAF_OPEN_BELOW_CENTS:
        return LeafReading(take, LeafOutcome.PASSES)
    return LeafReading(take, LeafOutcome.STOPS if share > LEAF_STOPS_ABOVE_CENTS else LeafOutcome.NEAR)


def is_usable(take: Take) -> bool:
    """Whether a take has a pitch and is not set aside."""
    return take.used and take.hz is not None and take.sd_cents is not None


def find_bracket(take: Take, takes: Iterable[Take]) -> Bracket | None:
    """Return the usable open takes of the same string and capo around ``take``; None if there is none."""
    opens = [other for other in takes if is_usable(other) and _is_open_of(other, take.position)]
    before = max((o for o in opens if o.when <= take.when), key=lambda o: o.when, default=None)
    after = min((o for o in opens if o.when > take.when), key=lambda o: o.when, default=None)
    if before is None or after is None:
        only = before or after
        return None if only is None else Bracket(only, only, 1.0)
    return Bracket(before, after, (take.when - before.when) / (after.when - before.when))


def interval_error_cents(take: Take, bracket: Bracket) -> float:
    """Interval of a stopped take above its open string, less equal temperament's. [cent]"""
    start = _hz(bracket.before)
    drift = bracket.weight_after * bracket.change_cents
    return cents_between(start, _hz(take)) - drift - CENTS_PER_SEMITONE * take.position.semitones


# [cent] from note to note by a careful hand, 1 to 2: docs/method.md, "What a fretted note"
FRETTED_HAND_CENTS = 1.5


def first_fret_cents(
    survey: Survey, string: int, *, without: Collection[int] = ()
) -> tuple[float, float] | None:
    """Error of the ordinary first-fret note of a string, repeats combined.

    Parameters
    ----------
    survey : Survey
    string : int
    without : collection of int, optional
        Rows left out, such as those the fit hardly used.

    Returns
    -------
    tuple of float, or None
        Mean weighted by the readings' variances, and its standard uncertainty [cent]: the readings' own, open
        takes shared, with the scatter of a careful hand; or the scatter of the repeats where that is larger
        (Birge ratio). None without a first-fret take with no capo.

    References
    ----------
    R. T. Birge (1932), Phys. Rev. 40, 207-227: internal and external consistency.
    """
    chosen = [
        i
        for i, s in enumerate(survey.stopped)
        if s.take.position == Position(string, Stop.FRET, 1) and s.take.row not in without
    ]
    if not chosen:
        return None
    errors = np.array([survey.stopped[i].error_cents for i in chosen])
    covariance = survey.covariance_cents2[np.ix_(chosen, chosen)]
    weight = 1 / np.diag(covariance)
    weight = weight / weight.sum()
    mean = float(weight @ errors)
    internal = float(np.sqrt(weight @ covariance @ weight))
    internal = float(np.hypot(internal, FRETTED_HAND_CENTS / np.sqrt(len(chosen))))
    external = 0.0
    if len(chosen) > 1:
        external = float(np.sqrt(weight @ (errors - mean) ** 2 / (len(chosen) - 1)))
    return mean, max(internal, external)


def _returns(takes: Sequence[Take]) -> list[Return]:
    """Return every pair of neighbouring open takes that has stopped takes between them."""
    found: list[Return] = []
    for key in dict.fromkeys((take.position.string, take.position.capo) for take in takes):
        group = [take for take in takes if (take.position.string, take.position.capo) == key]
        group.sort(key=lambda take: take.when)
        opened: Take | None = None
        between: list[Position] = []
        for take in group:
            if take.position.stop is Stop.LEAF:
                continue
            if take.position.stop is not Stop.OPEN:
                between.append(take.position)
            elif is_usable(take):
                if opened is not None and between:
                    found.append(
                        Return(
                            string=key[0],
                            capo=key[1],
                            row_before=opened.row,
                            row_after=take.row,
                            change_cents=cents_between(_hz(opened), _hz(take)),
                            sd_cents=float(np.hypot(_sd(opened), _sd(take))),
                            between=tuple(between),
                        )
                    )
                opened, between = take, []
    return found


def _is_open_of(take: Take, position: Position) -> bool:
    """Whether a take is an open one of the string and capo of ``position``."""
    place = take.position
    return place.stop is Stop.OPEN and (place.string, place.capo) == (position.string, position.capo)


def _hz(take: Take) -> float:
    """Pitch of a usable take."""
    assert take.hz is not None
    return take.hz


def _sd(take: Take) -> float:
    """Standard uncertainty of a usable take."""
    assert take.sd_cents is not None
    return take.sd_cents
