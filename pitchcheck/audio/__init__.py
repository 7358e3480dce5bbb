"""Sound at the edge: files to clips."""
