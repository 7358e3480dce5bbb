"""``python -m pitchcheck``: the same as the command ``pitchcheck``."""

from __future__ import annotations

from pitchcheck.cli import main

if __name__ == "__main__":
    main()
