"""``pitchcheck kinds``."""

from __future__ import annotations

from typing import Annotated

import typer

JsonOption = Annotated[bool, typer.Option("--json", help="Print the list as JSON.")]


def kinds(as_json: JsonOption = False) -> None:
    """List the kinds of instrument with their usual scale and strings.

    Example: pitchcheck kinds
    """
    import json

    from pitchcheck.session.presets import presets

    if as_json:
        rows = [
            {"kind": p.name, "words": p.words, "scale_mm": p.scale_mm, "notes": [s.note for s in p.strings]}
            for p in presets()
        ]
        typer.echo(json.dumps(rows, indent=1, ensure_ascii=False))
        return
    width = max(len(preset.name) for preset in presets())
    for preset in presets():
        notes = " ".join(spec.note for spec in reversed(preset.strings))
        typer.echo(f"{preset.name:<{width}}  {preset.scale_mm:g} mm  {notes}")
    typer.echo('Use one as --kind "NAME"; correct scale and strings in the session.toml that is written.')
