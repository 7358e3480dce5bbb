"""The start page and what its forms do: a new session, the input, recordings that were dropped.

Conventions: as in ``app``. A refusal is shown on the start page itself.
"""

from __future__ import annotations

from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.routing import Route

from pitchcheck.bench import forms, job_work
from pitchcheck.bench.folders import check_name, list_sessions
from pitchcheck.bench.new_session import check_kind, new_session
from pitchcheck.bench.page_kit import PageKit
from pitchcheck.bench.page_words import on_page
from pitchcheck.bench.runner import Begin
from pitchcheck.bench.worker import Refused, refused
from pitchcheck.course import Thoroughness
from pitchcheck.errors import BadValue, PitchcheckError
from pitchcheck.jobs.read import list_jobs
from pitchcheck.jobs.records import JobLine
from pitchcheck.session.presets import presets
from pitchcheck.units import length_mm
from pitchcheck.workflow import recordings


class StartPages(PageKit):
    """Handlers of the addresses of the start page."""

    def routes(self) -> list[Route]:
        """Return the addresses."""
        return [
            Route("/", self.start),
            Route("/sessions", self.new, methods=["POST"]),
            Route("/input", self.choose_input, methods=["POST"]),
            Route("/try", self.try_input, methods=["POST"]),
            Route("/recordings", self.recordings, methods=["POST"]),
        ]

    async def start(self, request: Request) -> Response:
        """Show the sessions, a new one, the input, and where recordings are dropped."""
        return await run_in_threadpool(self._start_page)

    async def new(self, request: Request) -> Response:
        """Make a session and begin it."""
        form = await request.form(max_fields=forms.MOST_FIELDS, max_files=0)
        try:
            folder, start = await run_in_threadpool(
                new_session,
                self._bench.root,
                forms.text(form, "name"),
                kind=forms.text(form, "own_kind") or forms.text(form, "kind"),
                scale=forms.text(form, "scale"),
                strings=forms.text(form, "strings"),
                only=forms.numbers(forms.text(form, "only")),
                thoroughness=forms.thoroughness(form),
                tuning=forms.text(form, "tuning"),
                aim=forms.aim(form),
                level_frets=forms.ticked(form, "level-frets"),
            )
        except PitchcheckError as error:
            return await run_in_threadpool(self._start_page, refused(error).words)
        return self.begin(Begin(folder, start.planned, words=" ".join(start.words)))

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
                scale=scale or None,
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
