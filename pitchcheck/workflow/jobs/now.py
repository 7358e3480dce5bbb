"""How the slots of a job stand: from its last pass, and what gauges said after it; nothing is heard.

Conventions: every string is there; its slot is what all passes together tell, beside the pass that heard it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from pitchcheck.instrument import MeterQuantity, MeterReading
from pitchcheck.jobs.records import Job, StoredPass
from pitchcheck.physics.gauges import third_fret_clearance_mm
from pitchcheck.session.folder import read_session
from pitchcheck.units import LengthUnit
from pitchcheck.workflow.jobs.gauge import readings_after
from pitchcheck.workflow.jobs.result_file import StoredResult, StoredSlot, last_heard, read_result, result_of


@dataclass(frozen=True)
class JobNow:
    """A job's slots now.

    Attributes
    ----------
    last : StoredPass
        The last pass that counts.
    slots : tuple of (StoredPass, StoredSlot)
        Every string, with the last pass that heard it.
    result : StoredResult
        Of the last pass, with what gauges said after it.
    gauged : dict of int to MeterReading
        The last reading of the gap over fret 1 by string, as far as the slot was not heard anew since.
    stop_at_mm : dict of int to float
        The gap over fret 1 at the target, by string.
    unit : LengthUnit
        What the lengths are shown in.
    """

    last: StoredPass
    slots: tuple[tuple[StoredPass, StoredSlot], ...]
    result: StoredResult
    gauged: dict[int, MeterReading]
    stop_at_mm: dict[int, float]
    unit: LengthUnit


def job_now(job: Job) -> JobNow | None:
    """Return how a job's slots stand, None without a pass; raise JobDamaged if it cannot be read."""
    if not job.counted:
        return None
    last = job.counted[-1]
    result = read_result(last.folder)
    if last.gauge:  # then there is something to be fitted; else the stored result is read in no time
        from pitchcheck.workflow.jobs.compared import measurement_of

        result = result_of(measurement_of(last, before=job.counted[:-1]))
    heard = last_heard(job)
    slots = []
    for slot in result.slots:
        where, told = heard.get(slot.number, (last, slot))
        slots.append((where, replace(told if slot.height_mm is None else slot, heard=where is last)))
    gauged: dict[int, MeterReading] = {}
    for stored in job.counted:
        for reading in (*read_session(stored.folder).settings.meter, *readings_after(stored)):
            since = reading.string is not None and stored.number >= heard[reading.string][0].number
            if reading.what is MeterQuantity.CLEARANCE_THIRD and reading.string is not None and since:
                gauged[reading.string] = reading
    stop_at_mm = {slot.number: third_fret_clearance_mm(slot.target_mm) for slot in result.slots}
    unit = read_session(last.folder).settings.unit
    return JobNow(last, tuple(slots), result, gauged, stop_at_mm, unit)
