"""The work on a nut that sound cannot hear, as steps with what to look at and what can go wrong.

All of it is common practice, no source. The names are those of ``jobs.records.STEPS``.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Step:
    """One step: its short name, what is to be so, how to look, and its caution."""

    name: str
    title: str
    look: str
    caution: str


CHECKLIST = (
    Step(
        "score",
        "Finish scored",
        "The finish is cut through along the nut on every side that it touches, before any force.",
        "Light strokes along a straightedge, blade away from fingers and from the face; finish that is not "
        "cut tears off in flakes.",
    ),
    Step(
        "out",
        "Old nut out without chips",
        "The old nut came out whole or in pieces, and wood and finish around it are unharmed.",
        "Strings off and eyes covered. A tap along the slot, never a lever against the end of the board; "
        "an old nut may be let in or glued fast: saw it through its middle rather than force it.",
    ),
    Step(
        "bed",
        "Bed clean and flat",
        "No old glue, no dust; a straightedge shows no light along the bed or across it.",
        "Scrape glue, not wood: what goes off the bed lowers every slot. Dust mask on.",
    ),
    Step(
        "thickness",
        "Thickness snug",
        "The blank slides in by hand pressure and stands by itself, without rocking and without force.",
        "A blank driven in can split the wood behind it. Bone and shell dust is bad to breathe: mask on, "
        "wipe up, do not blow.",
    ),
    Step(
        "bottom",
        "Bottom square",
        "Bottom flat and square to the face towards the board; full contact on the bed.",
        "Sand on a flat block, little at a time; a rounded bottom rings dead and sits lower after a week.",
    ),
    Step(
        "height",
        "Height set on the two outer strings",
        "Only the first and the last string are slotted and heard; the cut at the bottom follows from them.",
        "The bottom is cut before the slots of the inner strings. Cut less than it says, listen again: "
        "what comes off the bottom comes off under every string.",
    ),
    Step(
        "ends",
        "Ends flush",
        "Both ends are level with the neck, without an edge that a hand can feel.",
        "Tape over the finish beside the nut while filing; file towards the nut's middle so that no corner "
        "breaks out.",
    ),
    Step(
        "glue",
        "Little glue",
        "A drop or two on the bed, none against the end of the board, squeezed-out glue wiped off.",
        "The next nut must come out again. Window open, glue off the finish and off the skin; a slot that "
        "was filled with glue must be hard before it is filed.",
    ),
    Step(
        "strung",
        "Strung and stretched",
        "Tuned to pitch, stretched and tuned again until it holds, before anything is heard for the record.",
        "Eye protection while tuning up; face away from the strings.",
    ),
)
