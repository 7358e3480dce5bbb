"""Recordings dropped on the bench page: refused with a reason, or labelled, shown and corrected."""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile

from helpers.bench_page import TOKEN, Answer, ask, in_process, upload
from helpers.memo_player import Memo, Wish, make_memo
from pitchcheck.bench.guard import Guard
from pitchcheck.bench.page_kit import Bench
from pitchcheck.session.folder import read_session
from pitchcheck.takes import Stop

SEED = 7


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[tuple[Guard, Bench]]:
    with in_process(tmp_path / "root") as made:
        yield made


def drop(app: Guard, files: list[tuple[str, bytes]], **fields: str) -> Answer:
    """Drop files on the page."""
    return upload(app, f"/{TOKEN}/recordings", [("files", *file) for file in files], **fields)


def noise_wav() -> bytes:
    out = io.BytesIO()
    samples = 0.01 * np.random.default_rng(1).standard_normal(48_000)
    soundfile.write(out, samples, 48_000, format="WAV")
    return out.getvalue()


@pytest.mark.parametrize(
    ("files", "fields"),
    [
        ([], {"name": "memo", "kind": "bass"}),
        ([("memo.wav", noise_wav())], {"name": "memo", "kind": "bass"}),
        ([("memo.wav", b"no sound at all")], {"name": "memo", "kind": "bass"}),
        ([("memo.wav", noise_wav())], {"name": "../memo", "kind": "bass"}),
        ([("memo.wav", noise_wav())], {"name": "memo", "kind": "no such kind"}),
        ([("memo.wav", noise_wav())], {"name": "memo", "kind": "../session.toml"}),
        ([("memo.wav", noise_wav())], {"name": "memo", "kind": "bass", "scale": "3"}),
    ],
)
def test_what_cannot_be_measured_is_refused_with_a_reason(
    bench: tuple[Guard, Bench], files: list[tuple[str, bytes]], fields: dict[str, str]
) -> None:
    app, _ = bench
    answer = drop(app, files, **fields)
    assert answer.status == 400
    assert 'role="alert"' in answer.text


def test_files_are_kept_under_names_of_our_own_inside_the_folder(bench: tuple[Guard, Bench]) -> None:
    app, made = bench
    names = ["../../evil.wav", "..\\evil.exe", "/etc/passwd", ".hidden", "a b<script>.WAV", "nul"]
    drop(app, [(name, noise_wav()) for name in names], name="memo", kind="bass")
    kept = sorted(p.relative_to(made.root).as_posix() for p in made.root.rglob("*") if p.is_file())
    assert kept == [
        "memo/01-evil.wav",
        "memo/02-evil.wav",
        "memo/03-passwd.wav",
        "memo/04-hidden.wav",
        "memo/05-a-b-script.wav",
        "memo/06-nul.wav",
    ]
    assert {p.name for p in made.root.parent.iterdir()} == {"root"}


@pytest.fixture(scope="module")
def memo() -> Memo:
    return make_memo(SEED, Wish(kind="bass", course="short", encoder="m4a 64k", snr_db=32.0))


@pytest.mark.slow
def test_a_memo_is_labelled_shown_beside_its_sound_and_corrected(
    bench: tuple[Guard, Bench], memo: Memo, tmp_path: Path
) -> None:
    app, made = bench
    path = memo.write(tmp_path)
    answer = drop(
        app,
        [("my memo.m4a", path.read_bytes())],
        name="bass",
        kind="bass",
        scale=f"{memo.instrument.scale_mm} mm",
    )
    assert answer.status == 303, answer.text
    at = answer.headers["location"]
    name = at.split("/")[-2]
    page = ask(app, at).text
    rows = read_session(made.root / name).takes
    played = [h.position for h in memo.happenings if h.what == "pluck"]
    assert [row.position for row in rows] == played
    assert page.count('class="mark"') == len(played)
    form: dict[str, str] = {}
    for row in rows[1:]:  # the first was no take
        place = row.position
        form |= {f"use-{row.row}": "yes", f"string-{row.row}": str(place.string)}
        form |= {f"stop-{row.row}": place.stop.value, f"fret-{row.row}": str(place.fret or "")}
    number = next(row.row for row in rows if row.position.stop is Stop.PRESS)
    form[f"stop-{number}"] = "fret"
    assert ask(app, at, method="POST", form=form).status == 303
    after = read_session(made.root / name).takes
    assert len(after) == len(rows) - 1
    changed = [
        (a.position, b.position) for a, b in zip(rows[1:], after, strict=True) if a.position != b.position
    ]
    assert [(a.stop, b.stop) for a, b in changed] == [(Stop.PRESS, Stop.FRET)]
    assert [(r.start_s, r.end_s) for r in after] == [(r.start_s, r.end_s) for r in rows[1:]]
