"""Letters three lines high, to be read from the other side of the bench.

Conventions: drawn by us on a grid five dots high; two dots above each other share a character, and the sixth
row of dots is empty.
"""

from __future__ import annotations

_GAP = 1  # columns between letters

# Rows of dots from top to bottom; # is ink.
_DOTS = {
    "A": (" ## ", "#  #", "####", "#  #", "#  #"),
    "B": ("### ", "#  #", "### ", "#  #", "### "),
    "C": (" ###", "#   ", "#   ", "#   ", " ###"),
    "D": ("### ", "#  #", "#  #", "#  #", "### "),
    "E": ("####", "#   ", "### ", "#   ", "####"),
    "F": ("####", "#   ", "### ", "#   ", "#   "),
    "G": (" ###", "#   ", "# ##", "#  #", " ###"),
    "K": ("#  #", "# # ", "##  ", "# # ", "#  #"),
    "L": ("#   ", "#   ", "#   ", "#   ", "####"),
    "H": ("#  #", "#  #", "####", "#  #", "#  #"),
    "I": ("#", "#", "#", "#", "#"),
    "N": ("#  #", "## #", "# ##", "#  #", "#  #"),
    "O": (" ## ", "#  #", "#  #", "#  #", " ## "),
    "P": ("### ", "#  #", "### ", "#   ", "#   "),
    "R": ("### ", "#  #", "### ", "# # ", "#  #"),
    "S": (" ###", "#   ", " ## ", "   #", "### "),
    "T": ("###", " # ", " # ", " # ", " # "),
    "U": ("#  #", "#  #", "#  #", "#  #", " ## "),
    "0": (" ## ", "#  #", "#  #", "#  #", " ## "),
    "1": (" #", "##", " #", " #", " #"),
    "2": ("### ", "   #", " ## ", "#   ", "####"),
    "3": ("### ", "   #", " ## ", "   #", "### "),
    "4": ("#  #", "#  #", "####", "   #", "   #"),
    "5": ("####", "#   ", "### ", "   #", "### "),
    "6": (" ## ", "#   ", "### ", "#  #", " ## "),
    "7": ("####", "   #", "  # ", " #  ", " #  "),
    "8": (" ## ", "#  #", " ## ", "#  #", " ## "),
    "9": (" ## ", "#  #", " ###", "   #", " ## "),
    ":": (" ", "#", " ", "#", " "),
    ".": (" ", " ", " ", " ", "#"),
    " ": ("  ", "  ", "  ", "  ", "  "),
}
_BLOCKS = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}


def big(text: str, *, scale: int = 1) -> tuple[str, ...] | None:
    """Return a text in big letters, lines of one length; None if a sign of it is not drawn.

    Parameters
    ----------
    text : str
    scale : int >= 1
        Times 3 lines high.
    """
    signs = [_DOTS.get(sign) for sign in text.upper()]
    if not signs or any(sign is None for sign in signs):
        return None
    rows = [(" " * _GAP).join(sign[row] for sign in signs if sign is not None) for row in range(5)]
    rows.append(" " * len(rows[0]))
    wide = ["".join(dot * scale for dot in row) for row in rows for _ in range(scale)]
    return tuple(
        "".join(
            _BLOCKS[above == "#", below == "#"] for above, below in zip(wide[i], wide[i + 1], strict=True)
        )
        for i in range(0, len(wide), 2)
    )
