"""The pages of the bench and what their buttons do; those of jobs are in ``job_pages``.

Conventions: every address begins with the token (``guard``). Nothing is changed by GET. A refusal that can be
acted on is shown as a page.
"""

from __future__ import annotations

import json
from collections.abc import AsyncIterator
from pathlib import Path

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response, StreamingResponse
from starlette.routing import Mount, Route

from pitchcheck.bench import forms, job_work
from pitchcheck.bench.folders import check_kind, check_name, list_sessions, new_session, was_played
from pitchcheck.bench.guard import Guard
from pitchcheck.bench.job_pages import JobPages
from pitchcheck.bench.page_kit import Bench, PageKit, missing, report_response
from pitchcheck.bench.page_words import on_page
from pitchcheck.bench.runner import Begin, as_keys
from pitchcheck.bench.templating import STATIC, static
from pitchcheck.bench.worker import Refused, refused
from pitchcheck.course import Thoroughness
from pitchcheck.errors import BadValue, NothingMeasured, PitchcheckError
from pitchcheck.jobs.read import list_jobs
from pitchcheck.jobs.records import JobLine
from pitchcheck.session.gauge_entry import add_gauge
from pitchcheck.session.presets import presets
from pitchcheck.session.settings import read_settings
from pitchcheck.units import length_mm
from pitchcheck.workflow import recordings
from pitchcheck.workflow.listen.start import start_session


def make_app(bench: Bench, *, port: int) -> Guard:
    """Return the application, guarded."""
    pages = Pages(bench)
    routes = [
        *JobPages(bench).routes(),
        Route("/", pages.start),
        Route("/static/{name}", pages.static),
        Route("/events", pages.events),
        Route("/sessions", pages.new, methods=["POST"]),
        Route("/input", pages.choose_input, methods=["POST"]),
        Route("/try", pages.try_input, methods=["POST"]),
        Route("/recordings", pages.recordings, methods=["POST"]),
        Route("/session/{name}", pages.session),
        Route("/session/{name}/open", pages.open, methods=["POST"]),
        Route("/session/{name}/press", pages.press, methods=["POST"]),
        Route("/session/{name}/stop", pages.stop, methods=["POST"]),
        Route("/session/{name}/gauge", pages.gauge, methods=["POST"]),
        Route("/session/{name}/filed", pages.filed, methods=["POST"]),
        Route("/session/{name}/nut", pages.nut),
        Route("/session/{name}/report", pages.report),
        Route("/session/{name}/takes", pages.takes),
        Route("/session/{name}/takes", pages.correct, methods=["POST"]),
    ]
    return Guard(Starlette(routes=[Mount(f"/{bench.token}", routes=routes)]), token=bench.token, port=port)


