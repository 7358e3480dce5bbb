"""Session folders: read and check them, write a new one with its take sheet."""
