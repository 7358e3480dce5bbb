"""The edge of the simulator: an ordinary session folder on disk, with the truth beside it.

Writes ``session.toml``, ``takes.csv``, one lossless file per take and ``truth.json``. The first three are
what a tech would have made; the measurement never reads the last.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Iterable
from dataclasses import asdict
from pathlib import Path
from typing import Any

from pitchcheck.clip import Clip
from pitchcheck.errors import BadInput, Problem
from pitchcheck.instrument import Fretwork, Handedness, SessionSettings, StringSpec
from pitchcheck.simulate.player import SessionTruth
from pitchcheck.takes import Position

TRUTH_SCHEMA = 1  # 1: maker, instrument, player's settings and every take as it really was
TRUTH_FILE = "truth.json"
MAKER = "pitchcheck demo"
SOUND_FORMAT = "PCM_16"  # -98 dB of rounding noise, far below any room


def check_replaceable(folder: Path) -> None:
    """Refuse a folder that holds anything but an earlier imaginary session.

    Raises
    ------
    BadInput
        If the path is a file, or a folder with contents that this module did not write.
    """
    if not folder.exists() or (folder.is_dir() and not any(folder.iterdir())):
        return
    if folder.is_dir() and _made_here(folder / TRUTH_FILE):
        return
    raise BadInput(
        Problem(
            file=str(folder),
            row=None,
            field=None,
            value=None,
            limit="already there, and not an imaginary session of ours, so it is left alone",
            action="Name an empty or new folder.",
        )
    )


def write_session(
    folder: Path, *, settings: SessionSettings, takes: Iterable[tuple[Position, Clip]], truth: SessionTruth
) -> None:
    """Write a session folder; an earlier imaginary one is replaced.

    Parameters
    ----------
    folder : Path
        Made if needed.
    settings : SessionSettings
        What the owner knows of the instrument.
    takes : iterable of (Position, Clip)
        In playing order; read one at a time, so a generator keeps memory small.
    truth : SessionTruth
        What is really so.

    Raises
    ------
    BadInput
        If the folder holds something else.
    """
    check_replaceable(folder)
    folder.mkdir(parents=True, exist_ok=True)
    for old in folder.glob("*.flac"):
        old.unlink()
    content = {"schema": TRUTH_SCHEMA, "maker": MAKER, **_plain(asdict(truth))}
    (folder / TRUTH_FILE).write_text(json.dumps(content, indent=1) + "\n", encoding="utf-8")
    (folder / "session.toml").write_text(session_text(settings), encoding="utf-8")
    with (folder / "takes.csv").open("w", encoding="utf-8", newline="") as file:
        rows = csv.writer(file, lineterminator="\n")
        rows.writerow(("file", "string", "stop", "fret", "capo"))
        for number, (position, clip) in enumerate(takes, start=1):
            name = f"{number:03d}.flac"
            _write_sound(folder / name, clip)
            fret = "" if position.fret is None else position.fret
            rows.writerow((name, position.string, position.stop.value, fret, position.capo))


def session_text(settings: SessionSettings) -> str:
    """Return ``session.toml``: the instrument and its strings; targets stay at their defaults."""
    instrument = settings.instrument
    lines = [
        "# An imaginary instrument, made up by the simulator.",
        "schema = 1",
        "",
        "[instrument]",
        f"kind = {_quoted(instrument.kind)}",
        f'scale = "{instrument.scale_mm:.1f} mm"',
        f'nut = "{instrument.nut.value}"',
        f'tailpiece = "{instrument.tailpiece.value}"',
        f'board = "{instrument.board.value}"',
    ]
    if instrument.fretwork is not Fretwork.UNKNOWN:
        lines.append(f'fretwork = "{instrument.fretwork.value}"')
    if instrument.hand is not Handedness.RIGHT:
        lines.append(f'hand = "{instrument.hand.value}"')
    for name in ("fret_height", "action_12", "relief"):
        length = getattr(instrument, name)
        if length is not None:
            lines.append(f'{name} = "{length.value_mm:.2f} mm"')
    if (behind := instrument.behind_nut) is not None:
        lines += [f'nut_to_post = "{behind.distance_mm:.1f} mm"', f'fall_to_post = "{behind.fall_mm:.1f} mm"']
    for spec in instrument.strings:
        lines += ["", "[[strings]]", *_string_lines(spec)]
    return "\n".join(lines) + "\n"


def _string_lines(spec: StringSpec) -> list[str]:
    lines = [f"number = {spec.number}", f"note = {_quoted(spec.note)}"]
    if spec.gauge_mm is not None:
        lines.append(f'gauge = "{spec.gauge_mm:.4f} mm"')
    lines.append(f"material = {_quoted(spec.material)}")
    if spec.wound:
        lines.append("wound = true")
    return lines


def _quoted(text: str) -> str:
    """Text as a TOML basic string; JSON's escapes are among TOML's."""
    return json.dumps(text, ensure_ascii=False)


def _write_sound(path: Path, clip: Clip) -> None:
    import soundfile

    soundfile.write(path, clip.samples, round(clip.rate_hz), subtype=SOUND_FORMAT)


def _made_here(path: Path) -> bool:
    try:
        return bool(json.loads(path.read_text(encoding="utf-8")).get("maker") == MAKER)
    except (OSError, ValueError, AttributeError):
        return False


def _plain(value: Any) -> Any:
    """Round numbers to nine digits so that the file is short and the same everywhere."""
    if isinstance(value, dict):
        return {key: _plain(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(part) for part in value]
    return float(f"{value:.9g}") if isinstance(value, float) else value