class Pages(PageKit):
    """Handlers of the addresses."""

    # -- pages

    async def start(self, request: Request) -> Response:
        """Show the sessions, a new one, the input, and where recordings are dropped."""
        return await run_in_threadpool(self._start_page)

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

    async def static(self, request: Request) -> Response:
        """Give the style sheet or the script."""
        name = request.path_params["name"]
        if name not in STATIC:
            return missing()
        return Response(static(name), media_type=STATIC[name])

    async def events(self, request: Request) -> Response:
        """Stream the state: every part, then each as it changes (server-sent events, WHATWG HTML 9.2)."""

        async def stream() -> AsyncIterator[str]:
            async for news in self._bench.hub.news():
                yield ":\n\n" if news is None else f"event: {news[0]}\ndata: {json.dumps(news[1])}\n\n"

        return StreamingResponse(stream(), media_type="text/event-stream")

    # -- what buttons do

    async def new(self, request: Request) -> Response:
        """Make a session and begin it."""
        form = await request.form(max_fields=forms.MOST_FIELDS, max_files=0)
        try:
            scale = forms.text(form, "scale")
            folder, start = await run_in_threadpool(
                new_session,
                self._bench.root,
                forms.text(form, "name"),
                kind=forms.text(form, "own_kind") or forms.text(form, "kind"),
                scale_mm=length_mm(scale) if scale else None,
                strings=forms.text(form, "strings"),
                only=forms.numbers(forms.text(form, "only")),
                thoroughness=forms.thoroughness(form),
                tuning=forms.text(form, "tuning"),
                aim=forms.aim(form),
                level_frets=forms.ticked(form, "level-frets"),
            )
        except PitchcheckError as error:
            return await run_in_threadpool(self._start_page, refused(error).words)
        return self._begin(Begin(folder, start.planned, words=" ".join(start.words)))

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
        return self._begin(begin)

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
        form = await request.form(max_fields=12, max_files=0)
        try:
            entry = forms.gauge(form)
            await run_in_threadpool(add_gauge, folder, entry)
        except (PitchcheckError, OSError) as error:
            return JSONResponse({"said": refused(error).words}, status_code=400)
        self._bench.runner.measure(folder)
        return JSONResponse({"said": forms.gauge_words(entry)})

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
        return self._begin(begin)

    async def choose_input(self, request: Request) -> Response:
        """Choose the input that sessions listen to."""
        form = await request.form(max_fields=4, max_files=0)
        try:
            self._bench.runner.input = forms.chosen_input(form)
        except BadValue as error:
            return await run_in_threadpool(self._start_page, refused(error).words)
        return self.to("#input")

    async def try_input(self, request: Request) -> Response:
        """Try the input: the room, then a few plucks. What is found comes as an event."""
        if self._bench.runner.busy or not self._bench.tries.begin(self._bench.runner.input):
            return JSONResponse({"said": "The input is in use. End the session first."}, status_code=409)
        return JSONResponse({"said": ""})

    async def recordings(self, request: Request) -> Response:
        """Keep recordings that were dropped on the page, and label and measure them."""
        form = await request.form(
            max_fields=12, max_files=forms.MOST_FILES, max_part_size=forms.MOST_PART_BYTES
        )
        files = forms.files(form, "files")
        try:
            name = check_name(forms.text(form, "name"))
            scale = forms.text(form, "scale")
            said = recordings.MemoWish(
                kind=check_kind(forms.text(form, "kind")),
                scale_mm=length_mm(scale) if scale else None,
                tuning=forms.text(form, "tuning") or None,
                course=forms.text(form, "course") or None,
            )
            paths = await run_in_threadpool(
                recordings.keep_uploads,
                self._bench.root,
                name,
                [(item.filename or "", item.file) for item in files],
            )
            found = await self.worked(job_work.label_recordings, paths, said)
        except (PitchcheckError, OSError) as error:
            return await run_in_threadpool(self._start_page, refused(error).words)
        finally:
            await form.close()
        if isinstance(found, Refused):
            return await run_in_threadpool(self._start_page, found.words)
        return self.to(f"session/{found.name}/takes")

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

    def _start_page(self, words: str = "") -> HTMLResponse:
        inputs, trouble = _inputs()
        places = self._bench.places
        return self.page(
            "start.jinja",
            sessions=list_sessions(self._bench.root),
            kinds=[(preset.name, preset.words) for preset in presets()],
            courses=list(Thoroughness),
            inputs=inputs,
            input_trouble=trouble,
            chosen=self._bench.runner.input,
            under_way=self._bench.runner.name if self._bench.runner.busy else "",
            jobs=_jobs(places.jobs),
            words=words,
            status=400 if words else 200,
        )

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

    def _begin(self, begin: Begin) -> Response:
        if not self._bench.runner.begin(begin):
            words = "Another session is under way. End it first."
            return self.session_trouble(begin.folder, Refused(words), status=409)
        return self.to(f"session/{begin.name or begin.folder.name}")

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


def _inputs() -> tuple[list[tuple[str, str]], str]:
    """Return number and words of every input, or why there is none."""
    from pitchcheck.workflow.inputs import describe_inputs

    try:
        lines = describe_inputs()
    except PitchcheckError as error:
        return [], on_page(str(error))
    return [(line.split()[0], line.split(None, 1)[1]) for line in lines], ""


def _jobs(place: Path) -> tuple[JobLine, ...]:
    """Return the jobs there are; none where their place cannot be read."""
    try:
        return list_jobs(place)
    except PitchcheckError:
        return ()
