"""What a notebook needs beside the stages themselves: text paths, presets by name, the takes of one string.

Conventions: as in the package. Everything runs in the calling process.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from pitchcheck.clip import Clip
from pitchcheck.instrument import Instrument
from pitchcheck.takes import Position, Take
from pitchcheck.units import length_mm


def read_clip(path: str | Path, *, start_s: float | None = None, end_s: float | None = None) -> Clip:
    """Return one stretch of a sound file as one channel.

    Parameters
    ----------
    path : str or Path
        Any format that the package decodes, at 8 kHz or more.
    start_s, end_s : float >= 0, optional
        Stretch, from the beginning of the file; all of it by default. [s]

    Raises
    ------
    Unsound
        If the file is missing, damaged, silent, too short or too long.
    """
    from pitchcheck.audio.files import read_clip as read

    return read(Path(path), start_s=start_s, end_s=end_s)


def preset_instrument(kind: str, *, scale: str | float | None = None) -> Instrument:
    """Return a usual instrument of a kind, with a usual set of strings.

    Parameters
    ----------
    kind : str
        Name of a preset, such as ``"electric"`` or ``"tenor ukulele"``.
    scale : str or float, optional
        Scale length: text with its unit, or a number in mm; the preset's usual one by default.

    Raises
    ------
    BadValue
        If the kind is not known (the message lists those that are) or the scale length is not believable.
    """
    from pitchcheck.session.presets import get_preset
    from pitchcheck.session.settings import check_scale_mm

    preset = get_preset(kind)
    scale_mm = preset.scale_mm if scale is None else length_mm(scale) if isinstance(scale, str) else scale
    return Instrument(kind=preset.words, scale_mm=check_scale_mm(scale_mm), strings=preset.strings)


def read_string(takes: Sequence[tuple[Position, Clip]], instrument: Instrument) -> tuple[Take, ...]:
    """Return the takes of one string, read together so that their differences are as good as they can be.

    Parameters
    ----------
    takes : sequence of (Position, Clip)
        Takes of one string in playing order, one pluck a clip.
    instrument : Instrument
        Tells at which pitch each is looked for.

    Returns
    -------
    tuple of Take
        In the same order, numbered from row 1. A take that cannot be read has ``hz`` None and says why.
    """
    from pitchcheck.pitch.string_group import read_group
    from pitchcheck.workflow.hear import expected_hz, take_of

    hints = [expected_hz(position, instrument=instrument) for position, _ in takes]
    readings = read_group([clip for _, clip in takes], expected_hz=hints)
    return tuple(
        take_of(row, None, position, reading, when=float(row))
        for row, ((position, _), reading) in enumerate(zip(takes, readings, strict=True), 1)
    )
