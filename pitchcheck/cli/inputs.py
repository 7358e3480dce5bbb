"""``pitchcheck inputs``."""

from __future__ import annotations

from typing import Annotated

import typer

from pitchcheck.cli.output import say

TryOption = Annotated[
    str | None,
    typer.Option("--try", metavar="INPUT", help="Listen to this one: its number, name or part of its name."),
]
ChannelOption = Annotated[
    int | None, typer.Option(min=1, help="Channel to listen to; without it the first two are.")
]

UNFIT = 2  # exit status


def inputs(try_one: TryOption = None, channel: ChannelOption = None) -> None:
    """List the microphones and other sound inputs, or try one.

    Example: pitchcheck inputs --try 1
    """
    from pitchcheck.workflow.inputs import describe_inputs, try_input

    if try_one is None:
        for line in describe_inputs():
            typer.echo(line)
        say("Try one with: pitchcheck inputs --try NUMBER")
        return
    check = try_input(try_one, channel=channel, say=say)
    for sentence in check.sentences:
        typer.echo(sentence)
    if not check.go_on:
        raise typer.Exit(UNFIT)
