"""Made-up jobs for tests of the job report; nothing here was ever heard.

Conventions: ``story(...)`` builds a consistent record from heights before and after.
"""

from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import soundfile

from helpers.measurement import Slot, measurement
from pitchcheck.compare import Change, Comparison, Match
from pitchcheck.compare.comparison import change_of, match_of
from pitchcheck.compare.records import Assumption, AssumptionKind, PositionChange, Repeats, SlotChange
from pitchcheck.fit.belief import Belief
from pitchcheck.instrument import MeterQuantity, Removal
from pitchcheck.judgement import slot_goal, verdict
from pitchcheck.report.job.about import About, GaugeInput, Photo
from pitchcheck.report.job.view import JobReportInput, PassInput, Snippet
from pitchcheck.takes import Position, Stop

SD_MM = 0.03
FINGERPRINT = "0123456789abcdef" * 4


@dataclass(frozen=True)
class Moved:
    """One slot before and after [mm]; None: not heard then. ``told_mm`` is what was noted as filed off."""

    before_mm: float | None
    after_mm: float | None
    told_mm: float | None = None
    sd_mm: float = SD_MM


TWO_LOWERED = (
    Moved(0.30, 0.31),
    Moved(0.80, 0.42, 0.40),
    Moved(0.37, 0.36),
    Moved(0.42, 0.44),
    Moved(0.95, 0.50, 0.45),
    Moved(0.50, 0.50),
)
NOTHING_DONE = tuple(replace(m, after_mm=m.before_mm, told_mm=None) for m in TWO_LOWERED)
ODD = (
    Moved(0.30, -0.06, 0.10),  # far more came off than was noted, and now too low
    Moved(0.80, 0.75, 0.30),  # far less
    Moved(0.37, 0.20),  # nothing noted
    Moved(0.42, 0.38, 0.05, 0.05),  # not sure
    Moved(None, 0.50),
    Moved(0.50, 0.80),  # higher
)
UNHEARD = tuple(Moved(None, None) for _ in range(6))
TWELVE = (*TWO_LOWERED, *ODD)


def comparison(moved: Sequence[Moved]) -> Comparison:
    """Build a comparison."""
    before, after = (measurement(_slots(moved, which)) for which in (0, 1))
    job = after.settings
    strings = []
    for i, (one, spec) in enumerate(zip(moved, job.instrument.strings, strict=True)):
        goal = slot_goal(job, spec.number)
        first, second = (
            None if mm is None else Belief.normal(mm, 2 * one.sd_mm) for mm in (one.before_mm, one.after_mm)
        )
        change = None
        if one.before_mm is not None and one.after_mm is not None:
            change = Belief.normal(one.after_mm - one.before_mm, one.sd_mm)
        kind = Change.UNSURE if change is None else change_of(change, tolerance_mm=goal.tolerance_mm)
        strings.append(
            SlotChange(
                number=spec.number,
                note=spec.note,
                before_mm=first if change is not None else None,
                after_mm=second,
                change_mm=change,
                lower_belief=None if change is None else change.below(0.0),
                change=kind,
                told_mm=one.told_mm,
                match=Match.UNHEARD if change is None else match_of(change, kind, one.told_mm),
                target_mm=goal.target_mm,
                floor_mm=goal.floor_mm,
                low_belief=None if second is None else goal.belief_low(second),
                verdict=after.plan.strings[i].verdict if second is None else verdict(goal, second),
                positions=() if change is None else _places(spec.number, change.median),
            )
        )
    heard = any(s.change_mm is not None for s in strings)
    return Comparison(
        strings=tuple(strings),
        repeats=(Repeats(Stop.FRET, 1, 12, 0.7, 1.5), Repeats(Stop.PRESS, 1, 12, 2.4, 0.9)) if heard else (),
        scatter=1.6 if heard else 1.0,
        assumptions=(Assumption(AssumptionKind.SAME_INSTRUMENT),) if heard else (),
        before=before.fit if heard else None,
        after=after.fit if heard else None,
    )


