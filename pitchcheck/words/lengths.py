"""Which lengths of the instrument are worth measuring, in English: what it brings, and how it is done.

Conventions: whole sentences; half widths of 90 % intervals in mm.
"""

from __future__ import annotations

from collections.abc import Sequence

from pitchcheck.plan.records import SharedLength, WorthTelling
from pitchcheck.takes import Narrowing
from pitchcheck.words import phrases

TITLES = {
    SharedLength.RELIEF: "Measure the neck relief",
    SharedLength.BEHIND_NUT: "Measure the fall behind the nut",
}
# Common practice, no source; what is measured is what docs/formats.md says.
_HOW = {
    SharedLength.RELIEF: (
        "Hold a string down at fret 1 and at the last fret; the thickest leaf that passes under it half way "
        "without moving it is the relief. Tell it in the settings as relief, and measure again."
    ),
    SharedLength.BEHIND_NUT: (
        "Hold a straightedge along the side of the fretboard, past the nut. Measure from it to a middle "
        "string at the nut's front edge and at its post: the difference is the fall. Tell it and the way "
        "from nut to post in the settings as fall_to_post and nut_to_post, and measure again."
    ),
}


def length_steps(lengths: Sequence[WorthTelling]) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Return title and sentences for each length worth measuring."""
    return tuple((TITLES[worth.what], (_brings(worth.why), _HOW[worth.what])) for worth in lengths)


def length_briefs(lengths: Sequence[WorthTelling]) -> tuple[str, ...]:
    """Return a line of at most 80 letters for the length that brings most, for a screen."""
    return tuple(
        f"{TITLES[worth.what]}: string {worth.why.string} is then known to ±{_after_mm(worth.why):.2f}, "
        f"not {worth.why.half_width_mm:.2f} mm."
        for worth in lengths[:1]
    )


def _brings(why: Narrowing) -> str:
    """Return what it brings."""
    helps = f"; it helps {phrases.strings(why.helps)} as well" if why.helps else ""
    return (
        f"The slot of string {why.string} would be known to ±{_after_mm(why):.2f} instead of "
        f"±{why.half_width_mm:.2f} mm{helps}: less is then left above target."
    )


def _after_mm(why: Narrowing) -> float:
    """Half of the 90 % interval once it is told. [mm]"""
    return why.half_width_mm * (1 - why.share)
