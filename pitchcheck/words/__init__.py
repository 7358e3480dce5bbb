"""English for every record a person reads: the one place where sentences are made."""
