"""Ways of showing a measurement: bench sheet, JSON, take sheet, and one self-contained page."""
