"""Small faults put into the core one at a time, to see whether a test fails.

``python -m tests.mutations`` says how. ``operators`` makes the faults, ``reach`` finds the tests that run
a line, ``runs`` tries the faults, ``equivalent.toml`` lists those that change nothing a person could see,
each with its reason.
"""
