"""Calls: a wrong one has its own exit status, every message can be explained, what is listed is JSON too."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from helpers.imports import ROOT
from helpers.jobs import make_job, quick_source
from pitchcheck.cli.app import app
from pitchcheck.cli.explain import read_sections
from pitchcheck.jobs.layout import JOB
from pitchcheck.jobs.records import STEPS
from pitchcheck.workflow.jobs.add_pass import add_pass

WRONG_CALL = 64  # EX_USAGE, "the command was used incorrectly": sysexits.h of 4.3BSD
UNUSABLE = 2  # the contract


def call(*words: object) -> Result:
    return CliRunner().invoke(app, [str(word) for word in words])


@pytest.mark.parametrize(
    "words",
    [
        ["--no-such-option"],
        ["no-such-command"],
        ["new"],
        ["new", "bench"],
        ["new", "", "--kind", "electric"],
        ["listen", "", "--kind", "electric"],
        ["measure", ""],
        ["measure", "bench", "--job"],
        ["measure", "bench", "--removed", "6=0.20 mm"],
        ["job", "add", "parlour", "bench", "--final", "--kind", "after"],
        ["inputs", "--json", "--try", "1"],
        ["explain", "nothing-of-this-name"],
    ],
)
def test_a_wrong_call_is_no_unusable_data(
    words: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    done = call(*words)
    assert done.exit_code == WRONG_CALL, done.output
    assert done.stderr
    assert list(tmp_path.iterdir()) == []


def test_unusable_data_is_no_wrong_call(tmp_path: Path) -> None:
    assert call("measure", tmp_path / "nowhere").exit_code == UNUSABLE
    (tmp_path / "session.toml").write_text("schema = 1\n")
    refused = call("measure", tmp_path)
    assert refused.exit_code == UNUSABLE
    name = refused.stderr.rpartition("pitchcheck explain ")[2].rstrip().rstrip(")")
    explained = call("explain", name)
    assert explained.exit_code == 0
    assert len(explained.stdout) > 80


def test_explain_knows_every_section_of_the_document() -> None:
    titles = [
        line.removeprefix("## ")
        for line in (ROOT / "docs" / "messages.md").read_text(encoding="utf-8").splitlines()
        if line.startswith("## ")
    ]
    assert list(read_sections()) == titles
    assert all(read_sections().values())
    assert set(call("explain").stdout.split()) == set(titles)


def test_jobs_are_listed_and_shown_as_json(tmp_path: Path) -> None:
    job = make_job(tmp_path / "jobs")
    add_pass(
        job.folder, quick_source(tmp_path / "first"), now=datetime(2026, 3, 4, 9, 30, tzinfo=UTC), workers=1
    )
    listed = json.loads(call("job", "list", "--json", "--jobs", tmp_path / "jobs").stdout)
    assert [(row["id"], row["title"], row["passes"], row["fault"]) for row in listed] == [
        (job.id, job.title, 1, None)
    ]
    shown = json.loads(call("job", "show", job.id, "--json", "--jobs", tmp_path / "jobs").stdout)
    assert shown["id"] == job.id
    assert [one["number"] for one in shown["passes"]] == [1]
    assert datetime.fromisoformat(shown["made"]).tzinfo is not None
    assert json.loads(call("job", "list", "--json", "--jobs", tmp_path / "none").stdout) == []


def test_checklist_and_sums_of_a_job_as_json(tmp_path: Path) -> None:
    jobs = tmp_path / "jobs"
    job = make_job(jobs)
    call("job", "step", job.id, "score", "--measured", "0.4 mm", "--jobs", jobs)
    steps = json.loads(call("job", "step", job.id, "--json", "--jobs", jobs).stdout)
    assert [(row["number"], row["name"]) for row in steps] == list(enumerate(STEPS, 1))
    assert [(row["name"], row["measured"]) for row in steps if row["done"]] == [("score", "0.4 mm")]
    (one,) = json.loads(call("job", "step", job.id, "score", "--json", "--jobs", jobs).stdout)
    assert one == steps[STEPS.index("score")]

    whole = json.loads(call("job", "verify", job.id, "--json", "--jobs", jobs).stdout)
    assert (whole["sound"], whole["changed"]) == (True, [])
    earlier = call("job", "verify", job.id, "--json", "--fingerprint", "0" * 64, "--jobs", jobs)
    assert (earlier.exit_code, json.loads(earlier.stdout)["changes_since_fingerprint"]) == (1, None)
    known = call("job", "verify", job.id, "--json", "--fingerprint", whole["fingerprint"], "--jobs", jobs)
    assert known.exit_code == 0
    assert json.loads(known.stdout)["changes_since_fingerprint"] == 0
    (job.folder / JOB).write_bytes(b"")
    spoilt = call("job", "verify", job.id, "--json", "--jobs", jobs)
    assert spoilt.exit_code == 1
    assert not json.loads(spoilt.stdout)["sound"]


def test_numerical_warnings_of_libraries_are_not_shown() -> None:
    code = (
        "import sys, warnings; import pitchcheck.cli as c, pitchcheck.cli.app as a;"
        "a.app = lambda: (warnings.warn('overflow', RuntimeWarning), "
        "sys.stdout.write(__import__('os').environ['PYTHONWARNINGS'])); c.main()"
    )
    environment = {key: value for key, value in os.environ.items() if key != "PYTHONWARNINGS"}
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, env=environment, check=True
    )
    assert (done.stdout, done.stderr) == ("ignore", "")
