"""Files that are whole or not there, and one writer at a time: for jobs, recordings and reports alike."""
