"""``measure_folder``: one session folder through all the stages."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from pitchcheck.copies import set_copies_aside
from pitchcheck.errors import NothingMeasured, Problem
from pitchcheck.fit.problem import FitPass
from pitchcheck.instrument import Instrument
from pitchcheck.jobs.errors import JobDamaged, NewerFormat
from pitchcheck.jobs.layout import JOB, PASS
from pitchcheck.jobs.read import read_job, read_pass
from pitchcheck.jobs.records import StoredPass
from pitchcheck.jobs.verify import pass_is_sound
from pitchcheck.measurement import Measurement
from pitchcheck.placing import check_places
from pitchcheck.session.folder import Session, read_session
from pitchcheck.session.rows import READINGS
from pitchcheck.session.settings import SETTINGS
from pitchcheck.survey import build_survey
from pitchcheck.workflow.hear import Pass, hear_takes, takes_from_readings
from pitchcheck.workflow.jobs.result_file import stored_pass
from pitchcheck.workflow.kept_readings import KEPT
from pitchcheck.workflow.progress import Progress
from pitchcheck.workflow.retune import settle_tuning


def measure_folder(
    folder: str | Path, *, progress: Progress | None = None, workers: int = 1, keep: bool = False
) -> Measurement:
    """Measure the instrument that a session folder describes.

    Parameters
    ----------
    folder : str or Path
        Holds ``session.toml`` and ``takes.csv`` with sound files, or ``readings.csv`` (docs/formats.md).
    progress : Progress, optional
        Told how far the work has come.
    workers : int >= 1
        Processes that read sound at once. More than one needs a script that may be imported again
        (``if __name__ == "__main__":``).
    keep : bool
        Keeps in the folder what was read of the sound, so that it is not heard again; else nothing is
        written.

    Returns
    -------
    Measurement
        Every string of the settings is in its plan; bad takes are listed in ``problems``. ``fit`` and
        ``survey`` are None when no string could be measured.

    Raises
    ------
    NothingMeasured
        If the settings cannot be used; carries every fault found in them.
    """
    session = read_session(Path(folder))
    this = hear_pass(session, workers=workers, progress=progress, keep=keep)
    before, faults = _earlier(session, workers=workers)
    problems = (*this.problems, *faults)
    if progress is not None:
        progress(len(this.takes), len(this.takes), "fitting")
    return conclude(this, before, problems)


def quickly_measured(folder: Path) -> bool:
    """Whether a folder holds or keeps readings, so that measuring it takes seconds: no sound is heard."""
    return (folder / READINGS).is_file() or (folder / KEPT).is_file()


def hear_pass(
    session: Session, *, workers: int, progress: Progress | None = None, keep: bool = False
) -> Pass:
    """Takes of one folder, heard, placed and compared."""
    session = settle_tuning(session)
    problems = session.problems
    if session.readings:
        takes = takes_from_readings(session.readings)
    else:
        heard = hear_takes(session, workers=workers, progress=progress, keep=keep)
        takes, problems = heard.takes, (*problems, *heard.problems)
    takes = check_places(set_copies_aside(takes), instrument=session.settings.instrument)
    in_order = tuple(sorted(problems, key=lambda fault: (fault.file != SETTINGS, fault.row or 0)))
    return Pass(session, takes, build_survey(takes), in_order)


def _earlier(session: Session, *, workers: int) -> tuple[tuple[FitPass, ...], tuple[Problem, ...]]:
    """Return the passes before this one, earliest first, and their faults under their folders' names."""
    passes: list[FitPass] = []
    faults: list[Problem] = []
    seen = {session.folder.resolve()}
    now = session
    while now.before is not None:
        folder = now.before
        if folder.resolve() in seen:
            limit = "the passes before one another go round in a circle"
            faults.append(
                Problem(SETTINGS, None, "before.folder", folder.name, limit, "Correct one of them.")
            )
            break
        seen.add(folder.resolve())
        try:
            passed = _sealed(folder) or hear_pass(read_session(folder), workers=workers, progress=None)
        except NothingMeasured as error:
            faults += _renamed(error.problems, folder)
            break
        faults += _renamed(passed.problems, folder)
        if not same_instrument(passed.session.settings.instrument, session.settings.instrument):
            limit = "its scale or its strings are not those of this pass"
            action = "Correct one of the two settings; that pass was left out."
            faults.append(Problem(SETTINGS, None, "before.folder", folder.name, limit, action))
            break
        passes.insert(0, fit_pass(passed))
        now = passed.session
    return tuple(passes), tuple(faults)


