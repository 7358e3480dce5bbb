"""What can go wrong with a job, in words a user can act on."""

from __future__ import annotations

from pitchcheck.errors import PitchcheckError


class NoSuchJob(PitchcheckError):
    """No job, or more than one, answers to a name."""

    slug = "no-such-job"


class JobBusy(PitchcheckError):
    """Another process is writing to the job."""

    slug = "job-busy"


class ConfirmFirst(PitchcheckError):
    """What is to be added looks like a mistake; it waits for a word that it is meant.

    ``found`` says what looks so, without what to do on a command line.
    """

    slug = "confirm-first"

    def __init__(self, found: str, advice: str) -> None:
        super().__init__(f"{found} {advice}")
        self.found = found


class JobDamaged(PitchcheckError):
    """A job's own files cannot be read, or do not agree so that nothing can honestly be added."""

    slug = "job-damaged"


class NewerFormat(PitchcheckError):
    """A job was written by a later version; nothing was touched."""

    slug = "newer-format"


class NotStored(PitchcheckError):
    """Something could not be written: full disk, folder that may not be written."""

    slug = "not-stored"


class BadArchive(PitchcheckError):
    """An archive is no exported job, or not one that may be unpacked."""

    slug = "bad-archive"


class NotSigned(PitchcheckError):
    """The signing program is missing or refused."""

    slug = "not-signed"
