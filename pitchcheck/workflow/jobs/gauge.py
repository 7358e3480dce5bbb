"""Gauge readings of a job: checked against the instrument of its last pass, kept, read back for the fit."""

from __future__ import annotations

from contextlib import suppress
from datetime import datetime
from pathlib import Path

from pitchcheck.errors import BadValue
from pitchcheck.instrument import MeterReading
from pitchcheck.jobs.read import read_job
from pitchcheck.jobs.records import GaugeReading, StoredPass
from pitchcheck.jobs.write import add_gauge_reading, check_now
from pitchcheck.session.gauge_entry import GaugeEntry, corrects, settings_with
from pitchcheck.session.settings import SETTINGS, parse_settings


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


def readings_after(stored: StoredPass) -> tuple[MeterReading, ...]:
    """Return what gauges said of the slots as a pass left them, as the fit takes it.

    A correction is another reading: it takes the place of what it corrects. A reading that the settings of
    the pass do not take (the job was altered by hand) is left out.
    """
    content = (stored.folder / SETTINGS).read_bytes()
    found = []
    for i, one in enumerate(stored.gauge):
        entry = _entry(one)
        if any(corrects(_entry(later), entry) for later in stored.gauge[i + 1 :]):
            continue
        with suppress(BadValue):
            text = settings_with(content, entry).decode("utf-8")
            found.append(parse_settings(text, name=SETTINGS).settings.meter[-1])
    return tuple(found)


def _entry(one: GaugeReading) -> GaugeEntry:
    """Return a stored reading as it was typed."""
    return GaugeEntry(one.what, one.string, one.value, one.passes, one.stops)
