"""A gauge reading into a job, checked against the instrument of its last pass."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from pitchcheck.errors import BadValue
from pitchcheck.jobs.read import read_job
from pitchcheck.jobs.records import GaugeReading
from pitchcheck.jobs.write import add_gauge_reading, check_now
from pitchcheck.session.gauge_entry import GaugeEntry, settings_with
from pitchcheck.session.settings import SETTINGS


def add_job_gauge(folder: Path, entry: GaugeEntry, *, now: datetime) -> GaugeReading:
    """Keep a gauge reading in a job.

    Parameters
    ----------
    folder : Path
        The job's.
    entry : GaugeEntry
    now : datetime

    Raises
    ------
    BadValue
        If the job has no pass yet that tells its strings, or its settings would not take the reading.
    NotStored, JobBusy, JobDamaged
        If it could not be written.
    """
    job = read_job(folder)
    if not job.counted:
        raise BadValue(
            f"{job.id} has no pass yet, so its strings are not known. Gauge into the session folder."
        )
    settings = (job.counted[-1].folder / SETTINGS).read_bytes()
    settings_with(settings, entry)
    return add_gauge_reading(
        folder,
        GaugeReading(
            when=check_now(now),
            after_pass=job.counted[-1].number,
            what=entry.what,
            string=entry.string,
            value=entry.value,
            passes=entry.passes,
            stops=entry.stops,
        ),
    )
