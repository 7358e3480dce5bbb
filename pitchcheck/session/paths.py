"""Where input files may lie: names in a session folder must stay inside it, links followed."""

from __future__ import annotations

from pathlib import Path


def inside(folder: Path, name: str) -> Path | None:
    """Path of ``name`` inside ``folder``; None if it would lie outside or is no usable name.

    Links are followed before judging, so a link inside the folder that points out of it is refused too.
    """
    try:
        root = folder.resolve()
        path = (root / name).resolve()
    except (OSError, ValueError, RuntimeError):
        return None
    return path if path.is_relative_to(root) and path != root else None
