"""Doubts of passes stored before doubts were records: their sentences, read back into records.

Conventions: the sentences are those of the versions that wrote them and never change; what matches none is
kept as it stands. Numbers are as exact as the sentences give them.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from pitchcheck.doubts import (
    Doubt,
    Faint,
    NoOpenTake,
    NoOpenTakeOn,
    OpenOffItsNote,
    OtherNote,
    Overdriven,
    PressTooFar,
    SecondString,
    Side,
    StatedDoubt,
    StoppedOffItsPlace,
    VaguePitch,
)

_NUMBER = r"([+-]?[0-9.]+)"
_OLD: tuple[tuple[str, Callable[..., Doubt]], ...] = (
    (
        rf"expected {_NUMBER} Hz but {_NUMBER} Hz sounds: another (octave|note)",
        lambda expected, heard, what: OtherNote(float(expected), float(heard), what == "octave"),
    ),
    (
        rf"another string may be ringing near {_NUMBER} Hz; damp the others",
        lambda hz: SecondString(float(hz)),
    ),
    (rf"pitch uncertain by {_NUMBER} cents", lambda sd: VaguePitch(float(sd))),
    (r"hardly louder than the noise; pluck louder or come closer", Faint),
    (r"the sound is overdriven; lower the recording level", Overdriven),
    (
        rf"wrong note: {_NUMBER} cents from ([A-G][#b]?-?\d+)(?: with the capo behind fret (\d+))?, "
        rf"more than {_NUMBER}; not used\. .*",
        lambda off, note, capo, limit: OpenOffItsNote(float(off), note, int(capo or 0), float(limit)),
    ),
    (
        rf"wrong note: {_NUMBER} cents from its place above the open string \(−{_NUMBER} to {_NUMBER} is "
        r"believable\); not used\. .*",
        lambda off, flat, sharp: StoppedOffItsPlace(float(off), float(flat), float(sharp)),
    ),
    (r"no usable open take of the same string and capo to compare it with; not used", NoOpenTake),
    (rf"{_NUMBER} cents: either a very high slot or the string was .*", lambda off: PressTooFar(float(off))),
    (
        r"no open take (before|after) it: tuning drift is not removed",
        lambda side: NoOpenTakeOn(Side(side)),
    ),
)


def read_old_doubt(text: str) -> Doubt:
    """Return the doubt that a stored sentence stands for."""
    for pattern, make in _OLD:
        found = re.fullmatch(pattern, text)
        if found is not None:
            return make(*found.groups())
    return StatedDoubt(text)
