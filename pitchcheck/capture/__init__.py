"""Sound inputs: which there are, opening one, reading it, and every way in which that fails."""
