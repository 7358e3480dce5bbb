"""The bench page: the terminal's sessions and folders, seen in a browser on this machine."""
