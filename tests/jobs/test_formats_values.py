"""Values of a job's files: each kind is taken as what it is, anything else is damage."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from pitchcheck.instrument import Removal
from pitchcheck.jobs.errors import JobDamaged
from pitchcheck.jobs.formats import _value, note_text, parse_note
from pitchcheck.jobs.records import PassKind

WHEN = datetime(2026, 5, 4, 9, 30, tzinfo=UTC)


def read(kind: object, value: object) -> object:
    return _value(kind, value, "job.toml was altered or damaged: x", "job.toml")


@pytest.mark.parametrize(
    ("kind", "value", "expected"),
    [
        (str, "words", "words"),
        (int, 3, 3),
        (bool, True, True),
        (datetime, WHEN, WHEN),
        (PassKind, "before", PassKind.BEFORE),
        (tuple[int, ...], [1, 2], (1, 2)),
        (tuple[str, ...], [], ()),
        (Removal, {"string": 2, "amount": "0.2 mm"}, Removal(2, 0.2)),
        (tuple[Removal, ...], [{"string": 1, "amount": "0.1 mm"}], (Removal(1, 0.1),)),
    ],
)
def test_values_of_their_kind_are_taken(kind: object, value: object, expected: object) -> None:
    assert read(kind, value) == expected


@pytest.mark.parametrize(
    ("kind", "value"),
    [
        (str, 3),
        (str, None),
        (str, "a\x1b[2Jb"),
        (int, True),
        (int, 3.0),
        (int, "3"),
        (bool, 1),
        (datetime, WHEN.replace(tzinfo=None)),
        (datetime, "2026-05-04"),
        (PassKind, "middle"),
        (PassKind, 1),
        (tuple[int, ...], [1, "2"]),
        (tuple[int, ...], 1),
        (Removal, {"string": "2", "amount": "0.2 mm"}),
        (Removal, {"string": True, "amount": "0.2 mm"}),
        (Removal, {"string": 2, "amount": 0.2}),
        (Removal, {"string": 2}),
        (Removal, {"string": 2, "amount": "0.2"}),
        (Removal, "0.2 mm"),
    ],
)
def test_anything_else_is_damage_that_is_shown(kind: object, value: object) -> None:
    with pytest.raises(JobDamaged, match=r"^job\.toml was altered or damaged: x") as told:
        read(kind, value)
    assert str(told.value).isprintable()
    assert len(str(told.value)) < 250


def test_a_note_reads_back_with_its_time() -> None:
    assert parse_note(note_text(WHEN, "Old nut is let in.\nTwo lines.")) == (
        WHEN,
        "Old nut is let in.\nTwo lines.",
    )


@pytest.mark.parametrize(
    "text",
    [
        "",
        "words",
        "# today\n\nwords\n",
        "# 2026-05-04T09:30:00\n\nwords\n",
        "# 2026-05-04T09:30:00+00:00\n\na\x07b\n",
    ],
)
def test_what_is_no_note_is_told(text: str) -> None:
    with pytest.raises(ValueError, match=r"date|offset|printed|Invalid"):
        parse_note(text)
