"""The pitch of the sounding note as it refines, drawn with dots of the braille block.

Conventions: time to the right from the pluck, 0 to 2 s; up is sharp; cents from where the take should lie.
The range is at least 20 cents up and down and always shows its two ends and its middle in figures.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

SPAN_S = 2.0  # [s] a note is heard for so long
LEAST_CENTS = 20.0
STEP_CENTS = 20.0
MOST_CENTS = 200.0  # further off it stands at the edge: the figures in the refusal tell more
_LABEL = 8  # columns
_COLUMNS = 44  # most columns of the drawing
_FIRST = 0x2800  # first sign of the braille block (Unicode 15, chapter 21)
_DOTS = ((0x01, 0x08), (0x02, 0x10), (0x04, 0x20), (0x40, 0x80))  # by row and column of a sign


def draw_trace(trace: Sequence[tuple[float, float]], *, width: int, rows: int) -> list[str]:
    """Return the drawing as lines.

    Parameters
    ----------
    trace : sequence of (float, float)
        Seconds since the pluck, cents from the nominal place.
    width, rows : int
        Room in characters.
    """
    columns = min(_COLUMNS, width - _LABEL - 12)
    most = max((abs(cents) for _, cents in trace), default=0.0)
    span = min(MOST_CENTS, max(LEAST_CENTS, STEP_CENTS * math.ceil(most / STEP_CENTS)))
    signs = [[0] * columns for _ in range(rows)]
    dots = [_dot(s, cents, span, columns=columns, rows=rows) for s, cents in trace]
    for x, y in _joined(dots):
        signs[y // 4][x // 2] |= _DOTS[y % 4][x % 2]
    lines = []
    for row, cells in enumerate(signs):
        label = {0: f"{span:+.0f}", rows // 2: "0 cents", rows - 1: f"{-span:+.0f}"}.get(row, "")
        if row == rows // 2:
            drawn = "".join(chr(_FIRST | cell) if cell else "┄" for cell in cells)
        else:
            drawn = "".join(chr(_FIRST | cell) if cell else " " for cell in cells)
        lines.append(f"{label:>{_LABEL - 1}} {drawn}")
    if trace:
        lines[rows // 2] += f" {trace[-1][1]:+.1f}"
    return lines


def _dot(seconds: float, cents: float, span: float, *, columns: int, rows: int) -> tuple[int, int]:
    """Return the dot of a pitch: column, row from the top."""
    x = round(min(max(seconds / SPAN_S, 0.0), 1.0) * (2 * columns - 1))
    y = round((1 - min(max(cents / span, -1.0), 1.0)) / 2 * (4 * rows - 1))
    return x, y


def _joined(dots: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    """Return the dots and those on the lines between them."""
    found = list(dots)
    for (x0, y0), (x1, y1) in pairwise(dots):
        steps = max(abs(x1 - x0), abs(y1 - y0))
        found += [
            (round(x0 + (x1 - x0) * i / steps), round(y0 + (y1 - y0) * i / steps)) for i in range(1, steps)
        ]
    return found
