"""What is believed of one quantity after the fit: a distribution kept as a table of quantiles."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pitchcheck.types import FloatArray

NEXT_TO_NORMAL = 1e-3  # [-] skewness below which a belief is taken as normal


@dataclass(frozen=True, repr=False)
class Belief:
    """Posterior distribution of one number.

    Attributes
    ----------
    values : array, shape (n,), increasing
        Points of the quantity, in its own unit.
    probability : array, shape (n,), not decreasing, 0 to 1
        Belief that the quantity lies below each point.
    """

    values: FloatArray
    probability: FloatArray

    def __repr__(self) -> str:
        """Return one line: median and 90 % interval."""
        return f"<Belief {self.median:.4g}, 90 % between {self.low:.4g} and {self.high:.4g}>"

    @classmethod
    def normal(cls, mean: float, sd: float) -> Belief:
        """Normal belief, tabulated to 4.5 standard deviations."""
        from scipy.special import ndtr

        z = np.linspace(-4.5, 4.5, 181)
        return cls(mean + sd * z, np.asarray(ndtr(z), dtype=np.float64))

    @classmethod
    def skew(cls, mean: float, sd: float, skewness: float) -> Belief:
        """Belief of given mean, standard deviation and skewness: a shifted lognormal, tabulated to 4.5 sd.

        Of the shifted lognormal with w = exp(s^2) the skewness is (w + 2) sqrt(w - 1) (Johnson and Kotz,
        Continuous Univariate Distributions, from memory); it turns normal as the skewness vanishes.
        """
        if abs(skewness) < NEXT_TO_NORMAL:
            return cls.normal(mean, sd)
        from scipy.special import ndtr

        root = 1 + skewness**2 / 2 + np.sqrt(skewness**2 + skewness**4 / 4)
        w = root ** (1 / 3) + root ** (-1 / 3) - 1
        z = np.linspace(-4.5, 4.5, 181)
        arm = np.exp(np.sqrt(np.log(w)) * z) / np.sqrt(w)  # mean 1
        value = (arm - 1) / np.sqrt(w - 1)
        probability = np.asarray(ndtr(z), dtype=np.float64)
        if skewness < 0:
            value, probability = -value[::-1], 1 - probability[::-1]
        return cls(mean + sd * value, probability)

    def quantile(self, p: float) -> float:
        """Value below which the quantity lies with belief ``p``."""
        return float(np.interp(p, self.probability, self.values))

    def below(self, value: float) -> float:
        """Belief that the quantity lies below ``value``."""
        return float(np.interp(value, self.values, self.probability, left=0.0, right=1.0))

    def shifted(self, by: float) -> Belief:
        """Belief in the quantity plus a constant."""
        return Belief(self.values + by, self.probability)

    def scaled(self, by: float) -> Belief:
        """Belief in the quantity times a positive constant."""
        return Belief(self.values * by, self.probability)

    @property
    def median(self) -> float:
        """Value that the quantity is as likely above as below."""
        return self.quantile(0.5)

    @property
    def low(self) -> float:
        """Lower end of the 90 % interval."""
        return self.quantile(0.05)

    @property
    def high(self) -> float:
        """Upper end of the 90 % interval."""
        return self.quantile(0.95)
