"""Instruments and players made by finite elements: a source of readings whose truth is known.

What judges the fit shares nothing with it but the physics: only ``sessions.measure`` calls the package.
"""

import os

# Tables must not depend on how many threads the linear algebra has; read when numpy is first imported.
for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_name, "1")
