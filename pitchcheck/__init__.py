"""Hear how high the nut slots of a fretted instrument are.

Conventions, everywhere in the package: lengths in millimetres, forces in newtons, frequencies in hertz,
times in seconds, intervals in cents; the unit is in the name. Strings are numbered from 1, the one nearest
the floor in playing position. Heights are above the plane of the fret tops. A missing value is ``None``.
"""

__version__ = "0.1.0"