def story(moved: Sequence[Moved] = TWO_LOWERED, *, long: bool = False) -> JobReportInput:
    """Build a job's story; ``long`` fills every field with more than usual."""
    removed = tuple(Removal(i + 1, m.told_mm) for i, m in enumerate(moved) if m.told_mm)
    compared = comparison(moved)
    words = "unbroken" * 12 if long else "Sour first chords."
    return JobReportInput(
        title="parlour guitar " * (8 if long else 1),
        passes=(
            PassInput("before", "3 May", 96, (), ("Strings settled.",)),
            PassInput("final", "4 May", 96, removed, (words,)),
        ),
        after=measurement(_slots(moved, 1)),
        comparison=compared,
        about=About(owner="A. Player", owner_words=words),
        notes=(f"Bench note {words}",),
        done=("Bottom of the nut square.", "Ends flush.", words) * (3 if long else 1),
        fingerprint=FINGERPRINT,
        made="4 May",
        snippets=tuple(
            Snippet(s.number, s.note, tone(220.0), tone(221.0))
            for s in compared.strings
            if s.change_mm is not None
        )[:3],
    )


def full_about(pictures: int = 3) -> About:
    """What a customer's page may hold beside the sound: names, photos, gauge, workshop, signature."""
    third = MeterQuantity.CLEARANCE_THIRD
    readings = ((2, "0.40 mm", "", 0.39), (5, "0.45 mm", "", 0.46), (2, "0.21 mm", "final", 0.20),
                (5, "0.25 mm", "final", 0.24))  # fmt: skip
    return About(
        owner="A. Player",
        owner_words="Sour first chords.",
        instrument="Parlour guitar, cedar top",
        serial="LR-0417",
        workshop="The lamp room workshop, one bench above a bakery",
        photos=tuple(Photo(f"Nut {i + 1}", "image/png", picture()) for i in range(pictures)),
        gauge=(
            *(
                GaugeInput(third, string, value, None, None, after, (mm, mm - 0.03, mm + 0.03))
                for string, value, after, mm in readings
            ),
            GaugeInput(MeterQuantity.RELIEF, None, "0.20 mm", None, None, ""),
        ),
        signature=True,
    )


def picture(width: int = 400, height: int = 300) -> bytes:
    """A plain grey PNG, 4 by 3 as a telephone takes it (PNG specification, third edition)."""
    lines = b"".join(b"\0" + bytes([120]) * width for _ in range(height))
    header = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    chunks = ((b"IHDR", header), (b"IDAT", zlib.compress(lines)), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))
        for name, data in chunks
    )


def tone(hz: float) -> bytes:
    """A tenth of a second of sound as a FLAC file."""
    file = io.BytesIO()
    samples = 0.3 * np.sin(2 * np.pi * hz * np.arange(2400) / 24_000)
    soundfile.write(file, samples, 24_000, format="FLAC", subtype="PCM_16")
    return file.getvalue()


def _slots(moved: Sequence[Moved], which: int) -> tuple[Slot, ...]:
    """Slots of one pass."""
    return tuple(Slot((m.before_mm, m.after_mm)[which]) for m in moved)


def _places(number: int, change_mm: float) -> tuple[PositionChange, ...]:
    """Two places, answering as a plain string does: 2 and 14 cents per mm."""
    return tuple(
        PositionChange(
            position=Position(number, stop, 1),
            before_cents=before,
            before_takes=2,
            after_cents=before + per_mm * change_mm,
            after_takes=2,
            change_cents=per_mm * change_mm,
            sd_cents=0.6,
            expected_cents=per_mm * change_mm,
        )
        for stop, before, per_mm in ((Stop.FRET, 5.0, 4.0), (Stop.PRESS, 30.0, 14.0))
    )
