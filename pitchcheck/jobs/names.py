"""Names: of jobs, for folders that every system can hold, and of files that may enter a job.

Conventions: a job's id begins with its day, so that it is no reserved word anywhere, and holds only small
letters, digits and hyphens. Texts a person typed are kept as typed elsewhere.
"""

from __future__ import annotations

import re
import unicodedata
from datetime import datetime

from pitchcheck.errors import BadValue

LONGEST_SLUG = 40  # characters of an id after the day; our choice
LONGEST_LINE = 200  # characters of a title or a name; our choice
LONGEST_WORDS = 4000  # characters of a note or of the owner's words; our choice
LONGEST_PART = 120  # bytes of one part of a file's path; file systems allow 255, archives and lists less
LONGEST_PATH = 200  # bytes of a file's path within its pass
NO_ID = "unfinished-"  # what is being made beside the jobs
_ID = re.compile(r"[a-z0-9][a-z0-9-]{0,79}")

# Names that Windows keeps for devices, whatever their ending (its documentation, "Naming Files, Paths,
# and Namespaces").
RESERVED = {"con", "prn", "aux", "nul", *(f"{p}{n}" for p in ("com", "lpt") for n in "0123456789¹²³")}
_NOT_IN_NAMES = set('<>:"|?*\\')  # from the same page; the slash parts folders


def slug(title: str) -> str:
    """Return a title as small letters, digits and hyphens; "job" if nothing of it is left.

    Examples
    --------
    >>> slug("Müller's Parlour / 1920?")
    'muller-s-parlour-1920'
    """
    plain = unicodedata.normalize("NFKD", title).encode("ascii", "ignore").decode().lower()
    words = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")
    return words[:LONGEST_SLUG].strip("-") or "job"


def job_id(title: str, *, made: datetime, again: int = 1) -> str:
    """Return an id: day and title; ``again`` above 1 tells jobs of one name and day apart."""
    return f"{made:%Y-%m-%d}-{slug(title)}" + (f"-{again}" if again > 1 else "")


def is_id(name: str) -> bool:
    """Whether a name can be a job's id."""
    return _ID.fullmatch(name) is not None and not name.startswith(NO_ID)


def check_line(what: str, text: str | None, *, required: bool = False) -> str | None:
    """Return text as one line with single spaces, None if there is none; raise BadValue if it is no line."""
    if text is None and not required:
        return None
    line = " ".join((text or "").split())
    if not line and not required:
        return None
    if not 1 <= len(line) <= LONGEST_LINE or not line.isprintable():
        raise BadValue(
            f"{what} is {line[:40]!r}; it must be 1 to {LONGEST_LINE} printable characters. Shorten it."
        )
    return line


def check_words(what: str, text: str | None) -> str | None:
    """Return text of several lines without trailing blanks, or None if it is empty; raise BadValue."""
    if text is None:
        return None
    lines = [line.rstrip() for line in text.replace("\r\n", "\n").replace("\r", "\n").split("\n")]
    words = "\n".join(lines).strip("\n")
    if not words.strip():
        return None
    odd = [sign for sign in words if not sign.isprintable() and sign not in "\n\t"]
    if odd or len(words) > LONGEST_WORDS:
        found = f"holds the unprintable {odd[0]!r}" if odd else f"has {len(words)} characters"
        raise BadValue(
            f"{what} {found}; it must be printable text of at most {LONGEST_WORDS} characters. Correct it."
        )
    return words


def is_printable(words: str) -> bool:
    """Whether text holds nothing that a terminal takes for a command; tabs and line ends are allowed."""
    return all(sign.isprintable() or sign in "\n\t" for sign in words)


def file_fault(name: str) -> str | None:
    """Why a file of that name cannot be in a job, or None. ``name`` is its path with slashes."""
    if not name.isprintable() or len(name.encode("utf-8", "surrogatepass")) > LONGEST_PATH:
        return "its name is too long or holds signs that cannot be printed"
    for part in name.split("/"):
        if part in ("", ".", ".."):
            return "its path leads out of the job"
        if len(part.encode("utf-8")) > LONGEST_PART:
            return f"a part of its name is longer than {LONGEST_PART} bytes"
        if set(part) & _NOT_IN_NAMES or part[-1] in " ." or part[0] == " ":
            return "its name holds a sign that not every system allows"
        if part.split(".")[0].rstrip().lower() in RESERVED:
            return f"{part} is a reserved word on some systems"
    return None
