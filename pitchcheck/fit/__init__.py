"""The joint fit: from errors in cents and gauge readings to slot heights and how sure they are."""

from pitchcheck.fit.belief import Belief as Belief
from pitchcheck.fit.instrument_fit import fit_instrument as fit_instrument
from pitchcheck.fit.problem import FitPass as FitPass
from pitchcheck.fit.result import Fit as Fit
