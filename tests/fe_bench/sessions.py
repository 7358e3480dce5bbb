"""Session folders of played instruments, and what the program says of them: its files in, its JSON out.

Only the public contract is used (docs/formats.md): settings and readings are written as a user's table would
be, ``measure`` is called in this process, and the answer is read from the JSON text.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from .instruments import Truth
from .player import Place, Player

OPEN = ("open", None)
F1, F2, F3, F12 = (("fret", n) for n in (1, 2, 3, 12))
P1, P2, P3, P4 = (("press", n) for n in (1, 2, 3, 4))
_FRETS = ((F1,), (F1,), (F2, F3), (F12,))
RUNS: dict[str, tuple[tuple[tuple[str, int], ...], ...]] = {
    "short": ((P1, P2),),
    "home": ((P1, P2, P1),),
    "presses": ((P1, P2), (P1, P2)),
    "quick": ((F1,), (P1, P2)),
    "full": (*_FRETS, (P1, P2), (P1, P2)),
    "thorough": (*_FRETS, *(4 * ((P1, P2), (P3, P4)))),
    "fretted": _FRETS,
}


@dataclass(frozen=True)
class Heard:
    """A row of the table of readings."""

    place: Place
    hz: float


def course(name: str, strings: Iterable[int]) -> list[Place]:
    """Takes of a fixed course, string by string, an open one before and after every run."""
    places = []
    for string in strings:
        places.append(Place(string, "open"))
        for run in RUNS[name]:
            places += [Place(string, stop, fret) for stop, fret in run]
            places.append(Place(string, "open"))
    return places


def listen(player: Player, places: Iterable[Place]) -> list[Heard]:
    """Play takes in order."""
    return [Heard(place, player.play(place)) for place in places]


def place_from(asked: dict[str, Any]) -> Place:
    """A take as the program's JSON or its list of takes names it."""
    leaf = asked.get("leaf_mm", asked.get("leaf"))
    if isinstance(leaf, str):
        number, unit = leaf.split()
        leaf = float(number) * {"mm": 1.0, "in": 25.4, "thou": 0.0254}[unit]
    return Place(asked["string"], asked["stop"], asked["fret"], asked.get("capo") or 0, leaf)


def settings(
    truth: Truth,
    *,
    meter: Sequence[dict[str, object]] = (),
    before: str | None = None,
    aim: str = "",
) -> str:
    """``session.toml`` as its owner knows the instrument."""
    lines = [
        "schema = 1",
        "[instrument]",
        f'kind = "{truth.kind}"',
        f'scale = "{truth.neck.scale_mm:.1f} mm"',
        f'action_12 = "{truth.stated_action_mm:.2f} mm"',
        *(f'{key} = "{value}"' for key, value in truth.stated.items()),
    ]
    if aim:
        lines += ["[target]", f'aim = "{aim}"']
    for s in truth.strings:
        lines += [
            "[[strings]]",
            f"number = {s.number}",
            f'note = "{s.wire.note}"',
            f'gauge = "{s.wire.gauge_in:.4f} in"',
            f'material = "{s.wire.material}"',
        ]
        if s.wire.wound:
            lines.append("wound = true")
    for reading in meter:
        lines.append("[[meter]]")
        lines += [f"{k} = {json.dumps(v)}" for k, v in reading.items()]
    if before is not None:
        lines += ["[before]", f'folder = "{before}"']
    return "\n".join(lines) + "\n"


def table(heard: Sequence[Heard], sd_cents: float) -> str:
    """``readings.csv``; the column of leaves only where there are any."""
    leaves = any(h.place.leaf_mm is not None for h in heard)
    rows = ["string,stop,fret,capo,hz,sd_cents" + (",leaf" if leaves else "")]
    for h in heard:
        p = h.place
        row = f"{p.string},{p.stop},{'' if p.fret is None else p.fret},{p.capo},{h.hz:.7f},{sd_cents:g}"
        if leaves:
            row += "," + ("" if p.leaf_mm is None else f"{p.leaf_mm:.3f} mm")
        rows.append(row)
    return "\n".join(rows) + "\n"


def write(folder: Path, truth: Truth, heard: Sequence[Heard], **known: Any) -> None:
    """Write a session folder anew."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "session.toml").write_text(settings(truth, **known), encoding="utf-8")
    (folder / "readings.csv").write_text(table(heard, truth.hand.reading_cents), encoding="utf-8")


def measure(folder: Path) -> dict[str, Any]:
    """What ``pitchcheck measure FOLDER --json`` answers, without starting it anew each time."""
    from pitchcheck.report.json_out import measurement_json
    from pitchcheck.workflow import measure_folder

    answer: dict[str, Any] = json.loads(measurement_json(measure_folder(folder, workers=1)))
    return answer
