"""What the fit could not explain: one fret wrong on all strings, a gauge that disagrees with the ear.

Conventions: residuals are heard less expected, in cents; gauge residuals are read less expected, in mm.
"""

from __future__ import annotations

from collections import defaultdict

import numpy as np

from pitchcheck.diagnosis.limits import DiagnosisLimits, t_limit, z_limit
from pitchcheck.diagnosis.witness import FEWEST_FRETS, heard_on_frets
from pitchcheck.findings import Cause, Finding, FretOff, GaugeAgainstSound
from pitchcheck.fit.result import HARDLY_USED, Fit, Residual
from pitchcheck.instrument import MeterQuantity, SessionSettings
from pitchcheck.takes import Stop

_FEWEST_STRINGS = 3  # a residual common to two strings is not yet the fret's: chosen

_SHARED_BY_SLOTS = (MeterQuantity.FRET_HEIGHT,)  # read once, but every slot height hangs on it


def find_frets(fit: Fit, limits: DiagnosisLimits) -> list[Finding]:
    """Frets at which all strings miss their prediction alike.

    Per stop and fret, the strings' mean residuals are averaged; a finding needs an average beyond Student's t
    (strings - 1 degrees of freedom, false-alarm rate shared over all places looked at) times its standard
    error (the larger of that from the readings and that from the strings' scatter), and
    ``limits.fret_cents``. Strings heard at fewer than three frets do not count: any one of them may be off.
    """
    groups: dict[tuple[Stop, int], list[Residual]] = defaultdict(list)
    for residual in fit.residuals:
        place = residual.position
        if place.fret is not None and place.capo == 0:
            groups[place.stop, place.fret].append(residual)
    judged = [n for n in {r.position.string for r in fit.residuals} if heard_on_frets(fit, n) >= FEWEST_FRETS]
    means = {
        place: [row for row in _by_string(_believed(residuals)) if row[0] in judged]
        for place, residuals in groups.items()
    }
    means = {place: rows for place, rows in means.items() if len(rows) >= _FEWEST_STRINGS}
    found: dict[int, Finding] = {}
    for (stop, fret), rows in sorted(means.items(), key=lambda item: (item[0][1], item[0][0])):
        values = np.array([row[1] for row in rows])
        noise = np.array([row[2] for row in rows])
        mean = float(values.mean())
        error = max(
            float(np.sqrt((noise**2).sum())) / values.size, float(values.std(ddof=1)) / values.size**0.5
        )
        limit = t_limit(len(means), alarm=limits.alarm, freedom=values.size - 1) * error
        if abs(mean) <= max(limit, limits.fret_cents):
            continue
        shown = FretOff(stop, fret, mean, int(values.size), max(limit, limits.fret_cents))
        if fret not in found or abs(mean) > abs(found[fret].size):
            numbers = tuple(row[0] for row in rows)
            found[fret] = Finding(Cause.FRET, numbers, (fret,), mean, "cent", (shown,))
    return list(found.values())


def _believed(residuals: list[Residual]) -> list[Residual]:
    """Takes without those the fit hardly used; where these are the most, the fret is off, not the takes."""
    used = [residual for residual in residuals if residual.weight >= HARDLY_USED]
    return used if 2 * len(used) >= len(residuals) else residuals


def _by_string(residuals: list[Residual]) -> list[tuple[int, float, float]]:
    """Return string, mean residual and its standard uncertainty, string by string."""
    rows: list[tuple[int, float, float]] = []
    for number in sorted({residual.position.string for residual in residuals}):
        mine = [r for r in residuals if r.position.string == number]
        mean = float(np.mean([r.heard_cents - r.expected_cents for r in mine]))
        sd = float(np.sqrt(np.mean([r.sd_cents**2 for r in mine]) / len(mine)))
        rows.append((number, mean, sd))
    return rows


def find_disagreements(settings: SessionSettings, fit: Fit, limits: DiagnosisLimits) -> list[Finding]:
    """Gauge readings that the sound does not bear out, each with the likely slip named.

    The difference is beyond the normal limit of its own uncertainty, false-alarm rate shared over all
    readings; or the fit itself sees a decimal point that slipped. Nothing is ever rescaled.
    """
    limit = z_limit(len(fit.meter), alarm=limits.alarm)
    found: list[Finding] = []
    for row in fit.meter:
        difference = row.read_mm - row.expected_mm
        if abs(difference) <= limit * row.sd_mm and row.likely_slip_mm is None:
            continue
        reading = settings.meter[row.index] if row.index < len(settings.meter) else None
        numbers: tuple[int, ...] = ()
        if reading is not None and reading.string is not None:
            numbers = (reading.string,)
        elif reading is not None and reading.what in _SHARED_BY_SLOTS:
            numbers = tuple(string.number for string in fit.strings)
        shown = GaugeAgainstSound(
            None if reading is None else reading.what,
            None if reading is None else reading.string,
            row.read_mm,
            row.expected_mm,
            row.sd_mm,
            row.likely_slip_mm,
        )
        found.append(Finding(Cause.EAR_METER_DISAGREE, numbers, (), difference, "mm", (shown,)))
    return found
