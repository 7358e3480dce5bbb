"""Whether feeler leaves lie at hand, by what is declared and by what was played.

Nobody is asked whether there are any: whoever has none leaves the leaf takes out, and that is seen.
"""

from __future__ import annotations

from pitchcheck.instrument import Aim, Fretwork, SessionSettings
from pitchcheck.survey import Survey
from pitchcheck.takes import Stop


def in_a_workshop(settings: SessionSettings, survey: Survey) -> bool:
    """Whether leaves lie at hand, by what is declared and by those that were laid: a player may have none."""
    declared = settings.instrument.fretwork is Fretwork.LEVEL or settings.target.aim is Aim.NEW_NUT
    return declared or bool(survey.leaves)


def leaves_left_out(survey: Survey) -> bool:
    """Whether leaves were asked for and not laid: three open takes of a string with nothing between.

    A run ends and the next begins with an open take, so two are usual. Takes that could not be used may have
    stood where a row is missing.
    """
    heard = [*survey.opens, *(s.take for s in survey.stopped), *(leaf.take for leaf in survey.leaves)]
    rows = {take.row for take in heard}
    for string in {take.position.string for take in heard}:
        own = sorted((t for t in heard if t.position.string == string), key=lambda t: t.row)
        for three in zip(own, own[1:], own[2:], strict=False):
            if all(take.position.stop is Stop.OPEN for take in three) and rows.issuperset(
                range(three[0].row, three[2].row)
            ):
                return True
    return False


def bare_strings(survey: Survey) -> frozenset[int]:
    """Strings whose leaf takes need no open takes: they have one, and leaves are known to be at hand."""
    if not survey.leaves:
        return frozenset()
    return frozenset(take.position.string for take in survey.opens if not take.position.capo)
