"""The report of one measurement: its view records and its one self-contained page."""
