"""Jobs on the page: begun, looked at, gone on with, compared, reported, passed on.

Conventions: as in ``app``, with what ``pitchcheck job`` calls; what takes long is done by the worker process.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from starlette.background import BackgroundTask
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import FileResponse, HTMLResponse, Response
from starlette.routing import Route

from pitchcheck.bench import forms, job_work
from pitchcheck.bench.job_view import job_shown, photo_kind, photo_paths
from pitchcheck.bench.page_kit import PageKit, missing, now, report_response
from pitchcheck.bench.runner import Begin
from pitchcheck.bench.seal_pages import new_job_of
from pitchcheck.bench.worker import Refused, refused
from pitchcheck.course import Thoroughness
from pitchcheck.errors import PitchcheckError
from pitchcheck.jobs.read import read_job
from pitchcheck.jobs.records import find_step
from pitchcheck.jobs.write import add_note, record_step, set_pass_aside
from pitchcheck.workflow.again import again_with_job
from pitchcheck.workflow.jobs.gauge import add_job_gauge


class JobPages(PageKit):
    """Handlers of the addresses of jobs."""

    def routes(self) -> list[Route]:
        """Return the addresses."""
        post = ["POST"]
        return [
            Route("/jobs", self.new, methods=post),
            Route("/import", self.read_archive, methods=post),
            Route("/job/{id}", self.job),
            Route("/job/{id}/now", self.state_now),
            Route("/job/{id}/change", self.change),
            Route("/job/{id}/report", self.report),
            Route("/job/{id}/photo/{number:int}", self.photo),
            Route("/job/{id}/check", self.check),
            Route("/job/{id}/archive", self.archive),
            Route("/job/{id}/again", self.again, methods=post),
            Route("/job/{id}/note", self.note, methods=post),
            Route("/job/{id}/step", self.step, methods=post),
            Route("/job/{id}/tidy", self.tidy, methods=post),
            Route("/job/{id}/set-aside", self.set_aside, methods=post),
            Route("/job/{id}/gauge", self.gauge, methods=post),
        ]

    # -- pages

    async def job(self, request: Request) -> Response:
        """Show a job: how it is now, before and after, passes, what can be done."""
        folder = self._job(request)
        return missing() if folder is None else await run_in_threadpool(self._job_page, folder, request)

    async def state_now(self, request: Request) -> Response:
        """Give how the instrument is now, as a piece of the page."""
        return await self._piece(request, job_work.job_now)

    async def change(self, request: Request) -> Response:
        """Give two passes against one another, as a piece of the page."""
        asked = [request.query_params.get(key) or None for key in ("before", "after")]
        return await self._piece(request, job_work.job_change, *asked)

    async def report(self, request: Request) -> Response:
        """Give the report of a job."""
        folder, asked = self._job(request), request.query_params
        if folder is None:
            return missing()
        wanted = job_work.ReportWanted(
            reader=asked.get("for") or "tech",
            names=not asked.get("without-names"),
            sound=not asked.get("without-sound"),
            workshop=asked.get("workshop") or None,
            signature=bool(asked.get("signature")),
            before=asked.get("before") or None,
            after=asked.get("after") or None,
        )
        page = await self.worked(job_work.job_report_page, folder, wanted, now())
        return self._job_trouble(folder, page) if isinstance(page, Refused) else report_response(page)

    async def photo(self, request: Request) -> Response:
        """Give a picture of a job, by its number."""
        folder = self._job(request)
        paths = [] if folder is None else photo_paths(await run_in_threadpool(read_job, folder))
        number = int(request.path_params["number"])
        if number >= len(paths) or not photo_kind(paths[number]):
            return missing()
        return FileResponse(paths[number], media_type=photo_kind(paths[number]))

    async def check(self, request: Request) -> Response:
        """Compare every byte of a job with its sums, and say what that proves."""
        folder = self._job(request)
        if folder is None:
            return missing()
        known = request.query_params.get("fingerprint", "").strip()
        lines = await self.worked(job_work.check_lines, folder, known)
        if isinstance(lines, Refused):
            return self._job_trouble(folder, lines)
        return self.page("job_check.jinja", job=folder.name, lines=lines, fingerprint=known)

    async def archive(self, request: Request) -> Response:
        """Give a job as one archive."""
        folder, asked = self._job(request), request.query_params
        if folder is None:
            return missing()
        place = TemporaryDirectory(prefix="pitchcheck-")  # removed when the answer was sent
        names, title = not asked.get("without-names"), asked.get("title") or None
        target = Path(place.name) / "job.zip"
        done = await self.worked(job_work.write_archive, folder, target, names, not asked.get("trim"), title)
        if isinstance(done, Refused):
            place.cleanup()
            return self._job_trouble(folder, done)
        name = f"{folder.name}.zip" if names else "job.zip"
        return FileResponse(
            target, filename=name, media_type="application/zip", background=BackgroundTask(place.cleanup)
        )

    # -- what buttons do

    async def new(self, request: Request) -> Response:
        """Make a job."""
        form = await request.form(max_fields=12, max_files=0)
        try:
            made = await run_in_threadpool(new_job_of, self._bench.places.jobs, form)
        except PitchcheckError as error:
            return self.trouble(refused(error).words, back="", name="the start page")
        return self.to(f"job/{made.name}")

    async def read_archive(self, request: Request) -> Response:
        """Unpack an exported job that was uploaded; nothing that is there is replaced."""
        form = await request.form(max_fields=4, max_files=1)
        try:
            uploads = forms.files(form, "archive")
            if not uploads:
                return self.trouble("No archive was chosen.", back="", name="the start page")
            with forms.kept_for_now(uploads) as paths:
                found = await self.worked(job_work.read_archive, self._bench.places.jobs, paths[0])
        finally:
            await form.close()
        if isinstance(found, Refused):
            return self.trouble(found.words, back="", name="the start page")
        return self.to(f"job/{found}")

    async def again(self, request: Request) -> Response:
        """Begin the next pass of a job, or go on with it."""
        folder = self._job(request)
        if folder is None:
            return missing()
        form = await request.form(max_fields=200, max_files=0)
        try:
            begin = await run_in_threadpool(self._next_pass, folder, form)
        except PitchcheckError as error:
            return self._job_trouble(folder, refused(error))
        if not self._bench.runner.begin(begin):
            return self._job_trouble(
                folder, Refused("Another session is under way. End it first."), status=409
            )
        return self.to(f"session/{begin.name}")

    async def note(self, request: Request) -> Response:
        """Add a bench note."""

        def write(folder: Path, form: FormData, _: list[Path]) -> None:
            add_note(folder, forms.text(form, "words"), now=now())

        return await self._write(request, write, at="notes")

    async def step(self, request: Request) -> Response:
        """Mark a step of the checklist, with a picture if one was chosen."""

        def write(folder: Path, form: FormData, photos: list[Path]) -> None:
            record_step(
                folder,
                find_step(forms.text(form, "step")),
                now=now(),
                done=forms.text(form, "mark") != "undo",
                note=forms.text(form, "note") or None,
                measured=forms.text(form, "measured") or None,
                photo=photos[0] if photos else None,
            )

        return await self._write(request, write, at="checklist")

    async def set_aside(self, request: Request) -> Response:
        """Let a pass no longer count."""

        def write(folder: Path, form: FormData, _: list[Path]) -> None:
            set_pass_aside(folder, forms.text(form, "pass"), reason=forms.text(form, "reason"), now=now())

        return await self._write(request, write, at="passes")

    async def tidy(self, request: Request) -> Response:
        """Finish a write that was cut short, and show what others left; nothing is removed."""
        folder = self._job(request)
        if folder is None:
            return missing()
        lines = await self.worked(job_work.tidy_lines, folder)
        if isinstance(lines, Refused):
            return self._job_trouble(folder, lines)
        return self.page("job_tidy.jinja", job=folder.name, lines=lines)

    async def gauge(self, request: Request) -> Response:
        """Keep a gauge or leaf reading beside the passes."""
        folder = self._job(request)
        if folder is None:
            return missing()
        return await self.write_gauge(request, folder, partial(add_job_gauge, now=now()))

    # -- helpers

    def _job(self, request: Request) -> Path | None:
        return self._bench.places.job(request.path_params["id"])

    def _job_trouble(self, folder: Path, found: Refused, *, status: int = 400) -> HTMLResponse:
        return self.trouble(found.words, back=f"job/{folder.name}", name=folder.name, status=status)

    async def _piece(self, request: Request, work: Callable[..., str], *args: Any) -> Response:
        """Give a piece of a job's page that is worked out."""
        folder = self._job(request)
        if folder is None:
            return missing()
        found = await self.worked(work, folder, *args)
        return (
            self.page("said.jinja", words=found.words) if isinstance(found, Refused) else HTMLResponse(found)
        )

    async def _write(
        self, request: Request, write: Callable[[Path, FormData, list[Path]], None], *, at: str
    ) -> Response:
        """Write something into a job and show it again at the place of the page where it stands."""
        folder = self._job(request)
        if folder is None:
            return missing()
        form = await request.form(max_fields=12, max_files=1)
        try:
            with forms.kept_for_now(forms.files(form, "photo")) as photos:
                await run_in_threadpool(write, folder, form, photos)
        except (PitchcheckError, OSError) as error:
            return self._job_trouble(folder, refused(error))
        finally:
            await form.close()
        return self.to(f"job/{folder.name}#{at}")

    def _job_page(self, folder: Path, request: Request) -> HTMLResponse:
        asked = request.query_params
        try:
            shown = job_shown(read_job(folder))
        except PitchcheckError as error:
            return self.trouble(refused(error).words, back="", name="the start page")
        return self.page(
            "job.jinja",
            job=shown,
            courses=list(Thoroughness),
            before=asked.get("before") or "",
            after=asked.get("after") or "",
            sealed=asked.get("sealed") or "",
        )

    def _next_pass(self, folder: Path, form: FormData) -> Begin:
        places = self._bench.places
        shown = job_shown(read_job(folder))
        removed, again = forms.filed(form, shown.strings) if shown.strings else ([], [])
        found = again_with_job(
            folder, strings=again or None, removed=removed, thoroughness=forms.thoroughness(form)
        )
        words = " ".join(found.start.words)
        return Begin(found.folder, found.start.planned, name=places.name(found.folder), words=words)
