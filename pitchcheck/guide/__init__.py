"""A session at the microphone as a state machine without devices, files or clocks."""
