"""The command line: read arguments, one call into the workflow, print."""

from __future__ import annotations

import os
import sys
import warnings

# The matrices here are small, and strings are read in processes side by side: threads inside each of them
# would only stand in each other's way (the demo took 18 s instead of 30 s on two cores). A user's own setting
# is kept.
_ONE_THREAD = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")


def main() -> None:
    """Run the command line."""
    for name in _ONE_THREAD:
        os.environ.setdefault(name, "1")
    if not sys.warnoptions:  # numerical warnings of libraries say nothing to who stands at a bench
        warnings.simplefilter("ignore")
        os.environ.setdefault("PYTHONWARNINGS", "ignore")  # in the processes that read sound, too
    from pitchcheck.cli.app import app

    app()
