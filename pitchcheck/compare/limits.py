"""What a comparison takes for granted and when it says "changed"; every number with its reason.

Conventions: standard deviations of a normal belief in the difference between two passes by one person with
one rod, nothing else having been done; mm, cents, or relative.
"""

from __future__ import annotations

CHANGE_MM = 0.5  # how much a slot may have moved: wide, so that the sound alone decides; our choice
RESEATED = 0.01  # [-] how a string put back into its slot slides otherwise than before; our choice
TOUCH_CHANGED = 0.2  # [-] usual fretting force, another day; our choice
RELIEF_CHANGED_MM = 0.05  # a neck moves a little with the weather; our choice
ACTION_CHANGED_MM = 0.10  # a saddle taken out and put back; our choice
SUPPORT_CHANGED_MM = 0.010  # a neck held within 50 mm of the rod gives so much (docs/method.md)
HAND_CHANGED_CENTS = 0.10  # what the rod adds to every press alike; our choice

CHANGED_BELIEF = 0.995  # [-] belief that a change needs before it is called one: definition
SAME_BELIEF = 0.90  # [-] belief that a slot moved by less than the tolerance: definition
MATCH_SD = 2.0  # [sd] within which told and heard agree: the usual 95 %
LEAST_TOLD_ERROR_MM = 0.02  # how well a removal is known at the bench; our choice
TOLD_ERROR = 0.10  # [-] and relative to it
USUAL_HAND_TAKES = 12.0  # so many repeats weigh as much as what is believed of a careful hand; our choice
RETUNED_CENTS = 10.0  # [cent] from here on a string tuned otherwise is named; our choice
