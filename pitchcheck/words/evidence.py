"""What shows a cause, in English: one line for each piece of evidence, and what to do about it last."""

from __future__ import annotations

from pitchcheck.diagnosis.finding import DoubtedTake, Finding
from pitchcheck.words import doubts


def lines(finding: Finding) -> tuple[str, ...]:
    """Return the evidence of a finding, line by line."""
    return tuple(_line(piece) for piece in finding.evidence)


def _line(piece: str | DoubtedTake) -> str:
    """Return one piece of evidence in words."""
    if isinstance(piece, DoubtedTake):
        return f"row {piece.row}, {piece.position.words()}: {doubts.joined(piece.doubts)}"
    return piece
