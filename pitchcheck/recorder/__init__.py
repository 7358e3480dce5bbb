"""A microphone session kept in its folder: every accepted take is on disk before the next prompt."""