def _sealed(folder: Path) -> Pass | None:
    """Return a pass of a job as it was heard, if every byte of it is as it was sealed; else None."""
    if not (folder / PASS).is_file() or not pass_is_sound(folder):
        return None
    try:
        stored = _of_its_job(folder) or read_pass(folder)
        heard = stored_pass(stored)
        return replace(heard, session=replace(heard.session, before=read_session(folder).before))
    except (JobDamaged, NewerFormat):
        return None


def _of_its_job(folder: Path) -> StoredPass | None:
    """Return a pass as the job around it tells it, gauge readings too; None where there is no job."""
    job = folder.resolve().parent.parent
    if not (job / JOB).is_file():
        return None
    return next((one for one in read_job(job).passes if one.folder.name == folder.resolve().name), None)


def fit_pass(passed: Pass) -> FitPass:
    """Return a pass as the fit takes it."""
    return FitPass(passed.session.settings, passed.survey)


def same_instrument(one: Instrument, other: Instrument) -> bool:
    """Whether two descriptions can be of one instrument: the same scale, the same strings and notes."""
    strings = [[(s.number, s.note) for s in instrument.strings] for instrument in (one, other)]
    return one.scale_mm == other.scale_mm and strings[0] == strings[1]


def _renamed(problems: tuple[Problem, ...], folder: Path) -> tuple[Problem, ...]:
    """Return faults of another folder under its name."""
    return tuple(replace(fault, file=f"{folder.name}/{fault.file}") for fault in problems)


def conclude(this: Pass, before: Sequence[FitPass], problems: tuple[Problem, ...]) -> Measurement:
    """From comparisons to the measurement; ``before`` are earlier passes, ``problems`` those of all."""
    from pitchcheck.diagnosis import diagnose
    from pitchcheck.diagnosis.heard import find_wrong_notes
    from pitchcheck.diagnosis.suspicion import find_suspects
    from pitchcheck.fit import fit_instrument
    from pitchcheck.judgement import bar_filing, judge_slots
    from pitchcheck.plan import make_plan
    from pitchcheck.plan.lengths import lengths_worth_telling
    from pitchcheck.plan.next_takes import next_takes

    settings, survey = this.session.settings, this.survey
    notices = this.session.notices
    if not any(one.stopped or one.leaves for one in (survey, *(earlier.survey for earlier in before))):
        findings = tuple(find_wrong_notes(this.takes))
        plan = make_plan(settings, None, findings)
        return Measurement(settings, this.takes, None, None, findings, plan, problems, notices)
    fit = fit_instrument(settings, survey, before=before)
    slots = judge_slots(settings, fit)
    found = diagnose(settings, survey, fit, this.takes, slots=slots)
    slots = bar_filing(slots, fit=fit, findings=found.findings, survey=survey)
    upcoming = next_takes(settings, survey, fit, slots)
    plan = make_plan(
        settings,
        fit,
        found.findings,
        slots=slots,
        survey=survey,
        upcoming=upcoming,
        lengths=lengths_worth_telling(settings, fit, slots),
    )
    return Measurement(
        settings,
        this.takes,
        survey,
        fit,
        found.findings,
        plan,
        problems,
        notices,
        questions=found.questions,
        suspects=find_suspects(survey, fit, slots),
    )
