"""Hear how high the nut slots of a fretted instrument are.

Conventions, everywhere in the package: lengths in millimetres, forces in newtons, frequencies in hertz,
times in seconds, intervals in cents; the unit is in the name. Strings are numbered from 1, the one nearest
the floor in playing position. Heights are above the plane of the fret tops. A missing value is ``None``.

For a notebook or a script (docs/library.md): the names of ``__all__``. Each is loaded when it is first asked
for, so that ``import pitchcheck`` costs next to nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pitchcheck.clip import Clip
    from pitchcheck.compare import compare_measurements
    from pitchcheck.errors import PitchcheckError
    from pitchcheck.fit import fit_instrument
    from pitchcheck.instrument import Instrument, SessionSettings, StringSpec, Target
    from pitchcheck.library import preset_instrument, read_clip, read_string
    from pitchcheck.measurement import Measurement
    from pitchcheck.pitch.read_note import read_note
    from pitchcheck.pitch.reading import Reading
    from pitchcheck.placing import check_places
    from pitchcheck.survey import Survey, build_survey
    from pitchcheck.takes import Position, Stop, Take
    from pitchcheck.workflow import measure_folder

__version__ = "0.1.0"

_HOMES = {
    "Clip": "clip:Clip",
    "Instrument": "instrument:Instrument",
    "Measurement": "measurement:Measurement",
    "PitchcheckError": "errors:PitchcheckError",
    "Position": "takes:Position",
    "Reading": "pitch.reading:Reading",
    "SessionSettings": "instrument:SessionSettings",
    "Stop": "takes:Stop",
    "StringSpec": "instrument:StringSpec",
    "Survey": "survey:Survey",
    "Take": "takes:Take",
    "Target": "instrument:Target",
    "build_survey": "survey:build_survey",
    "check_places": "placing:check_places",
    "compare_measurements": "compare:compare_measurements",
    "fit_instrument": "fit:fit_instrument",
    "measure_folder": "workflow:measure_folder",
    "preset_instrument": "library:preset_instrument",
    "read_clip": "library:read_clip",
    "read_note": "pitch.read_note:read_note",
    "read_string": "library:read_string",
}

__all__ = [
    "Clip",
    "Instrument",
    "Measurement",
    "PitchcheckError",
    "Position",
    "Reading",
    "SessionSettings",
    "Stop",
    "StringSpec",
    "Survey",
    "Take",
    "Target",
    "build_survey",
    "check_places",
    "compare_measurements",
    "fit_instrument",
    "measure_folder",
    "preset_instrument",
    "read_clip",
    "read_note",
    "read_string",
]


def __getattr__(name: str) -> Any:
    """Load a public name from its module."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    module, _, attribute = _HOMES[name].partition(":")
    return getattr(import_module(f"{__name__}.{module}"), attribute)


def __dir__() -> list[str]:
    """Public names."""
    return [*__all__, "__version__"]
