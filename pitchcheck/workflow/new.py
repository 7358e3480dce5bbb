"""``new_folder``: a session folder to be filled at the bench."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from pitchcheck.course import Thoroughness, survey_positions
from pitchcheck.instrument import Aim, Board
from pitchcheck.report.render import render_take_sheet
from pitchcheck.session.new_folder import settings_of_kind, takes_text, with_choices, write_new
from pitchcheck.session.presets import find_preset
from pitchcheck.session.rows import TAKES
from pitchcheck.session.settings import SETTINGS, parse_settings

SHEET = "takesheet.html"


def new_folder(
    folder: Path,
    *,
    kind: str,
    scale_mm: float | None = None,
    tuning: str | None = None,
    thoroughness: Thoroughness = Thoroughness.BASE,
    aim: Aim | None = None,
    level_frets: bool = False,
) -> tuple[Path, ...]:
    """Write settings, a list of takes and a take sheet into a folder; nothing is overwritten.

    Parameters
    ----------
    folder : Path
        Made if needed.
    kind : str
        Name of a preset, or the path of a settings file of one's own.
    scale_mm : float, optional
        Scale length; the preset's usual one by default. [mm]
    tuning : str, optional
        A note for every string from the last one to string 1, octaves not needed: ``"D A D G A D"``.
    thoroughness : Thoroughness
    aim : Aim, optional
        What the slots are wanted for; the settings of the kind say it by default.
    level_frets : bool
        Declares levelled frets and a true board.

    Returns
    -------
    tuple of Path
        The files written.

    Raises
    ------
    BadValue
        If the kind is not known, the scale length not believable or the tuning no tuning.
    BadInput
        If one of the files is already there.
    """
    text = settings_of_kind(kind, scale_mm=scale_mm, tuning=tuning)
    text = with_choices(text, aim=aim, level_frets=level_frets)
    instrument = parse_settings(text, name=SETTINGS).settings.instrument
    preset = find_preset(kind)
    press = instrument.board is not Board.SCALLOPED
    positions = survey_positions(
        [spec.number for spec in instrument.strings], thoroughness=thoroughness, press=press
    )
    shown = instrument if preset is None else replace(instrument, kind=preset.words)
    return write_new(
        Path(folder),
        {
            SETTINGS: text,
            TAKES: takes_text(positions),
            SHEET: render_take_sheet(shown, positions),
        },
    )
