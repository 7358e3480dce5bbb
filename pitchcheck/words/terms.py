"""Words of the trade in a sentence each, for those who meet them first on a page of ours.

Conventions: `terms_in` finds what a text uses, in the order of first appearance, so that a page explains a
word where it first needs it and none that it does not.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

TERMS = {
    "press": (
        "press 1, 2, 3: the string is held down onto the board midway behind that fret with a rounded rod of "
        "wood or plastic (press 1: between the nut and fret 1), and plucked with the other hand"
    ),
    "slot height": (
        "slot height: how far the string, where it leaves the nut, lies above the straight line through the "
        "tops of frets 1 and 3"
    ),
    "gap over fret 1": (
        "gap over fret 1: the air between the string and the top of fret 1, the string held down at fret 3; "
        "measured with a leaf"
    ),
    "leaf": "leaf: a thin strip of known thickness; the thickest that slides into a gap without lifting "
    "tells it",
    "target": "target: the height at which a slot plays well and the first frets sound true",
    "buzz": "buzz: the open string rattles on fret 1 because its slot is too low",
    "cent": "cent: a hundredth of a semitone; 100 cents are one fret",
    "saddle": "saddle: the piece at the bridge on which the string ends; it sets the tuning up the neck",
    "action": "action: the height of the strings above fret 12",
    "relief": "relief: the slight forward bow of the neck",
    "open string": "open string: plucked without touching it anywhere else",
}
SLOT = (  # for who brings an instrument; who works on it knows
    "slot: the groove in the nut, the piece at the headstock end of the fretboard, in which a string lies"
)
_PATTERNS = {
    "press": r"\bpress(?:es)? ?[1-4]?\b",
    "slot height": r"\bslot heights?\b",
    "gap over fret 1": r"\bgap over fret 1\b",
    "leaf": r"\b(?:leaf|leaves)\b",
    "target": r"\btargets?\b",
    "buzz": r"\bbuzz",
    "cent": r"\bcents?\b",
    "saddle": r"\bsaddle\b",
    "action": r"\b(?:action (?:at|over)|relief and action)\b",
    "relief": r"\brelief\b",
    "open string": r"\bopen strings?\b",
}


def terms_in(texts: Sequence[str]) -> tuple[str, ...]:
    """Return an explanation of each trade word that the texts use, in the order of first appearance.

    Examples
    --------
    >>> [line.split(":")[0] for line in terms_in(["The saddle wants to go back.", "Play press 1 first."])]
    ['saddle', 'press 1, 2, 3']
    """
    whole = "\n".join(texts).lower()
    found = {name: re.search(pattern, whole) for name, pattern in _PATTERNS.items()}
    first = sorted((match.start(), name) for name, match in found.items() if match is not None)
    return tuple(TERMS[name] for _, name in first)
