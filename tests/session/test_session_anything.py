"""Whatever stands in a session folder, reading it ends in a session or in a message, never in a trace."""

from __future__ import annotations

import tempfile
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from helpers.folders import READINGS, SETTINGS, TAKES, make_folder
from pitchcheck.errors import NothingMeasured
from pitchcheck.session.folder import Session, read_session

VALUES = st.one_of(
    st.sampled_from(
        ["1", "-1", "1e999", "nan", "true", "[]", "{}", '"x"', '"1 mm"', "2026-01-01", '["1 mm", 2]']
    ),
    st.text(max_size=8).map(lambda text: '"' + text.replace("\\", "").replace('"', "") + '"'),
)
KEYS = st.sampled_from(
    ["schema", "kind", "scale", "nut", "number", "note", "gauge", "wound", "core", "what", "string", "value",
     "error", "folder", "amount", "tolerance", "floor", "third_fret_clearance", "target_height", "action_12"]
)  # fmt: skip
HEADS = st.sampled_from(
    ["[instrument]", "[target]", "[[strings]]", "[[meter]]", "[before]", "[[before.removed]]", "[strings]"]
)
LINES = st.lists(st.one_of(HEADS, st.tuples(KEYS, VALUES).map(" = ".join)), max_size=25)
CELLS = st.one_of(
    st.sampled_from(["1", "2", "0", "-3", "1e300", "nan", "open", "fret", "press", "a.wav", "²", "٣", ""]),
    st.text(max_size=6),
)


def read(settings: str | bytes, *, takes: str | None = None, readings: str | None = None) -> Session | None:
    """Return a session, or None if its settings were refused with faults that say what to do."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        raw = settings.encode("utf-8", "replace") if isinstance(settings, str) else settings
        make_folder(folder, settings=raw)
        for name, text in (("takes.csv", takes), ("readings.csv", readings)):
            if text is not None:
                (folder / name).write_bytes(text.encode("utf-8", "replace"))
        try:
            return read_session(folder)
        except NothingMeasured as error:
            refused = error
    assert refused.problems
    assert all(problem.limit and problem.action for problem in refused.problems)
    return None


@given(LINES)
def test_any_settings(lines: list[str]) -> None:
    read("\n".join(lines), readings=READINGS)


@given(st.binary(max_size=200))
def test_any_bytes(raw: bytes) -> None:
    read(raw)


@given(st.lists(st.lists(CELLS, max_size=8).map(",".join), max_size=8), st.booleans())
def test_any_rows_keep_the_good_one(lines: list[str], sound: bool) -> None:
    good = "good.wav,1,open,,0" if sound else "1,open,,0,329.6"
    text = "\n".join([good, *(line.replace('"', "") for line in lines)])
    session = read(SETTINGS, takes=TAKES + text) if sound else read(SETTINGS, readings=READINGS + text)
    assert session is not None
    assert [row.row for row in (*session.takes, *session.readings)][:1] == [1]
    for problem in session.problems:
        assert problem.sentence().isprintable()
