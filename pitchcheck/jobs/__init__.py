"""Job folders: passes, notes and steps of one instrument, kept so that a change to any file is seen."""
