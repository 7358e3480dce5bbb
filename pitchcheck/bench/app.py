"""The pages of the bench and what their buttons do.

Conventions: every address begins with the token (``guard``). Nothing is changed by GET. A refusal that can be
acted on is shown as a page.
"""

from __future__ import annotations

import json
from collections.abc import AsyncIterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response, StreamingResponse
from starlette.routing import Mount, Route

from pitchcheck.bench.folders import check_name, find_session, list_sessions, new_session
from pitchcheck.bench.guard import REPORT_POLICY, Guard
from pitchcheck.bench.hub import Hub
from pitchcheck.bench.input_try import InputTry
from pitchcheck.bench.runner import Begin, Runner, as_keys
from pitchcheck.course import Thoroughness, survey_positions
from pitchcheck.errors import BadValue, NothingMeasured, PitchcheckError
from pitchcheck.instrument import Board, Removal
from pitchcheck.session.gauge_entry import SHORT_NAMES, GaugeEntry, add_gauge
from pitchcheck.session.presets import presets
from pitchcheck.session.settings import read_settings
from pitchcheck.units import length_mm
from pitchcheck.words import cautions
from pitchcheck.workflow import recordings

STATIC = {"bench.css": "text/css", "bench.js": "text/javascript"}
MOST_FIELDS, MOST_FILES = 2000, 60
LENGTHS = {"mm", "in", "thou"}


@dataclass
class Bench:
    """Everything the pages share."""

    root: Path
    token: str
    hub: Hub
    runner: Runner
    tries: InputTry


