"""What a message tells to do, in the words of the page instead of those of the command line.

Conventions: messages are made once, in the core, for whoever runs it; they may name a command or an option.
What reaches the page goes through ``on_page``. A test holds every message of the package against it.
"""

from __future__ import annotations

import re

_CHECK = "“Compare every byte with its sums” on the job's page"
_END = r"(?=[.;,)]?\s|[.;,)]?$)"  # of a command that a message ends with, or that a sentence follows
# What is found, and what stands on the page instead; in this order.
_INSTEAD = [
    (re.compile(pattern), words)
    for pattern, words in (
        (r"; the sounds can be measured again with: pitchcheck measure .*", "."),
        (
            r"See(?: what changed with)?:? (?:pitchcheck job verify \S+?|job verify)" + _END,
            f"{_CHECK} says what changed",
        ),
        (r"Run:? (?:pitchcheck job verify \S+?|job verify)( first)?" + _END, rf"Press {_CHECK}\1"),
        (
            r"See them all with: pitchcheck job list \(another place: --jobs FOLDER\)",
            "The start page lists them.",
        ),
        (
            r"Listen(?: first)?: pitchcheck listen FOLDER --job \S+?" + _END,
            "Play a session, then seal it into this job",
        ),
        (r"Make (?:one|it) with: pitchcheck new .*?--kind KIND", "Begin a new session on the start page"),
        (r"Add --kind, like: pitchcheck measure .* --kind electric", "Choose the instrument."),
        (r"`pitchcheck inputs` lists", "The start page lists"),
        (r", then job add", ", then seal it into this job"),
        (r"pitchcheck job tidy \S+ says what it is", "“Finish it, and look for leftovers” says what it is"),
        (r"Add it, like --kind acoustic", "Choose the instrument"),
        (r"Check --kind", "Check the instrument you chose"),
        (r"is named with --tuning, lowest", "is typed in beside the instrument, lowest"),
        (r"with --course presses or --course frets", "beside “Played were”"),
        (r"Say --course frets", "Choose “fretted notes” beside “Played were”"),
        (r'To go on with them: pitchcheck listen ".*?"', "To go on with them, open it from the start page."),
        (r"--course is .*?; it must be", "What was played must be"),
        (
            r"Leave --strings and --thoroughness out to go on with it",
            "Choose “as it was begun” to go on with it",
        ),
        (r"Leave --removed out", "Leave empty what came off"),
        (r"Correct --strings", "Correct the numbers of the strings"),
        (r", and --kind is (.*?)\. Leave --kind out", r", and the one chosen is \1. Choose that one"),
        (r", and --scale is (.*?)\. Leave --scale out", r", and the one given is \1. Leave it empty"),
        (r", and --aim is ", ", and the one chosen is "),
        (r", and --level-frets is given", ", and the box is ticked"),
        (r"name another place with --jobs", "start the bench with another place for jobs"),
        (r"Give another name with --to", "Give another name"),
        (r", or import without --signer", ""),
        (r"add it all the same with --anyway", "say that it is meant"),
        (r"say how: --changed (\".*?\")", r"say how, like \1"),
        (r"Name another with --sign", "Name another"),
        (r"Give another title with --title", "Give another title"),
    )
]


def on_page(words: str) -> str:
    """Return a message with the commands and options in it said in the words of the page."""
    said = words
    for pattern, instead in _INSTEAD:
        said = pattern.sub(instead, said)
    return f"{said}." if said != words and said[-1:].isalnum() else said
