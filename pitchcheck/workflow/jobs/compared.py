"""Two passes of a job compared, from what is kept of them; nothing is heard again.

Conventions: the passes compared are the first and the last that count, or two that are named. Each string is
taken from the last pass up to either that heard it (before: the first after it, if none did), so that a pass
over one string does not hide what was heard of the others.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from pitchcheck.errors import BadValue
from pitchcheck.jobs.errors import JobDamaged
from pitchcheck.jobs.read import read_job
from pitchcheck.jobs.records import Job, StoredPass
from pitchcheck.jobs.verify import verify_job
from pitchcheck.measurement import Measurement
from pitchcheck.takes import Stop
from pitchcheck.workflow.jobs.result_file import earlier_passes, stored_pass
from pitchcheck.workflow.measure import conclude

if TYPE_CHECKING:
    from pitchcheck.compare import Comparison
    from pitchcheck.compare.records import Repeats
    from pitchcheck.fit.result import Fit


@dataclass(frozen=True)
class Compared:
    """Two passes of a job compared.

    Attributes
    ----------
    job : Job
    passes : tuple of StoredPass
        From the one to the other, those set aside left out.
    heard_in : dict of int to tuple of StoredPass
        The two passes that each string was compared in, by number; only strings heard in two.
    after : Measurement
        Of the last of the passes.
    comparison : Comparison
    """

    job: Job
    passes: tuple[StoredPass, ...]
    heard_in: dict[int, tuple[StoredPass, StoredPass]]
    after: Measurement
    comparison: Comparison


def sound_job(folder: Path) -> Job:
    """Return a job whose every byte is as it was written; raise JobDamaged for another.

    A report would vouch for it.
    """
    checked = verify_job(folder)
    if not checked.sound:
        raise JobDamaged(
            f"{folder.name} is not as it was written, so nothing is reported from it. "
            f"See what changed with: pitchcheck job verify {folder.name}"
        )
    return replace(read_job(folder), fingerprint=checked.fingerprint)


def measurement_of(stored: StoredPass, *, before: Sequence[StoredPass] = ()) -> Measurement:
    """Return the measurement of a sealed pass, from its stored readings.

    Parameters
    ----------
    stored : StoredPass
    before : sequence of StoredPass
        The passes before it in the job, in order; what ``[before]`` of the settings names is not followed.

    Raises
    ------
    JobDamaged
        If the stored result cannot be read.
    NothingMeasured
        If its settings cannot be used.
    """
    this = stored_pass(stored)
    return conclude(this, earlier_passes(() if stored.changed else before), this.problems)


def last_measurement(folder: Path) -> Measurement:
    """Return what all passes of a job and its gauge readings tell together; of a job with a pass."""
    counted = read_job(folder).counted
    return measurement_of(counted[-1], before=counted[:-1])


def compare_job(job: Job, *, before: str | None = None, after: str | None = None) -> Compared:
    """Compare two passes of a job: the first and the last, or those named.

    Parameters
    ----------
    job : Job
        With at least two passes that count. What was told to have come off is added up over all passes
        between the two.
    before, after : str, optional
        Names or numbers of passes.

    Raises
    ------
    BadValue
        If there are not two passes, no pass has that name, the two are in the wrong order, or they are not of
        one instrument.
    JobDamaged
        If a stored result cannot be read.
    """
    from pitchcheck.compare import compare_measurements
    from pitchcheck.compare.records import HeardIn

    passes = job.counted
    start, end = _chosen(job, before, after)
    heard = [{s.take.position.string for s in stored_pass(p).survey.stopped} for p in passes]

    @cache
    def measured(index: int) -> Measurement:
        return measurement_of(passes[index], before=passes[:index])

    @cache
    def compared(first: int, last: int) -> Comparison:
        told = [removal for one in passes[first + 1 : last + 1] for removal in one.removed]
        return compare_measurements(measured(first), measured(last), told=told)

    last_measured = measured(end)
    pairs: dict[int, tuple[int, int]] = {}
    for spec in last_measured.settings.instrument.strings:
        told_in = [i for i in range(end + 1) if spec.number in heard[i]]
        early = [i for i in told_in if i <= start] or [i for i in told_in[:1] if i < end]
        pairs[spec.number] = (early[-1] if early else start, told_in[-1] if told_in else end)
    pairs = {n: (first, last) if first < last else (start, end) for n, (first, last) in pairs.items()}
    usual = max(sorted(set(pairs.values())), key=list(pairs.values()).count)
    comparison = _joined(
        {n: compared(*pair) for n, pair in pairs.items()},
        compared(*usual),
        before=measured(start).fit,
        after=last_measured.fit,
    )
    heard_in = {
        n: (passes[first], passes[last])
        for n, (first, last) in pairs.items()
        if n in heard[first] and n in heard[last]
    }
    named = tuple(
        HeardIn(n, first.name, last.name)
        for n, (first, last) in heard_in.items()
        if (first, last) != (passes[start], passes[end])
    )
    comparison = replace(comparison, heard_in=named)
    return Compared(job, passes[start : end + 1], heard_in, last_measured, comparison)


def _chosen(job: Job, before: str | None, after: str | None) -> tuple[int, int]:
    """Return the places of the two passes among those that count."""
    passes = job.counted
    if len(passes) < 2:
        many = "no pass yet" if not passes else "one pass"
        add = "Add the pass after the work" if passes else f"Listen: pitchcheck listen FOLDER --job {job.id}"
        raise BadValue(f"{job.id} has {many}; two are needed to compare. {add}.")
    found = []
    for word, usual in ((before, passes[0]), (after, passes[-1])):
        stored = usual if word is None else job.find_pass(word)
        if stored.aside is not None:
            raise BadValue(f"pass {stored.name!r} was set aside ({stored.aside.reason}). Name another.")
        found.append(passes.index(stored))
    if found[0] >= found[1]:
        first, last = (passes[i].name for i in found)
        raise BadValue(f"pass {first!r} does not come before {last!r}. Name the earlier pass first.")
    return found[0], found[1]


def _joined(
    of_string: dict[int, Comparison], usual: Comparison, *, before: Fit | None, after: Fit | None
) -> Comparison:
    """Return one comparison with each string from its own.

    What is of no string is that of all together: the repeats of every comparison, the widest scatter, and in
    the fits what all passes up to either end tell of frets, nut and neck.
    """
    if all(one is usual for one in of_string.values()):
        return usual
    every = list({id(one): one for one in (usual, *of_string.values())}.values())
    return replace(
        usual,
        strings=tuple(next(s for s in one.strings if s.number == n) for n, one in of_string.items()),
        repeats=_joined_repeats([one.repeats for one in every]),
        scatter=max(one.scatter for one in every),
        assumptions=tuple(dict.fromkeys(what for one in every for what in one.assumptions)),
        weaknesses=tuple(dict.fromkeys(what for one in every for what in one.weaknesses)),
        before=_joined_fit({n: one.before for n, one in of_string.items()}, before),
        after=_joined_fit({n: one.after for n, one in of_string.items()}, after),
    )


def _joined_repeats(found: Sequence[tuple[Repeats, ...]]) -> tuple[Repeats, ...]:
    """Return the repeats of several comparisons together: pairs added up, scatters by their mean square."""
    from pitchcheck.compare.records import Repeats

    groups: dict[tuple[Stop, int], list[Repeats]] = {}
    for one in (repeats for few in found for repeats in few):
        groups.setdefault((one.stop, one.fret), []).append(one)
    together = []
    for (stop, fret), few in sorted(groups.items()):
        pairs = sum(one.pairs for one in few)
        sd, expected = (
            math.sqrt(sum(one.pairs * sd**2 for one, sd in zip(few, those, strict=True)) / pairs)
            for those in ([one.sd_cents for one in few], [one.expected_cents for one in few])
        )
        together.append(Repeats(stop, fret, pairs, sd, expected))
    return tuple(together)


def _joined_fit(of_string: dict[int, Fit | None], whole: Fit | None) -> Fit | None:
    """Return a fit of a whole pass whose strings are each from its own comparison, where there is one."""
    if whole is None:
        return None
    own = {n: s for n, fit in of_string.items() if fit is not None for s in fit.strings if s.number == n}
    return replace(whole, strings=tuple(own.get(s.number, s) for s in whole.strings))
