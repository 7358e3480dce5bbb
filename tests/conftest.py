"""Settings for all tests.

In CI the generated cases are the same every time, elsewhere they are new. Each worker computes with one
thread: there is a worker a core, and more threads than cores make the suite half as long again.
"""

from __future__ import annotations

import os
import signal

from hypothesis import settings

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):  # read when numpy is first imported
    os.environ.setdefault(_name, "1")

# A shell without job control lets a background job ignore Ctrl-C, and so would all that the tests start.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)

settings.register_profile("here", deadline=None)  # no time limit: a loaded machine is no failure
settings.register_profile("ci", derandomize=True, deadline=None)
settings.load_profile("here")
if os.environ.get("CI"):
    settings.load_profile("ci")
