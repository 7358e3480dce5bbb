"""Writes the drawings of a press and of a leaf take for the documents.

PYTHONPATH=tests python tests/bench/draw_press.py docs/pictures
"""

from __future__ import annotations

import sys
from pathlib import Path

from pitchcheck.report.drawings import draw_leaf, draw_press

STYLE = """
svg { background: #fff }
.t { font: 13px sans-serif; fill: #1e2228 }
.t.tiny-text { font-size: 11px }
.board { fill: #ead9bb }
.nut { fill: #fffdf6; stroke: #1e2228 }
.fret-end { fill: #8a8f98; stroke: #1e2228 }
.string { fill: none; stroke: #1e2228; stroke-width: 2.2; stroke-linejoin: round; stroke-linecap: round }
.rod, .thumb { fill: #f2ecdf; stroke: #1e2228; stroke-width: 1.4 }
.leaf { fill: #1e2228 }
.lead { stroke: #575b61; stroke-width: 0.8 }
.bar { fill: none; stroke: #1e2228; stroke-width: 1.2 }
"""


def files() -> dict[str, str]:
    """Name and text of every picture."""
    drawn = {"press.svg": draw_press(ident="press"), "leaf.svg": draw_leaf(ident="leaf")}
    return {name: _alone(str(picture)) for name, picture in drawn.items()}


def _alone(picture: str) -> str:
    """A drawing of a page as a file of its own."""
    opened, rest = picture.split(">", 1)
    return f'{opened} xmlns="http://www.w3.org/2000/svg"><style>{STYLE}</style>{rest}\n'


if __name__ == "__main__":
    for name, text in files().items():
        (Path(sys.argv[1]) / name).write_text(text, encoding="utf-8")
