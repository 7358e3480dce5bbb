"""Findings: what is behind the numbers, each with its evidence."""

from pitchcheck.diagnosis.find import Diagnosis, diagnose
from pitchcheck.diagnosis.limits import DiagnosisLimits
from pitchcheck.findings import Cause, Finding

__all__ = ["Cause", "Diagnosis", "DiagnosisLimits", "Finding", "diagnose"]
