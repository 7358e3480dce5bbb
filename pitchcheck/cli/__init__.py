"""The command line: read arguments, one call into the workflow, print."""

from __future__ import annotations


def main() -> None:
    """Run the command line."""
    from pitchcheck.cli.app import app

    app()
