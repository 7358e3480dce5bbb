"""The nut as it is known so far, drawn: measured in a process of its own while takes go on coming in.

Conventions: the drawings and words are those of the report; ``measure_nut`` runs in a worker process.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from pitchcheck.measurement import Measurement
from pitchcheck.report.page.view import FindingView
from pitchcheck.report.records import Table

NARROW_PX, WIDE_PX = 340.0, 860.0  # [px]


@dataclass(frozen=True)
class SlotSoFar:
    """One slot in words and as a drawing (SVG)."""

    number: int
    note: str
    mark: str
    word: str
    height: str
    between: str
    action: str
    drawing: str


@dataclass(frozen=True)
class NutSoFar:
    """The whole nut; ``problem`` says why nothing is known yet."""

    slots: tuple[SlotSoFar, ...] = ()
    headline: str = ""
    steps: tuple[str, ...] = ()  # what to do now
    amounts: str = ""
    caution: str = ""
    asked: tuple[str, ...] = ()  # what is not known, and which takes would tell
    findings: tuple[FindingView, ...] = ()
    chords: Table | None = None
    wide: str = ""
    narrow: str = ""
    left_handed: bool = False
    problem: str = ""


def measure_nut(folder: str) -> NutSoFar:
    """Measure a folder as far as it was played."""
    from pitchcheck.workflow.measure import measure_folder

    return draw_nut_so_far(measure_folder(Path(folder)))


def draw_nut_so_far(measurement: Measurement) -> NutSoFar:
    """Return a measurement as drawings and words."""
    from pitchcheck.report.drawings import draw_nut, draw_slot
    from pitchcheck.report.page.view import page_view

    view = page_view(measurement)
    pictures = [slot.picture for slot in view.slots]
    slots = tuple(
        SlotSoFar(
            number=slot.picture.number,
            note=slot.picture.note,
            mark=slot.picture.mark,
            word=slot.picture.word,
            height=slot.height,
            between=slot.between,
            action=slot.action,
            drawing=str(
                draw_slot(
                    slot.picture,
                    slots=pictures,
                    scale_mm=view.scale_mm,
                    ident=f"slot-{slot.picture.number}",
                )
            ),
        )
        for slot in view.slots
    )
    wide = str(draw_nut(pictures, width=WIDE_PX, ident="nut-wide", cls="wide"))
    narrow = str(draw_nut(pictures, width=NARROW_PX, ident="nut-narrow", cls="narrow"))
    return NutSoFar(
        slots=slots,
        headline=view.answer.headline,
        steps=view.answer.steps,
        amounts=view.answer.amounts,
        caution=view.answer.caution,
        asked=view.answer.asked,
        findings=view.findings,
        chords=view.chords,
        wide=wide,
        narrow=narrow,
        left_handed=view.left_handed,
    )
