"""``pitchcheck bench``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pitchcheck.cli.job.options import JobsOption
from pitchcheck.cli.listen import ChannelOption, InputOption, RateOption, TonesOption
from pitchcheck.cli.output import say
from pitchcheck.cli.signals import ending_signals

FolderArgument = Annotated[Path, typer.Argument(help="Folder that holds the sessions; made if needed.")]
PortOption = Annotated[int, typer.Option(min=0, max=65535, help="Port on this machine; 0 takes a free one.")]
BrowserOption = Annotated[bool, typer.Option("--browser/--no-browser", help="Open the page in the browser.")]


def bench(
    folder: FolderArgument = Path("bench"),
    port: PortOption = 0,
    browser: BrowserOption = True,
    input_name: InputOption = None,
    rate: RateOption = None,
    channel: ChannelOption = 1,
    tones: TonesOption = True,
    jobs: JobsOption = None,
) -> None:
    """Show the same session on a page, read from across the room.

    The page is served on this machine, to this machine only.

    Example: pitchcheck bench my-bench
    """
    from pitchcheck.bench.server import serve

    with ending_signals() as ending:
        try:
            serve(
                folder,
                jobs=jobs,
                port=port,
                device=input_name,
                rate_hz=rate,
                channel=channel,
                with_tones=tones,
                browser=browser,
                say=say,
            )
        except KeyboardInterrupt:
            say("Ended.")
    if ending.status:
        raise typer.Exit(ending.status)
