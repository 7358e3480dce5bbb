"""From takes to errors in cents: every stopped take against the open takes around it.

Conventions: the error of a stopped take is its interval above the open string, less equal temperament's; the
open pitch is interpolated in time between the open takes before and after. Errors share open takes, so their
uncertainties are correlated: the covariance is given whole.
"""

from __future__ import annotations

from dataclasses import dataclass

from pitchcheck.clip import FloatArray
from pitchcheck.takes import Position, Take


@dataclass(frozen=True)
class Stopped:
    """One stopped take, compared with its open string. [cent]"""

    take: Take
    error_cents: float
    sd_cents: float  # reading noise only, open takes included


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


@dataclass(frozen=True)
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
    """

    stopped: tuple[Stopped, ...]
    covariance_cents2: FloatArray
    returns: tuple[Return, ...]
    opens: tuple[Take, ...]
