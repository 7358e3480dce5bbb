"""A session at the microphone, joined to devices, disk and screen."""
