"""The report of a job, before and after: its view records and its page."""
