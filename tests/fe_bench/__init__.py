"""Instruments and players of the project's own, made by finite elements: a source of readings with known truth.

Nothing here but the two benches imports the package: what judges the fit shares nothing with it but the physics.
"""
