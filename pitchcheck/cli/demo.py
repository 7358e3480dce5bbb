"""``pitchcheck demo``."""

from __future__ import annotations

import sys
from contextlib import ExitStack
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Annotated

import typer

from pitchcheck.cli.output import check_report_path, progress_bar, show_measurement, write_whole
from pitchcheck.errors import BadInput, Problem

DEFAULT_REPORT = Path("pitchcheck-demo-report.html")
MARK = '<meta name="generator" content="pitchcheck demo">'
SEED = 8

KeepOption = Annotated[
    Path | None,
    typer.Option(metavar="FOLDER", help="Keep the recordings, and the truth, in this new folder."),
]
ReportOption = Annotated[Path, typer.Option(metavar="FILE", help="Where the HTML page with pictures goes.")]
SeedOption = Annotated[int, typer.Option(min=0, help="Another hand and room on the same guitar.")]


def demo(keep: KeepOption = None, report: ReportOption = DEFAULT_REPORT, seed: SeedOption = SEED) -> None:
    """Measure an imaginary guitar, then show the truth beside it.

    Two of its slots were left high. Needs no microphone. Example: pitchcheck demo --keep two-lamps
    """
    check_report_path(report)
    _leave_others_alone(report)
    from rich.console import Console
    from rich.text import Text

    from pitchcheck.report.render import render_page
    from pitchcheck.workflow.demo import STORY, run_demo

    console = Console(file=sys.stdout, highlight=False)
    for paragraph in STORY:
        console.print(Text(paragraph), end="\n\n")
    with ExitStack() as stack:
        folder = keep or Path(stack.enter_context(TemporaryDirectory(prefix="pitchcheck-")))
        done = run_demo(folder, seed=seed, progress=stack.enter_context(progress_bar()))
    write_whole(report, render_page(done.measurement).replace("<head>", f"<head>\n{MARK}", 1))
    said = [f"Report with pictures: {report.absolute()}"]
    if keep is not None:
        said.append(
            f'Recordings and truth: {keep.absolute()}  (pitchcheck measure "{keep}" reads them again)'
        )
    show_measurement(done.measurement, said=said, true_heights_mm=done.true_heights_mm)


def _leave_others_alone(report: Path) -> None:
    """Refuse to write over a file that an earlier demo did not make."""
    if not report.exists():
        return
    if MARK not in report.read_text(encoding="utf-8", errors="replace"):
        raise BadInput(
            Problem(
                file=str(report),
                row=None,
                field=None,
                value=None,
                limit="already there, and not a demo's report, so it is left alone",
                action="Give another name with --report.",
            )
        )
