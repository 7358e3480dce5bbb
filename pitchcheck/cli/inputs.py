"""``pitchcheck inputs``."""

from __future__ import annotations

from typing import Annotated

import typer

from pitchcheck.cli.output import UNUSABLE, say, tell_json
from pitchcheck.errors import WrongCall

TryOption = Annotated[
    str | None,
    typer.Option("--try", metavar="INPUT", help="Listen to this one: its number, name or part of its name."),
]
ChannelOption = Annotated[
    int | None, typer.Option(min=1, help="Channel to listen to; without it the first two are.")
]

JsonOption = Annotated[bool, typer.Option("--json", help="Print the list as JSON.")]


def inputs(try_one: TryOption = None, channel: ChannelOption = None, as_json: JsonOption = False) -> None:
    """List the microphones and other sound inputs, or try one.

    Example: pitchcheck inputs --try 1
    """
    from pitchcheck.workflow.inputs import describe_inputs, list_inputs, try_input

    if as_json:
        from dataclasses import asdict

        if try_one is not None:
            raise WrongCall("--json lists the inputs and tries none. Leave --try or --json out.")
        tell_json([asdict(device) for device in list_inputs()])
        return
    if try_one is None:
        for line in describe_inputs():
            typer.echo(line)
        say("Try one with: pitchcheck inputs --try NUMBER")
        return
    from pitchcheck.words.inputs import input_sentences

    check = try_input(try_one, channel=channel, say=say)
    for sentence in input_sentences(check):
        typer.echo(sentence)
    if not check.go_on:
        raise typer.Exit(UNUSABLE)
