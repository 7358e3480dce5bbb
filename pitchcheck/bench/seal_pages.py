"""A session sealed into a job as a pass: how it is asked for, and done.

Conventions: as in ``app``, with what ``pitchcheck job add`` calls.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import Route

from pitchcheck.bench import forms, job_work
from pitchcheck.bench.page_kit import PageKit, missing, now
from pitchcheck.bench.worker import Refused, refused
from pitchcheck.errors import BadValue, PitchcheckError
from pitchcheck.jobs.read import list_jobs
from pitchcheck.jobs.records import PassKind
from pitchcheck.jobs.write import new_job
from pitchcheck.session.settings import read_settings


class SealPages(PageKit):
    """Handlers of the addresses under which a session is sealed."""

    def routes(self) -> list[Route]:
        """Return the addresses."""
        at = "/session/{name}/seal"
        return [Route(at, self.seal_form), Route(at, self.seal, methods=["POST"])]

    async def seal_form(self, request: Request) -> Response:
        """Ask how a session is to enter a job."""
        folder = self.session_folder(request)
        if folder is None:
            return missing()
        return await run_in_threadpool(self._seal_page, folder, {}, None)

    async def seal(self, request: Request) -> Response:
        """Seal a session into a job as a pass; a new job is made if its title was given."""
        folder, runner = self.session_folder(request), self._bench.runner
        if folder is None:
            return missing()
        if runner.busy and runner.folder == folder:
            return self.session_trouble(folder, Refused("End the session first."), status=409)
        form = await request.form(max_fields=200, max_files=forms.MOST_FILES)
        filled = forms.fields(form)
        try:
            with forms.kept_for_now(forms.files(form, "photos")) as photos:
                job = await run_in_threadpool(self._job_for, form)
                filled |= {"job": job.name, "title": ""}
                said = await run_in_threadpool(_sealing, folder, form, photos)
                found = await self.worked(job_work.seal, job, folder, said, now())
        except (PitchcheckError, OSError) as error:
            found = refused(error)
        finally:
            await form.close()
        if isinstance(found, Refused):
            return await run_in_threadpool(self._seal_page, folder, filled, found)
        return self.to(f"job/{job.name}?sealed={found.number}")

    def _seal_page(self, folder: Path, filled: dict[str, Any], found: Refused | None) -> HTMLResponse:
        places = self._bench.places
        try:
            strings = read_settings(folder).settings.instrument.strings
            jobs = list_jobs(places.jobs)
        except PitchcheckError as error:
            return self.session_trouble(folder, error)
        own = places.job_of(folder)
        if own is not None:
            filled = {"job": own.name} | filled
        empty = dict.fromkeys(("job", "title", "kind", "remarks", "changed", "anyway"), "")
        return self.page(
            "seal.jinja",
            session=places.name(folder),
            shown=folder.name,
            strings=sorted(strings, key=lambda spec: spec.number),
            jobs=[job for job in jobs if job.fault is None],
            kinds=list(PassKind),
            filled=empty | filled,
            words="" if found is None else found.words,
            confirm=found is not None and found.confirm,
            status=200 if found is None else 400,
        )

    def _job_for(self, form: FormData) -> Path:
        """Return the job that was chosen, or a new one by its title."""
        if forms.text(form, "title"):
            return new_job_of(self._bench.places.jobs, form)
        job = self._bench.places.job(forms.text(form, "job"))
        if job is None:
            raise BadValue("Choose a job, or give a title for a new one.")
        return job


def new_job_of(jobs: Path, form: FormData) -> Path:
    """Make a job as a form says it."""
    said = {key: forms.text(form, key) or None for key in ("instrument", "serial", "customer")}
    return new_job(
        jobs,
        title=forms.text(form, "title"),
        now=now(),
        owner_words=forms.text(form, "owner-words") or None,
        **said,
    ).folder


def _sealing(folder: Path, form: FormData, photos: list[Path]) -> job_work.Sealing:
    """Return how a session is to enter a job."""
    removed, _ = forms.filed(form, read_settings(folder).settings.instrument.strings)
    return job_work.Sealing(
        kind=forms.text(form, "kind") or None,
        removed=tuple(removed),
        remarks=forms.text(form, "remarks") or None,
        photos=tuple(photos),
        changed=forms.text(form, "changed") or None,
        anyway=forms.ticked(form, "anyway"),
    )
