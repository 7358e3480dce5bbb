"""The ``[before]`` of a settings file, put in or taken out with everything else left as it was written."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence

from pitchcheck.errors import BadInput, Problem
from pitchcheck.instrument import Removal
from pitchcheck.session.settings import SETTINGS

_HEADING = re.compile(r"\s*\[\[?\s*([^\]\s.]+)[^\]]*\]\]?\s*(?:#.*)?")
_MARK = "# The pass before this one, written when the pass entered its job."


def without_before(text: str) -> str:
    """Return settings without their ``[before]``.

    Raises
    ------
    BadInput
        If ``[before]`` is written in a way that cannot be told apart from the rest.
    """
    if "before" not in tomllib.loads(text):
        return text
    kept, inside = [], False
    for line in text.splitlines(keepends=True):
        heading = _HEADING.fullmatch(line.rstrip("\r\n"))
        if heading is not None:
            inside = heading[1].strip("\"'") == "before"
        if not inside:
            kept.append(line)
    rest = "".join(kept)
    wanted = {key: value for key, value in tomllib.loads(text).items() if key != "before"}
    if _parsed(rest) != wanted:
        limit = "[before] is not written as a table of its own, so it cannot be put right"
        action = "Take it out; job add writes it."
        raise BadInput(Problem(SETTINGS, None, "before", None, limit, action))
    return rest


def with_before(text: str, folder: str, *, removed: Sequence[Removal]) -> str:
    """Return settings whose ``[before]`` names a folder and what came off since, in place of any other."""
    lines = [without_before(text).rstrip("\n"), "", _MARK, "[before]", f'folder = "{folder}"']
    for item in removed:
        lines += ["[[before.removed]]", f"string = {item.string}", f'amount = "{amount_text(item)}"']
    return "\n".join(lines) + "\n"


def amount_text(removal: Removal) -> str:
    """Return a removal as text with its unit, to a tenth of a micrometre.

    Examples
    --------
    >>> amount_text(Removal(6, 0.2)), amount_text(Removal(1, 0))
    ('0.2 mm', '0 mm')
    """
    return f"{removal.amount_mm:.4f}".rstrip("0").rstrip(".") + " mm"


def _parsed(text: str) -> object:
    """Return settings as read, None if they cannot be."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return None
