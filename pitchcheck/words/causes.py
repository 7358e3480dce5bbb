"""What makes the notes off, in order of cents, with what to do about each: the first thing a reader asks.

Conventions: cents at the place where a cause acts, without sign; None where it has no size in cents.
"""

from __future__ import annotations

from dataclasses import dataclass

from pitchcheck.diagnosis import Cause, Finding
from pitchcheck.fit.result import Fit
from pitchcheck.measurement import Measurement
from pitchcheck.units import CENTS_PER_LOG
from pitchcheck.words import numbers, phrases

SLOT_CAUSES = (Cause.SLOT_HIGH, Cause.SLOT_LOW)
_FIRST, _TWELFTH = 0, 11  # places of frets 1 and 12 in a curve over the neck


@dataclass(frozen=True)
class CauseLine:
    """All findings of one cause as one line; ``cents`` is that of the largest."""

    cause: Cause
    strings: tuple[int, ...]
    count: int
    cents: float | None

    @property
    def title(self) -> str:
        """Name of the cause."""
        return phrases.CAUSE_TITLES[self.cause]

    @property
    def where(self) -> str:
        """Strings it was found on; empty for the whole instrument."""
        return phrases.strings(self.strings) if self.strings else ""

    @property
    def size(self) -> str:
        """How much it makes of a note; empty where that is not known."""
        if self.cents is None:
            return ""
        amount = numbers.rounded(self.cents, decimals=numbers.CENT_DECIMALS)
        place = " at fret 1" if self.cause in SLOT_CAUSES else ""
        return f"up to {amount} cents{place}" if self.count > 1 else f"{amount} cents{place}"

    @property
    def cure(self) -> str:
        """What to do about it."""
        return phrases.CAUSE_CURES[self.cause]


def cause_lines(measurement: Measurement) -> tuple[CauseLine, ...]:
    """Return every cause once, that of most cents first; those without cents last."""
    groups: dict[Cause, list[Finding]] = {}
    for finding in measurement.findings:
        groups.setdefault(finding.cause, []).append(finding)
    lines = []
    for cause, found in groups.items():
        sizes = [_cents(f, measurement) for f in found]
        known = [size for size in sizes if size is not None]
        members = tuple(sorted({number for f in found for number in f.strings}))
        lines.append(CauseLine(cause, members, len(found), max(known) if known else None))
    return tuple(sorted(lines, key=lambda line: -1.0 if line.cents is None else -line.cents))


def _cents(finding: Finding, measurement: Measurement) -> float | None:
    """Return what a finding makes of a note at the place where it acts."""
    if finding.unit.startswith("cent"):
        return abs(finding.size)
    fit = measurement.fit
    if fit is None:
        return None
    if finding.cause in SLOT_CAUSES:
        return _largest(fit, finding.strings, _FIRST, against_target=True)
    if finding.cause is Cause.SADDLE:
        return _largest(fit, finding.strings, _TWELFTH, against_target=False)
    if finding.cause is Cause.NUT_POSITION:
        return abs(finding.size) / measurement.settings.instrument.scale_mm * CENTS_PER_LOG
    return None


def _largest(fit: Fit, strings: tuple[int, ...], fret: int, *, against_target: bool) -> float | None:
    """Return the largest error at a fret: that of the slot against its target, or what is left at target."""
    found = [
        abs(float(s.neck_now_cents[fret] - s.neck_target_cents[fret]))
        if against_target
        else abs(float(s.neck_target_cents[fret]))
        for s in fit.strings
        if s.number in strings
    ]
    return max(found) if found else None
