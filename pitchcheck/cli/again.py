"""``pitchcheck again``: the next pass of an instrument, in one command."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pitchcheck.cli.job.options import FinalOption, JobsOption, RemovedOption, find
from pitchcheck.cli.listen import (
    ChannelOption,
    InputOption,
    PlainOption,
    RateOption,
    Source,
    StringsOption,
    ThoroughOption,
    TonesOption,
    finish,
    sit,
    string_numbers,
)
from pitchcheck.cli.output import say
from pitchcheck.course import Thoroughness
from pitchcheck.errors import WrongCall

NameArgument = Annotated[
    str, typer.Argument(metavar="NAME", help="A session folder that was measured, or a job.")
]
PrepareOption = Annotated[
    bool, typer.Option("--prepare", help="Only make the folder, to record into it by other means.")
]


def again(
    name: NameArgument,
    strings: StringsOption = None,
    removed: RemovedOption = None,
    thoroughness: ThoroughOption = None,
    final: FinalOption = False,
    prepare: PrepareOption = False,
    input_name: InputOption = None,
    rate: RateOption = None,
    channel: ChannelOption = 1,
    tones: TonesOption = True,
    plain: PlainOption = False,
    jobs: JobsOption = None,
) -> None:
    """Go on after filing: same settings, only the strings you name.

    What was heard before is built in. Of a job, the pass is filed at the end.

    Example: pitchcheck again parlour --strings 3 --removed "3=0.10 mm"
    """
    from pitchcheck.session.new_folder import takes_text, write_new
    from pitchcheck.session.rows import TAKES
    from pitchcheck.session.settings import SETTINGS
    from pitchcheck.workflow.again import again_with_folder, again_with_job
    from pitchcheck.workflow.jobs.add_pass import parse_removed
    from pitchcheck.workflow.listen.start import check_course

    chosen = None if strings is None else string_numbers(strings)
    off = [parse_removed(text) for text in removed or ()]
    usual = thoroughness or Thoroughness.BASE
    is_folder = jobs is None and (Path(name) / SETTINGS).is_file()
    if is_folder and final:
        raise WrongCall(f"--final belongs to a job, and {name} is a session folder. Leave it out.")
    if is_folder:
        job = None
        ready = again_with_folder(Path(name), strings=chosen, removed=off, thoroughness=usual)
    else:
        job = find(name, jobs)
        ready = again_with_job(job, strings=chosen, removed=off, thoroughness=usual)
    asked = strings is not None or thoroughness is not None
    if asked and not ready.made:
        check_course(ready.folder, ready.start.planned)
    say(f"{'Made' if ready.made else 'Goes on in'} {ready.folder}, after {ready.before.name}.")
    for line in ready.start.words:
        say(line)
    if prepare:
        write_new(ready.folder, {TAKES: takes_text(ready.start.planned)})
        then = f"job add {job.name}" if job is not None else "measure"
        say(f'Record the takes that takes.csv lists into it, then: pitchcheck {then} "{ready.folder}"')
        return
    done, status = sit(
        ready.folder,
        planned=ready.start.planned,
        replan=asked,
        source=Source(input_name, rate, channel),
        tones=tones,
        plain=plain,
    )
    later = f'To go on: pitchcheck again "{name}"'
    finish(done, status, job=None if job is None else str(job), later=later, final=final)
