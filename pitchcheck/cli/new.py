"""``pitchcheck new FOLDER``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pitchcheck.cli.output import path_given, tell
from pitchcheck.course import Thoroughness
from pitchcheck.instrument import Aim

KindOption = Annotated[
    str,
    typer.Option(
        help='Kind of instrument, such as electric, acoustic, classical, bass, "tenor ukulele" or mandolin '
        "(`pitchcheck kinds` lists all), or a settings file (.toml) of your own.",
    ),
]
ScaleOption = Annotated[
    str | None, typer.Option(metavar="LENGTH", help='Scale length with its unit, like "648 mm" or "25.5 in".')
]
TuningOption = Annotated[
    str | None,
    typer.Option(
        metavar="NOTES",
        help='Another tuning, from the lowest string up, octaves not needed: "D A D G A D".',
    ),
]
AimOption = Annotated[
    Aim | None,
    typer.Option(help='Of a new folder: what the slots are for, "set-up" (the usual) or "new nut".'),
]
LevelOption = Annotated[
    bool,
    typer.Option(
        "--level-frets",
        help="Of a new folder: frets levelled with a straightedge, board true.",
    ),
]
ThoroughOption = Annotated[Thoroughness, typer.Option(help="How much is to be played on every string.")]


def new(
    folder: Annotated[
        Path,
        typer.Argument(
            parser=path_given,
            metavar="FOLDER",
            help="Folder to make; files that exist are never overwritten.",
        ),
    ],
    kind: KindOption,
    scale: ScaleOption = None,
    tuning: TuningOption = None,
    thoroughness: ThoroughOption = Thoroughness.BASE,
    aim: AimOption = None,
    level_frets: LevelOption = False,
) -> None:
    """Start a session folder: settings, list of takes, sheet to print.

    The settings are those of a usual instrument of its kind: correct them.

    Example: pitchcheck new bench/today --kind electric --scale "648 mm"
    """
    from pitchcheck.units import length_mm
    from pitchcheck.workflow.new import new_folder

    scale_mm = None if scale is None else length_mm(scale)
    made = new_folder(
        folder,
        kind=kind,
        scale_mm=scale_mm,
        tuning=tuning,
        thoroughness=thoroughness,
        aim=aim,
        level_frets=level_frets,
    )
    for path in made:
        tell(f"Wrote {path}")
    tell("Correct session.toml, print takesheet.html, record the takes into the folder.")
    tell(f'Then: pitchcheck measure "{folder}"')
    tell(f'Or be led through them at the microphone: pitchcheck listen "{folder}"')
