"""All gauge readings of a job in one list: those of the meter table, then the instrument's own lengths.

The action over fret 12 stated for the instrument is not among them: it is the centre of the prior.
"""

from __future__ import annotations

from pitchcheck.instrument import MeterQuantity, MeterReading, SessionSettings


def gauge_list(settings: SessionSettings) -> tuple[MeterReading, ...]:
    """Gauge readings in the order of the data rows."""
    stated = [
        MeterReading(what, None, length.value_mm, length.sd_mm)
        for what, length in (
            (MeterQuantity.FRET_HEIGHT, settings.instrument.fret_height),
            (MeterQuantity.RELIEF, settings.instrument.relief),
        )
        if length is not None
    ]
    return (*settings.meter, *stated)
