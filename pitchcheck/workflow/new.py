"""``new_folder``: a session folder to be filled at the bench."""

from __future__ import annotations

from pathlib import Path

from pitchcheck.course import Thoroughness, survey_positions
from pitchcheck.instrument import Instrument
from pitchcheck.report.take_sheet import render_take_sheet
from pitchcheck.session.new_folder import settings_text, takes_text, write_new
from pitchcheck.session.presets import get_preset
from pitchcheck.session.rows import TAKES
from pitchcheck.session.settings import SETTINGS, check_scale_mm

SHEET = "takesheet.html"


def new_folder(
    folder: Path,
    *,
    kind: str,
    scale_mm: float | None = None,
    thoroughness: Thoroughness = Thoroughness.BASE,
) -> tuple[Path, ...]:
    """Write settings, a list of takes and a take sheet into a folder; nothing is overwritten.

    Parameters
    ----------
    folder : Path
        Made if needed.
    kind : str
        Name of a preset.
    scale_mm : float, optional
        Scale length; the preset's usual one by default. [mm]
    thoroughness : Thoroughness

    Returns
    -------
    tuple of Path
        The files written.

    Raises
    ------
    BadValue
        If the kind is not known or the scale length not believable.
    BadInput
        If one of the files is already there.
    """
    preset = get_preset(kind)
    scale = check_scale_mm(preset.scale_mm if scale_mm is None else scale_mm)
    instrument = Instrument(kind=preset.words, scale_mm=scale, strings=preset.strings)
    positions = survey_positions([spec.number for spec in preset.strings], thoroughness=thoroughness)
    return write_new(
        Path(folder),
        {
            SETTINGS: settings_text(preset, scale_mm=scale),
            TAKES: takes_text(positions),
            SHEET: render_take_sheet(instrument, positions),
        },
    )
