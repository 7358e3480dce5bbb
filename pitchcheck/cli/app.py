"""The ``pitchcheck`` command: its subcommands, and the one place where errors become a message and a status.

Exit status: 0 done, 2 nothing measured or unusable input, 64 a wrong call (EX_USAGE of BSD's sysexits.h); 1
of ``job verify`` where something is not as it was written.
Messages go to standard error.
"""

from __future__ import annotations

import errno
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from pitchcheck import __version__
from pitchcheck.cli.again import again
from pitchcheck.cli.bench import bench
from pitchcheck.cli.demo import demo
from pitchcheck.cli.explain import explain
from pitchcheck.cli.gauge import gauge
from pitchcheck.cli.inputs import inputs
from pitchcheck.cli.job.commands import job
from pitchcheck.cli.kinds import kinds
from pitchcheck.cli.listen import listen
from pitchcheck.cli.measure import measure
from pitchcheck.cli.new import new
from pitchcheck.cli.output import UNUSABLE, say
from pitchcheck.errors import NothingMeasured, PitchcheckError, WrongCall
from pitchcheck.words.faults import fault_lines

WRONG_CALL = 64  # exit status
_USAGE_ERROR: Any = typer.BadParameter.__base__  # of the library below typer, whichever it is


@contextmanager
def _wrong_calls() -> Iterator[None]:
    """Give what the library below typer says of a wrong call its own exit status."""
    try:
        yield
    except _USAGE_ERROR as error:
        error.exit_code = WRONG_CALL
        raise


class Group(TyperGroup):
    """Turns an error that a user can act on into its message; anything else is a bug and keeps its trace."""

    def make_context(self, *args: Any, **options: Any) -> Any:
        """Read the words before the command."""
        with _wrong_calls():
            return super().make_context(*args, **options)

    def invoke(self, ctx: Any) -> Any:
        """Run the chosen command."""
        for stream in (sys.stdout, sys.stderr):
            if hasattr(stream, "reconfigure"):
                stream.reconfigure(errors="replace")  # an old terminal shows ? rather than stopping
        try:
            with _wrong_calls():
                return super().invoke(ctx)
        except PitchcheckError as error:
            say(str(error))
            if isinstance(error, NothingMeasured):
                for line in fault_lines(error.problems):
                    if line != str(error):
                        say(f"  {line}")
            say(f"(More: pitchcheck explain {error.slug})")
            raise typer.Exit(WRONG_CALL if isinstance(error, WrongCall) else UNUSABLE) from error
        except OSError as error:
            if error.errno != errno.ENAMETOOLONG:
                raise
            say(f"{str(error.filename)[:60]}... is longer than a path may be. Give a shorter one.")
            raise typer.Exit(UNUSABLE) from error


app = typer.Typer(
    cls=Group,
    no_args_is_help=True,
    context_settings={"help_option_names": ["-h", "--help"]},
    pretty_exceptions_enable=False,
    rich_markup_mode=None,  # help without boxes: an overview is one screen
    help="Hear how high nut slots are, how sure that is, and how much may come off.",
)


def _version(wanted: bool) -> None:
    """Print the version and stop."""
    if wanted:
        typer.echo(f"pitchcheck {__version__}")
        raise typer.Exit


@app.callback()
def options(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """Take the options that belong to no subcommand."""


app.command()(new)
app.command()(listen)
app.command()(bench)
app.command()(measure)
app.command()(again)
app.command()(gauge)
app.command()(demo)
app.command()(inputs)
app.command()(kinds)
app.command()(explain)
app.add_typer(job, name="job")
# A new command: a file beside this one, and its line here.