def make_app(bench: Bench, *, port: int) -> Guard:
    """Return the application, guarded."""
    pages = Pages(bench)
    routes = [
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


class Pages:
    """Handlers of the addresses."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._templates = Environment(
            loader=PackageLoader("pitchcheck.bench", "templates"),
            autoescape=True,
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
        )
        self._templates.globals.update(base=f"/{bench.token}", cautions=cautions)
        self._css: str | None = None

    # -- pages

    async def start(self, request: Request) -> Response:
        """Show the sessions, a new one, the input, and where recordings are dropped."""
        return await run_in_threadpool(self._start_page)

    async def session(self, request: Request) -> Response:
        """Show one session: what to play, the nut so far, what can be done."""
        folder = self._folder(request)
        return _missing() if folder is None else await run_in_threadpool(self._session_page, folder)

    async def nut(self, request: Request) -> Response:
        """Give the nut as it is known so far, as a piece of the page."""
        folder, runner = self._folder(request), self._bench.runner
        if folder is None:
            return _missing()
        if runner.folder != folder or runner.nut is None:
            return HTMLResponse("")
        return self._page("nut.jinja", nut=runner.nut, session=folder.name)

    async def report(self, request: Request) -> Response:
        """Give the report of a session as it stands."""
        folder = self._folder(request)
        if folder is None:
            return _missing()
        try:
            page = await run_in_threadpool(_report, folder)
        except PitchcheckError as error:
            return self._page("trouble.jinja", session=folder.name, words=_words(error), status=400)
        return HTMLResponse(page, headers={"content-security-policy": REPORT_POLICY})

    async def takes(self, request: Request) -> Response:
        """Show what was found where in the recordings of a session, to be corrected."""
        folder = self._folder(request)
        return _missing() if folder is None else await run_in_threadpool(self._takes_page, folder)

    async def static(self, request: Request) -> Response:
        """Give the style sheet or the script."""
        name = request.path_params["name"]
        if name not in STATIC:
            return _missing()
        return Response(self._static(name), media_type=STATIC[name])

    async def events(self, request: Request) -> Response:
        """Stream the state: every part, then each as it changes (server-sent events, WHATWG HTML 9.2)."""

        async def stream() -> AsyncIterator[str]:
            async for news in self._bench.hub.news():
                yield ":\n\n" if news is None else f"event: {news[0]}\ndata: {json.dumps(news[1])}\n\n"

        return StreamingResponse(stream(), media_type="text/event-stream")

    # -- what buttons do

    async def new(self, request: Request) -> Response:
        """Make a session and begin it."""
        form = await request.form(max_fields=MOST_FIELDS, max_files=0)
        try:
            scale = _text(form, "scale")
            folder, start = await run_in_threadpool(
                new_session,
                self._bench.root,
                _text(form, "name"),
                kind=_text(form, "own_kind") or _text(form, "kind"),
                scale_mm=length_mm(scale) if scale else None,
                strings=_text(form, "strings"),
                only=_numbers(_text(form, "only")),
                thoroughness=_thoroughness(form),
            )
        except PitchcheckError as error:
            return await run_in_threadpool(self._start_page, _words(error))
        return self._begin(Begin(folder, start.planned))

    async def open(self, request: Request) -> Response:
        """Begin a session again, or go on with it."""
        folder = self._folder(request)
        if folder is None:
            return _missing()
        form = await request.form(max_fields=MOST_FIELDS, max_files=0)
        try:
            planned = await run_in_threadpool(_planned, folder, _thoroughness(form))
        except PitchcheckError as error:
            return self._page("trouble.jinja", session=folder.name, words=_words(error), status=400)
        return self._begin(Begin(folder, planned))

    async def press(self, request: Request) -> Response:
        """Press a button of the session that is under way."""
        folder, form = self._folder(request), await request.form(max_fields=4, max_files=0)
        keys = as_keys(_text(form, "key"))
        if folder is None or keys is None or folder != self._bench.runner.folder:
            return _missing()
        self._bench.runner.press(keys)
        return JSONResponse({"pressed": keys})

    async def stop(self, request: Request) -> Response:
        """Break the session off; what was accepted is kept."""
        folder = self._folder(request)
        if folder is None or folder != self._bench.runner.folder:
            return _missing()
        await run_in_threadpool(self._bench.runner.stop)
        return self._to(f"session/{folder.name}")

    async def gauge(self, request: Request) -> Response:
        """Write a gauge or leaf reading down."""
        folder = self._folder(request)
        if folder is None:
            return _missing()
        form = await request.form(max_fields=12, max_files=0)
        try:
            entry = _gauge(form)
            await run_in_threadpool(add_gauge, folder, entry)
        except (PitchcheckError, OSError) as error:
            return JSONResponse({"said": _words(error)}, status_code=400)
        self._bench.runner.measure(folder)
        lengths = [
            f"{word}{text}"
            for word, text in (("", entry.value), ("passes ", entry.passes), ("stops ", entry.stops))
            if text is not None
        ]
        string = "" if entry.string is None else f" string {entry.string}"
        what = str(entry.what).replace("_", " ")
        return JSONResponse({"said": f"Written down: {what}{string} {', '.join(lengths)}."})

    async def filed(self, request: Request) -> Response:
        """Begin the next pass: what was removed, and the strings to be heard again."""
        folder = self._folder(request)
        if folder is None:
            return _missing()
        form = await request.form(max_fields=200, max_files=0)
        try:
            begin = await run_in_threadpool(_next_pass, folder, form)
        except PitchcheckError as error:
            return self._page("trouble.jinja", session=folder.name, words=_words(error), status=400)
        return self._begin(begin)

    async def choose_input(self, request: Request) -> Response:
        """Choose the input that sessions listen to."""
        form = await request.form(max_fields=4, max_files=0)
        self._bench.runner.input = _text(form, "input") or None
        return self._to("")

    async def try_input(self, request: Request) -> Response:
        """Try the input: the room, then a few plucks. What is found comes as an event."""
        if self._bench.runner.busy or not self._bench.tries.begin(self._bench.runner.input):
            return JSONResponse({"said": "The input is in use. End the session first."}, status_code=409)
        return JSONResponse({"said": ""})

    async def recordings(self, request: Request) -> Response:
        """Keep recordings that were dropped on the page, and label and measure them."""
        form = await request.form(max_fields=12, max_files=MOST_FILES, max_part_size=1024**2)
        files = [item for item in form.getlist("files") if isinstance(item, UploadFile) and item.filename]
        try:
            name = check_name(_text(form, "name"))
            scale = _text(form, "scale")
            found = await run_in_threadpool(
                recordings.measure_uploads,
                self._bench.root,
                name,
                [(item.filename or "", item.file) for item in files],
                kind=_text(form, "kind") or None,
                scale_mm=length_mm(scale) if scale else None,
            )
        except (PitchcheckError, OSError) as error:
            return await run_in_threadpool(self._start_page, _words(error))
        finally:
            await form.close()
        return self._to(f"session/{found.name}/takes")

    async def correct(self, request: Request) -> Response:
        """Write corrected places of takes back and measure again."""
        folder = self._folder(request)
        if folder is None:
            return _missing()
        if self._bench.runner.busy and self._bench.runner.folder == folder:
            words = "End the session first."
            return self._page("trouble.jinja", session=folder.name, words=words, status=409)
        form = await request.form(max_fields=MOST_FIELDS, max_files=0)
        try:
            changed = {key: str(value) for key, value in form.multi_items() if isinstance(value, str)}
            await run_in_threadpool(recordings.correct_takes, folder, changed)
        except (PitchcheckError, OSError) as error:
            return self._page("trouble.jinja", session=folder.name, words=_words(error), status=400)
        return self._to(f"session/{folder.name}/report")

    # -- helpers

    def _start_page(self, words: str = "") -> HTMLResponse:
        inputs, trouble = _inputs()
        return self._page(
            "start.jinja",
            sessions=list_sessions(self._bench.root),
            kinds=[(preset.name, preset.words) for preset in presets()],
            courses=list(Thoroughness),
            inputs=inputs,
            input_trouble=trouble,
            chosen=self._bench.runner.input,
            under_way=self._bench.runner.folder.name
            if self._bench.runner.busy and self._bench.runner.folder is not None
            else "",
            words=words,
            status=400 if words else 200,
        )

    def _session_page(self, folder: Path) -> HTMLResponse:
        try:
            instrument = read_settings(folder).settings.instrument
        except NothingMeasured as error:
            return self._page("trouble.jinja", session=folder.name, words=_words(error), status=400)
        runner = self._bench.runner
        here = runner.folder == folder
        return self._page(
            "session.jinja",
            session=folder.name,
            instrument=instrument,
            strings=sorted(instrument.strings, key=lambda spec: spec.number),
            here=here,
            busy=here and runner.busy,
            nut=runner.nut if here else None,
            gauges=SHORT_NAMES,
        )

    def _takes_page(self, folder: Path) -> HTMLResponse:
        try:
            view = recordings.takes_view(folder)
        except PitchcheckError as error:
            return self._page("trouble.jinja", session=folder.name, words=_words(error), status=400)
        return self._page("takes.jinja", session=folder.name, view=view)

    def _page(self, template: str, *, status: int = 200, **values: Any) -> HTMLResponse:
        return HTMLResponse(self._templates.get_template(template).render(**values), status_code=status)

    def _static(self, name: str) -> str:
        if name == "bench.css":
            if self._css is None:
                from pitchcheck.report.render import style_sheet

                self._css = style_sheet() + _source(self._templates, "bench.css")
            return self._css
        return _source(self._templates, name)

    def _folder(self, request: Request) -> Path | None:
        return find_session(self._bench.root, request.path_params["name"])

    def _begin(self, begin: Begin) -> Response:
        if not self._bench.runner.begin(begin):
            words = "Another session is under way. End it first."
            return self._page("trouble.jinja", session=begin.folder.name, words=words, status=409)
        return self._to(f"session/{begin.folder.name}")

    def _to(self, path: str) -> RedirectResponse:
        return RedirectResponse(f"/{self._bench.token}/{path}", status_code=303)


def _source(templates: Environment, name: str) -> str:
    assert templates.loader is not None
    return templates.loader.get_source(templates, name)[0]


def _missing() -> Response:
    return Response("not found", status_code=404, media_type="text/plain")


def _text(form: FormData, name: str) -> str:
    value = form.get(name)
    return value.strip() if isinstance(value, str) else ""


def _words(error: Exception) -> str:
    if isinstance(error, NothingMeasured):
        faults = [p.sentence() for p in error.problems if p.sentence() != str(error)]
        return " ".join([str(error), *faults])
    if isinstance(error, OSError):
        return f"It could not be written ({error.strerror or error}). Make room, or check the folder."
    return str(error)


def _numbers(text: str) -> tuple[int, ...]:
    parts = text.replace(",", " ").split()
    if not all(part.isascii() and part.isdigit() and len(part) < 3 for part in parts):
        raise BadValue("Only these strings: write their numbers, like 1, 6.")
    return tuple(int(part) for part in parts)


def _thoroughness(form: FormData) -> Thoroughness:
    try:
        return Thoroughness(_text(form, "course") or Thoroughness.BASE)
    except ValueError as error:
        raise BadValue("There is no such course. Choose one of the list.") from error


def _planned(folder: Path, thoroughness: Thoroughness, strings: tuple[int, ...] = ()) -> tuple[Any, ...]:
    instrument = read_settings(folder).settings.instrument
    numbers = strings or tuple(spec.number for spec in instrument.strings)
    press = instrument.board is not Board.SCALLOPED
    return survey_positions(numbers, thoroughness=thoroughness, press=press)


def _gauge(form: FormData) -> GaugeEntry:
    what = SHORT_NAMES.get(_text(form, "what"))
    if what is None:
        raise BadValue("Say what was measured: choose it from the list.")
    unit = _text(form, "unit")
    if unit not in LENGTHS:
        raise BadValue("Say the unit: choose it from the list.")
    lengths: dict[str, str | None] = {}
    for key in ("value", "passes", "stops"):
        number = _text(form, key)
        lengths[key] = f"{number} {unit}" if number else None
        if number:
            length_mm(f"{number} {unit}")
    if not any(lengths.values()):
        raise BadValue("There is no length. Type what the gauge told, or a leaf that passes or stops.")
    string = _text(form, "string")
    return GaugeEntry(what, int(string) if string.isascii() and string.isdigit() else None, **lengths)


def _next_pass(folder: Path, form: FormData) -> Begin:
    from pitchcheck.workflow.again import again_with_folder

    removed: list[Removal] = []
    again: list[int] = []
    for spec in read_settings(folder).settings.instrument.strings:
        amount = _text(form, f"removed-{spec.number}")
        if amount:
            removed.append(Removal(spec.number, length_mm(f"{amount} {_text(form, 'unit') or 'mm'}")))
        if amount or _text(form, f"again-{spec.number}"):
            again.append(spec.number)
    if not again:
        raise BadValue("Say which strings were filed or are to be heard again.")
    found = again_with_folder(folder, strings=again, removed=removed, thoroughness=Thoroughness.BASE)
    return Begin(found.folder, found.start.planned)


def _report(folder: Path) -> str:
    from pitchcheck.report.render import render_page
    from pitchcheck.workflow.measure import measure_folder

    return render_page(measure_folder(folder))


def _inputs() -> tuple[list[tuple[str, str]], str]:
    """Return number and words of every input, or why there is none."""
    from pitchcheck.workflow.inputs import describe_inputs

    try:
        lines = describe_inputs()
    except PitchcheckError as error:
        return [], str(error)
    return [(line.split()[0], line.split(None, 1)[1]) for line in lines], ""
