"""Views of the slots: what the terminal, the page and the job's page show of each.

Conventions: lengths come in mm and are shown in the unit of the settings; every value shown was judged
unrounded and is printed by ``numbers``.
"""

from __future__ import annotations

from pitchcheck.compare.records import SlotChange
from pitchcheck.fit.belief import Belief
from pitchcheck.instrument import Nut, SessionSettings, StringSpec
from pitchcheck.measurement import Measurement
from pitchcheck.plan import StringPlan, Verdict
from pitchcheck.report.records import SlotPicture, SlotView
from pitchcheck.survey import Survey, first_fret_cents
from pitchcheck.units import LengthUnit
from pitchcheck.words import numbers, phrases, slot_change
from pitchcheck.words.evidence import lines
from pitchcheck.words.slots import slot_doubt

NOTHING = "nothing"
BOTTOM_INSTEAD = "see below"  # in the column of amounts, where the bottom of the nut is cut


def slot_views(measurement: Measurement) -> tuple[SlotView, ...]:
    """Return every slot of a measurement, in the order of its strings."""
    settings, plan = measurement.settings, measurement.plan
    slotted = settings.instrument.nut is Nut.SLOTTED
    bottom = slotted and plan.nut_bottom is not None
    return tuple(
        _SlotWriter(one, settings.unit, slotted, bottom).view(
            settings.instrument.string(one.number), measurement.survey
        )
        for one in plan.strings
    )


def change_picture(slot: SlotChange, *, settings: SessionSettings) -> SlotPicture:
    """Return one slot's picture before and now."""
    spec, unit = settings.instrument.string(slot.number), settings.unit
    mark, word = slot_change.state(slot)
    known = [h.median for h in (slot.before_mm, slot.after_mm) if h is not None]
    shown = [numbers.length(mm, unit=unit) for mm in known]
    lines = (
        ("Before, now" if len(known) == 2 else "Now", " → ".join(shown) or numbers.UNKNOWN),
        ("Change", slot_change.changed(slot, unit=unit)),
        ("Should be", numbers.length(slot.target_mm, unit=unit)),
    )
    return SlotPicture(
        number=slot.number,
        note=slot.note,
        wound=spec.wound,
        gauge_mm=spec.gauge_mm,
        mark=mark,
        word=word,
        height_mm=slot.after_mm,
        target_mm=slot.target_mm,
        floor_mm=slot.floor_mm,
        desc=" ".join(f"{name}: {value}." for name, value in lines),
        before_mm=None if slot.before_mm is None else slot.before_mm.median,
        lines=lines,
    )


