"""What can hurt a person or an instrument, in sentences that the terminal, the page and the documents share.

Conventions: plain tuples of whole sentences, in the order they are needed. The wording is the only home of
each caution; whoever shows one imports it from here.
"""

from __future__ import annotations

FIRST = (
    "The maker's service instructions and a qualified repairer come first. Where they differ, follow them.",
    "Strings must be settled, neck relief and action set, before a slot is judged or filed.",
)

FILING = (
    "Take off little, tune, and listen again. What is filed off a slot you cannot put back.",
    "Never take off all of the excess in one pass.",
    "Keep dust out of your lungs: file with a dust mask and wipe up, do not blow. "
    "Bone, shell and filled plastics make dust that is bad to breathe.",
)

EYES = (
    "Wear eye protection whenever strings are under tension, and keep your face clear of them: "
    "a string that breaks or slips can whip into an eye.",
)

PRESSING = (
    "Press with a rod of wood or plastic, 5 to 6 mm thick, its end rounded: a dowel. Never use metal.",
    "Press straight down, and support the neck under the rod with your other hand.",
    "Stop if the board dents, the string creaks or the neck moves.",
    "Do not press on a scalloped board.",
)

FILLING = (
    "Glue vapour harms eyes and lungs: open a window, wear eye protection, keep glue off the finish.",
    "Do not overheat filled plastics: with fast tools or a flame they give off harmful fumes. "
    "Work cool and slowly.",
)

ACCURACY = (
    "No press test on a real instrument stands behind these figures yet. "
    "How accurate they are is known from simulated instruments only, "
    "until someone has measured known shims under a real string.",
    "So check the first slot you file against a feeler gauge before you trust the next.",
)

AFTER = (
    "If an open string buzzes on the first fret, bring the instrument back: a buzz is never filed away.",
    "A neck moves with weather, travel and other strings: let it settle before it is judged again.",
    "What came off a slot cannot be put back; a slot that is too low has to be raised.",
)

SOUND = (
    "The sounds are cut to the notes. What else was heard in the room in those moments is in them, "
    "speech too: listen before this page is passed on, or have it made without sound.",
)

PROOF = (
    "The fingerprint is worked out from every file of the job. Whoever has the job can work it out again: "
    "if it comes out the same, no file has changed since this page was made.",
    "It does not prove who made the job, or when, or that the recordings are of this instrument.",
)

SHORT = (
    "Take off little, then listen again: you cannot put it back.",
    "Eye protection on, face clear of the strings.",
)

EVERYTHING = (
    ("Before you start", FIRST),
    ("Eyes", EYES),
    ("When you file", FILING),
    ("When you press", PRESSING),
    ("When you fill or glue", FILLING),
)
