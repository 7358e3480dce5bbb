"""``measure_folder``: one session folder through all the stages."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from pitchcheck.errors import NothingMeasured, Problem
from pitchcheck.fit.result import Fit
from pitchcheck.instrument import SessionSettings
from pitchcheck.measurement import Measurement
from pitchcheck.placing import check_places
from pitchcheck.session.folder import Session, read_session
from pitchcheck.session.settings import SETTINGS
from pitchcheck.survey import Survey, build_survey
from pitchcheck.takes import Take
from pitchcheck.workflow.hear import hear_takes, takes_from_readings
from pitchcheck.workflow.progress import Progress


@dataclass(frozen=True)
class Pass:
    """One folder, heard and compared."""

    session: Session
    takes: tuple[Take, ...]
    survey: Survey
    problems: tuple[Problem, ...]


def measure_folder(folder: str | Path, *, progress: Progress | None = None, workers: int = 1) -> Measurement:
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
    this = hear_pass(session, workers=workers, progress=progress)
    before, faults = _before(session, workers=workers)
    problems = (*this.problems, *faults)
    if progress is not None:
        progress(len(this.takes), len(this.takes), "fitting")
    return conclude(this, before, problems)


def hear_pass(session: Session, *, workers: int, progress: Progress | None = None) -> Pass:
    """Takes of one folder, heard, placed and compared."""
    problems = session.problems
    if session.readings:
        takes = takes_from_readings(session.readings)
    else:
        heard = hear_takes(session, workers=workers, progress=progress)
        takes, problems = heard.takes, (*problems, *heard.problems)
    takes = check_places(takes, instrument=session.settings.instrument)
    in_order = tuple(sorted(problems, key=lambda fault: (fault.file != SETTINGS, fault.row or 0)))
    return Pass(session, takes, build_survey(takes), in_order)


def _before(
    session: Session, *, workers: int
) -> tuple[tuple[SessionSettings, Survey] | None, tuple[Problem, ...]]:
    """Return the pass before this one, and its faults under the name of its folder."""
    if session.before is None:
        return None, ()
    try:
        passed = hear_pass(read_session(session.before), workers=workers, progress=None)
    except NothingMeasured as error:
        return None, _renamed(error.problems, session.before)
    usable = (passed.session.settings, passed.survey) if passed.survey.stopped else None
    return usable, _renamed(passed.problems, session.before)


def _renamed(problems: tuple[Problem, ...], folder: Path) -> tuple[Problem, ...]:
    """Return faults of another folder under its name."""
    return tuple(replace(fault, file=f"{folder.name}/{fault.file}") for fault in problems)


def conclude(
    this: Pass, before: tuple[SessionSettings, Survey] | None, problems: tuple[Problem, ...]
) -> Measurement:
    """From comparisons to the measurement; ``before`` is the pass before, ``problems`` those of both."""
    from pitchcheck.diagnosis import find_causes
    from pitchcheck.diagnosis.heard import find_wrong_notes
    from pitchcheck.judgement import bar_filing, judge_slots
    from pitchcheck.plan import make_plan
    from pitchcheck.plan.next_take import best_take

    settings, survey = this.session.settings, this.survey
    notices = this.session.notices
    if not survey.stopped:
        findings = tuple(find_wrong_notes(this.takes))
        plan = make_plan(settings, None, findings)
        return Measurement(settings, this.takes, None, None, findings, plan, problems, notices)
    fit = _fit(settings, survey, before)
    slots = judge_slots(settings, fit)
    findings = find_causes(settings, survey, fit, this.takes, slots=slots)
    slots = bar_filing(slots, fit=fit, findings=findings, survey=survey)
    upcoming = best_take(settings, survey, fit, slots=slots)
    plan = make_plan(settings, fit, findings, slots=slots, survey=survey, next_take=upcoming)
    return Measurement(settings, this.takes, survey, fit, findings, plan, problems, notices)


def _fit(settings: SessionSettings, survey: Survey, before: tuple[SessionSettings, Survey] | None) -> Fit:
    """Return the joint fit."""
    from pitchcheck.fit import fit_instrument

    return fit_instrument(settings, survey, before=before)
