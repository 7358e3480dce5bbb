"""Settings for all tests.

In CI the generated cases are the same every time, elsewhere they are new. Each worker computes with one
thread: there is a worker a core, and more threads than cores make the suite half as long again.
"""

from __future__ import annotations

import os

from hypothesis import settings

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):  # read when numpy is first imported
    os.environ.setdefault(_name, "1")

settings.register_profile("here", deadline=None)  # no time limit: a loaded machine is no failure
settings.register_profile("ci", derandomize=True, deadline=None)
settings.load_profile("here")
if os.environ.get("CI"):
    settings.load_profile("ci")