class _SlotWriter:
    """Writes one slot of a plan in one unit; with a cut at the bottom of the nut nothing comes off here."""

    def __init__(self, plan: StringPlan, unit: LengthUnit, slotted: bool, bottom: bool) -> None:
        self.plan, self.unit, self.slotted, self.bottom = plan, unit, slotted, bottom
        goal = plan.slot.goal
        self.floor_mm = goal.floor_mm
        top = plan.target_mm + goal.tolerance_mm
        self.limits = (goal.floor_mm, plan.target_mm, top, top + goal.tolerance_mm)

    def view(self, spec: StringSpec, survey: Survey | None) -> SlotView:
        """Return the whole view."""
        plan = self.plan
        first = None if survey is None else first_fret_cents(survey, plan.number)
        return SlotView(
            picture=self.picture(spec),
            name=f"{plan.number} {plan.note}",
            height=self.height(),
            between=numbers.UNKNOWN
            if plan.height_mm is None
            else numbers.interval(plan.height_mm, unit=self.unit),
            target=self.length(plan.target_mm),
            first_fret=numbers.UNKNOWN if first is None else numbers.cents_with_sd(*first),
            off=self.off(),
            action=self.action(),
            evidence=lines(plan.evidence, unit=self.unit),
            doubts=tuple(slot_doubt(what) for what in plan.doubts),
        )

    def picture(self, spec: StringSpec) -> SlotPicture:
        """Return what is drawn."""
        plan = self.plan
        return SlotPicture(
            number=plan.number,
            note=plan.note,
            wound=spec.wound,
            gauge_mm=spec.gauge_mm,
            mark="unmeasured" if plan.height_mm is None else str(plan.verdict.value),
            word=phrases.verdict(plan),
            height_mm=plan.height_mm,
            target_mm=plan.target_mm,
            floor_mm=self.floor_mm,
            desc=self.desc(),
            remove_mm=0.0 if self.bottom else plan.remove_now_mm,
            raise_mm=plan.raise_mm,
            lines=tuple(self.lines()),
        )

    def length(self, value_mm: float) -> str:
        """Return a length that was judged against nothing."""
        return numbers.length(value_mm, unit=self.unit)

    def height(self) -> str:
        """Return the slot's height, never carried across a limit by rounding."""
        belief = self.plan.height_mm
        if belief is None:
            return numbers.UNKNOWN
        return numbers.length(belief.median, unit=self.unit, limits_mm=self.limits)

    def desc(self) -> str:
        """Return what a drawing of this slot shows, in words."""
        plan = self.plan
        name = f"String {plan.number}, {plan.note}"
        if plan.height_mm is None:
            return f"{name}: not measured."
        between = numbers.interval(plan.height_mm, unit=self.unit, joint="and")
        return (
            f"{name}: {phrases.verdict(plan)}. The slot floor is at {self.height()}, 90 % sure between "
            f"{between}; it should be at {self.length(plan.target_mm)}."
        )

    def lines(self) -> list[tuple[str, str]]:
        """Return the list that stands beside a side view."""
        plan = self.plan
        lines = self.with_interval("Slot floor is at", plan.height_mm, self.height())
        lines.append(("It should be at", self.length(plan.target_mm)))
        gap = plan.clearance_third_mm
        if gap is not None and gap.median <= 0:
            lines.append(("Gap over fret 1", "none: the string lies on it"))
        elif gap is not None:
            lines += self.with_interval("Gap over fret 1", gap, self.length(gap.median))
        lines.append(("Likely to buzz below", self.length(self.floor_mm)))
        if plan.remove_now_mm > 0 and not self.bottom:
            lines.append(("Take off now, at most", numbers.removal(plan.remove_now_mm, unit=self.unit)))
            if plan.after_clearance_mm is not None:
                lines.append(("That gap after it, about", self.length(plan.after_clearance_mm)))
            if plan.after_cents is not None:
                lines.append(("First-fret note after it, about", numbers.cents(plan.after_cents)))
        if plan.raise_mm is not None:
            lines.append(("Raise it by about", self.length(plan.raise_mm)))
        return lines

    def with_interval(self, name: str, belief: Belief | None, median: str) -> list[tuple[str, str]]:
        """Return a measured length over two lines: its median, and how sure it is."""
        if belief is None:
            return [(name, "not measured")]
        return [(name, median), ("… 90 % sure", numbers.interval(belief, unit=self.unit))]

    def off(self) -> str:
        """Return what may come off now, for a column of amounts."""
        if self.plan.remove_now_mm <= 0:
            return NOTHING
        return BOTTOM_INSTEAD if self.bottom else numbers.removal(self.plan.remove_now_mm, unit=self.unit)

    def action(self) -> str:
        """Return what to do with the slot now, in a few words."""
        plan = self.plan
        if plan.height_mm is None:
            return "Play it again"
        if plan.remove_now_mm > 0 and self.bottom:
            return "Not here: cut the bottom of the nut"
        if plan.remove_now_mm > 0 and self.slotted:
            return f"File off at most {numbers.removal(plan.remove_now_mm, unit=self.unit)}"
        if plan.verdict is Verdict.HIGH:
            other = "see what else was found" if self.slotted else "this nut is never filed"
            return f"Do not file: {other}"
        if plan.raise_mm is not None:
            return f"Raise by about {self.length(plan.raise_mm)}"
        return {
            Verdict.LOW: "Do not file: it is too low already",
            Verdict.FINE: "Leave it",
            Verdict.UNSURE: "Do not file: play more takes",
        }[plan.verdict]
