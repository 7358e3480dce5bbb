"""The page of a session, and what its buttons and forms do.

Conventions: as in ``app``.
"""

from __future__ import annotations

from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.routing import Route

from pitchcheck.bench import forms, job_work
from pitchcheck.bench.folders import was_played
from pitchcheck.bench.page_kit import PageKit, missing, report_response
from pitchcheck.bench.runner import Begin, as_keys
from pitchcheck.bench.worker import Refused
from pitchcheck.course import Thoroughness
from pitchcheck.errors import BadValue, NothingMeasured, PitchcheckError
from pitchcheck.session.gauge_entry import add_gauge
from pitchcheck.session.settings import read_settings
from pitchcheck.workflow import recordings
from pitchcheck.workflow.listen.start import start_session


class SessionPages(PageKit):
    """Handlers of the addresses of sessions."""

    def routes(self) -> list[Route]:
        """Return the addresses."""
        post, at = ["POST"], "/session/{name}"
        return [
            Route(at, self.session),
            Route(f"{at}/open", self.open, methods=post),
            Route(f"{at}/press", self.press, methods=post),
            Route(f"{at}/stop", self.stop, methods=post),
            Route(f"{at}/gauge", self.gauge, methods=post),
            Route(f"{at}/filed", self.filed, methods=post),
            Route(f"{at}/nut", self.nut),
            Route(f"{at}/report", self.report),
            Route(f"{at}/takes", self.takes),
            Route(f"{at}/takes", self.correct, methods=post),
        ]

    async def session(self, request: Request) -> Response:
        """Show one session: what to play, the nut so far, what can be done."""
        folder = self.session_folder(request)
        return missing() if folder is None else await run_in_threadpool(self._session_page, folder)

    async def nut(self, request: Request) -> Response:
        """Give the nut as it is known so far, as a piece of the page."""
        folder, runner = self.session_folder(request), self._bench.runner
        if folder is None:
            return missing()
        if runner.folder == folder:
            return HTMLResponse("") if runner.nut is None else self.page("nut.jinja", nut=runner.nut)
        found = await self.worked(job_work.session_now, folder)
        return (
            self.page("said.jinja", words=found.words) if isinstance(found, Refused) else HTMLResponse(found)
        )

    async def report(self, request: Request) -> Response:
        """Give the report of a session as it stands."""
        folder = self.session_folder(request)
        if folder is None:
            return missing()
        page = await self.worked(job_work.session_report_page, folder)
        return self.session_trouble(folder, page) if isinstance(page, Refused) else report_response(page)

    async def takes(self, request: Request) -> Response:
        """Show what was found where in the recordings of a session, to be corrected."""
        folder = self.session_folder(request)
        return missing() if folder is None else await run_in_threadpool(self._takes_page, folder)

    async def open(self, request: Request) -> Response:
        """Begin a session again, or go on with it."""
        folder = self.session_folder(request)
        if folder is None:
            return missing()
        form = await request.form(max_fields=forms.MOST_FIELDS, max_files=0)
        try:
            begin = await run_in_threadpool(self._opened, folder, form)
        except PitchcheckError as error:
            return self.session_trouble(folder, error)
        return self.begin(begin)

    async def press(self, request: Request) -> Response:
        """Press a button of the session that is under way."""
        folder, form = self.session_folder(request), await request.form(max_fields=4, max_files=0)
        keys = as_keys(forms.text(form, "key"))
        if folder is None or keys is None or folder != self._bench.runner.folder:
            return missing()
        self._bench.runner.press(keys)
        return JSONResponse({"pressed": keys})

    async def stop(self, request: Request) -> Response:
        """Break the session off; what was accepted is kept."""
        folder = self.session_folder(request)
        if folder is None or folder != self._bench.runner.folder:
            return missing()
        await run_in_threadpool(self._bench.runner.stop)
        return self.to(f"session/{self._bench.places.name(folder)}")

    async def gauge(self, request: Request) -> Response:
        """Write a gauge or leaf reading down."""
        folder = self.session_folder(request)
        if folder is None:
            return missing()
        answer = await self.write_gauge(request, folder, add_gauge)
        if answer.status_code == 200:
            self._bench.runner.measure(folder)
        return answer

    async def filed(self, request: Request) -> Response:
        """Begin the next pass: what was removed, and the strings to be heard again."""
        folder = self.session_folder(request)
        if folder is None:
            return missing()
        form = await request.form(max_fields=200, max_files=0)
        try:
            begin = await run_in_threadpool(self._next_pass, folder, form)
        except PitchcheckError as error:
            return self.session_trouble(folder, error)
        return self.begin(begin)

    async def correct(self, request: Request) -> Response:
        """Write corrected places of takes back and measure again."""
        folder = self.session_folder(request)
        if folder is None:
            return missing()
        if self._bench.runner.busy and self._bench.runner.folder == folder:
            words = "End the session first."
            return self.session_trouble(folder, Refused(words), status=409)
        form = await request.form(max_fields=forms.MOST_FIELDS, max_files=0)
        try:
            changed = {key: str(value) for key, value in form.multi_items() if isinstance(value, str)}
            await run_in_threadpool(recordings.correct_takes, folder, changed)
        except (PitchcheckError, OSError) as error:
            return self.session_trouble(folder, error)
        return self.to(f"session/{self._bench.places.name(folder)}/report")

    # -- helpers

    def _session_page(self, folder: Path) -> HTMLResponse:
        try:
            instrument = read_settings(folder).settings.instrument
        except NothingMeasured as error:
            return self.session_trouble(folder, error)
        runner = self._bench.runner
        here = runner.folder == folder
        return self.page(
            "session.jinja",
            session=self._bench.places.name(folder),
            shown=folder.name,
            job=self._job_of(folder),
            courses=list(Thoroughness),
            instrument=instrument,
            strings=sorted(instrument.strings, key=lambda spec: spec.number),
            here=here,
            busy=here and runner.busy,
            played=was_played(folder),
            nut=runner.nut if here else None,
        )

    def _takes_page(self, folder: Path) -> HTMLResponse:
        try:
            view = recordings.takes_view(folder)
        except PitchcheckError as error:
            return self.session_trouble(folder, error)
        return self.page("takes.jinja", session=self._bench.places.name(folder), shown=folder.name, view=view)

    def _job_of(self, folder: Path) -> str:
        job = self._bench.places.job_of(folder)
        return "" if job is None else job.name

    def _opened(self, folder: Path, form: FormData) -> Begin:
        """Return a session that goes on; another course is played only if it was asked for."""
        only = forms.numbers(forms.text(form, "only"))
        asked = bool(only or forms.text(form, "course"))
        start = start_session(folder, thoroughness=forms.thoroughness(form), strings=only or None)
        words = " ".join(start.words)
        return Begin(folder, start.planned, replan=asked, name=self._bench.places.name(folder), words=words)

    def _next_pass(self, folder: Path, form: FormData) -> Begin:
        from pitchcheck.workflow.again import again_with_folder

        if self._bench.places.job_of(folder) is not None:
            raise BadValue("This pass is of a job. Seal it into the job, then go on from the job's page.")
        removed, again = forms.filed(form, read_settings(folder).settings.instrument.strings)
        if not again:
            raise BadValue("Say which strings were filed or are to be heard again.")
        found = again_with_folder(
            folder, strings=again, removed=removed, thoroughness=forms.thoroughness(form)
        )
        return Begin(found.folder, found.start.planned, words=" ".join(found.start.words))
