"""Lists of SHA-256 sums in the format that ``sha256sum -c`` reads, and a job's fingerprint.

Conventions: one line for each file, 64 small hexadecimal digits, two spaces, the path with slashes from
the folder of the list; sorted by path; ends in a newline. Reading is strict: anything else makes the list
damaged, a path that leads out of the job too, but the one to the list of the pass before. Files that may
enter a job have no name that the format would have to escape (``names.file_fault``).
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping
from pathlib import Path

from pitchcheck.jobs.names import file_fault

SUMS = "sums.txt"
FINGERPRINT = "fingerprint.txt"
LARGEST_LIST_BYTES = 4_000_000
_LINE = re.compile(r"([0-9a-f]{64})  ([^\n\\]+)")
_PASS_BEFORE = re.compile(r"\.\./\d{2,4}-[a-z]+/sums\.txt")
_FINGERPRINT = re.compile(rf"([0-9a-f]{{64}})  {re.escape(SUMS)}\n")


class BadList(ValueError):
    """A list of sums is not in its format; ``line`` counts from 1."""

    def __init__(self, line: int) -> None:
        super().__init__(f"line {line} is no line of a list of sums")
        self.line = line


def sum_of_bytes(content: bytes) -> str:
    """SHA-256, 64 small hexadecimal digits (FIPS 180-4, by hashlib)."""
    return hashlib.sha256(content).hexdigest()


def sum_of_file(path: Path) -> str:
    """SHA-256 of a file's content."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def sums_text(sums: Mapping[str, str]) -> str:
    """Return the list of sums by path."""
    return "".join(f"{sums[name]}  {name}\n" for name in sorted(sums))


def parse_sums(content: bytes) -> dict[str, str]:
    """Return the sums by path of a list that ``sums_text`` wrote.

    Raises
    ------
    BadList
        If any byte of it is not as ``sums_text`` writes it.
    """
    if len(content) > LARGEST_LIST_BYTES:
        raise BadList(0)
    try:
        text = content.decode("utf-8")
    except UnicodeDecodeError as error:
        raise BadList(content[: error.start].count(b"\n") + 1) from error
    sums: dict[str, str] = {}
    lines = text.split("\n")
    if lines.pop() != "":
        raise BadList(len(lines) + 1)
    last = ""
    for number, line in enumerate(lines, 1):
        match = _LINE.fullmatch(line)
        if match is None or match[2] <= last:
            raise BadList(number)
        last = match[2]
        if file_fault(last) and not _PASS_BEFORE.fullmatch(last):
            raise BadList(number)
        sums[last] = match[1]
    return sums


def fingerprint_text(value: str) -> str:
    """Return the content of the file with a job's fingerprint."""
    return f"{value}  {SUMS}\n"


def read_fingerprint(folder: Path) -> str:
    """Return a job's fingerprint as its file states it; raise ValueError if it is not in its format."""
    match = _FINGERPRINT.fullmatch((folder / FINGERPRINT).read_bytes().decode("ascii"))
    if match is None:
        raise ValueError(f"{FINGERPRINT} is not in its format")
    return match[1]
