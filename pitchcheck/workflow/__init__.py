"""The stages joined: from a folder to a measurement. The command line calls only this.

The names are loaded when they are first asked for: a session at the microphone prompts before the fit is
needed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pitchcheck.workflow.measure import measure_folder
    from pitchcheck.workflow.new import new_folder
    from pitchcheck.workflow.progress import Progress

__all__ = ["Progress", "measure_folder", "new_folder"]

_HOMES = {"Progress": "progress", "measure_folder": "measure", "new_folder": "new"}


def __getattr__(name: str) -> Any:
    """Load one of the names."""
    from importlib import import_module

    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)
