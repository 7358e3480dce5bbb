"""``pitchcheck listen --job``: a finished session is filed, another waits; refusals come before playing.

The microphone is left out: what a session leaves behind is given, with a real session folder behind it.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

import pitchcheck.workflow.listen.run as session
from helpers.jobs import make_job, quick_source, sound
from helpers.measurement import USUAL, measurement
from pitchcheck.cli.app import app
from pitchcheck.cli.listen import finish
from pitchcheck.jobs.read import read_job
from pitchcheck.recorder.disk import LOCK
from pitchcheck.workflow.listen.run import Listened


def listen(*words: str) -> tuple[int, str]:
    """Return status and all that was printed."""
    done = CliRunner().invoke(app, ["listen", *words])
    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    return done.exit_code, done.stdout + done.stderr


@pytest.mark.parametrize(("taken", "passes"), [(16, 1), (15, 0)], ids=["finished", "takes missing"])
def test_a_finished_session_is_filed_and_another_waits(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, taken: int, passes: int
) -> None:
    job = make_job(tmp_path / "jobs")
    source = quick_source(tmp_path / "bench", extra=2)
    (source / LOCK).write_text("")

    def leave(folder: Path, **_: object) -> Listened:
        return Listened(folder, taken, 16, None, (), False, (), 16 - taken)

    monkeypatch.setattr(session, "listen_folder", leave)
    status, said = listen(
        str(source), "--kind", "parlour guitar", "--job", job.id, "--jobs", str(tmp_path / "jobs"), "--plain"
    )
    assert status == 0, said
    kept = read_job(job.folder)
    assert len(kept.passes) == passes
    assert ("Sealed as pass 1" in said) == (passes == 1)
    assert ("Not filed yet" in said) == (passes == 0)
    if passes:
        names = {path.name for path in kept.passes[0].folder.iterdir()}
        assert "aside-01.wav" in names
        assert LOCK not in names
    sound(job.folder)


@pytest.mark.parametrize(
    ("words", "exit_status", "slug"),
    [
        (["--job", "nobody"], 2, "no-such-job"),
        (["--removed", "1=0.1 mm"], 64, "wrong-call"),
        (["--job", "{id}", "--removed", "one"], 2, "bad-value"),
    ],
)
def test_what_cannot_be_filed_is_refused_before_anything_is_played(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: list[str], exit_status: int, slug: str
) -> None:
    monkeypatch.setenv("PITCHCHECK_JOBS", str(tmp_path / "jobs"))
    job = make_job(tmp_path / "jobs")
    status, said = listen(str(tmp_path / "new"), "--kind", "bass", *(w.format(id=job.id) for w in words))
    assert status == exit_status
    assert f"explain {slug}" in said
    assert not (tmp_path / "new").exists()


def test_of_a_session_that_waits_nothing_is_said_to_be_in_the_job(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    waiting = Listened(tmp_path / "today", 15, 16, measurement(USUAL), (), False, (), 1)
    finish(waiting, 0, job="parlour", later="Then: pitchcheck job add")
    out, err = capsys.readouterr()
    assert "Not filed yet, as takes are missing. Then: pitchcheck job add" in err
    assert "pitchcheck job report" not in out + err
    assert "pitchcheck measure" in " ".join((out + err).split())
