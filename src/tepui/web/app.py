"""The routes: what is asked, what is answered. Pages are filled in views, work is done by the workshop."""

import asyncio
import shlex
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, RedirectResponse, Response
from starlette.routing import Mount, Route, WebSocketRoute
from starlette.staticfiles import StaticFiles
from starlette.templating import Jinja2Templates

from tepui import __version__
from tepui.desk.workshop import Work
from tepui.ground.document import document_text
from tepui.ground.errors import InputError, TepuiError
from tepui.web.bench_pages import BenchPages
from tepui.web.care_pages import CarePages
from tepui.web.chain import STATION
from tepui.web.editor_pages import EditorPages
from tepui.web.form_words import asked_again, endings, form_of, parts_of, tunings_csv, typed_table, words_of
from tepui.web.forms import FORMS
from tepui.web.guard import Guard
from tepui.web.levels_view import places_of, strip_of
from tepui.web.log_files_pages import LogFilesPages
from tepui.web.log_pages import LogPages
from tepui.web.log_routes import log_routes
from tepui.web.log_trend_pages import LogTrendPages
from tepui.web.map_pages import MapPages
from tepui.web.more_pages import MorePages
from tepui.web.path_pages import PathPages
from tepui.web.path_routes import path_routes
from tepui.web.plan_pages import PlanPages
from tepui.web.recording_pages import RecordingPages
from tepui.web.screw_pages import ScrewPages
from tepui.web.screws import Screws
from tepui.web.standing import Standing
from tepui.web.state import BenchState
from tepui.web.station_pages import StationPages
from tepui.web.station_text import job_of, stages_of
from tepui.web.strip import PLACES, flag, strip
from tepui.web.tonight_pages import TonightPages
from tepui.web.views import result_view

HERE = Path(__file__).parent
SHEETS = (
    ("Bench", "/"),
    ("Station", "/station"),
    ("Frequencies", "/frequencies"),
    ("Levels", "/levels"),
    ("Tonight", "/tonight"),
    ("Log", "/log"),
    ("Edge watch", "/watch"),
    ("Recordings", "/recordings"),
    ("Results", "/results"),
    ("Report", "/report"),
    ("Legend", "/legend"),
)
ALL_SHEETS = (*SHEETS, ("Modes", "/mode"), ("Path", "/path"), ("Map", "/map"), ("Care", "/care"))
POLL_S = 20.0
FORM_FIELDS, FORM_FILES = 200, 16
TYPED = "typed"
NO_SHEET = "There is no such sheet; the strip and the list of sheets lead to those there are."
SENTENCES = {
    400: "What was sent cannot be read as a form; load the sheet again, and send it once more.",
    405: "This sheet is asked for in another way; go back to the sheet before and use its button.",
    408: "What was being sent stopped coming for a minute and was given up; nothing of it was kept. Send it again.",
    413: "More was sent than a form of this bench may hold (4 MiB, or 1 GiB for files); nothing of it was kept.",
}


def build_app(
    state: BenchState, *, hosts: Sequence[str], token: str | None, told: Callable[[str], None] | None = None
) -> Starlette:
    """The application over one bench.

    hosts  names with port it may be asked under; token  what those from other machines must bring, each once
    told   hears the next token when one was used
    """
    pages = Pages(state)
    routes = [
        Route("/", pages.station),
        Route("/stage/{place}", pages.stage),
        Route("/do/{verb}", pages.form, methods=["GET"]),
        Route("/do/{verb}", pages.begin, methods=["POST"]),
        Route("/recordings", pages.recordings, methods=["GET"]),
        Route("/recordings", pages.hand_in, methods=["POST"]),
        Route("/results", pages.results),
        Route("/result/{number:int}", pages.result),
        Route("/result/{number:int}/state", pages.state_of),
        Route("/result/{number:int}/stop", pages.stop, methods=["POST"]),
        Route("/result/{number:int}/document.json", pages.document),
        Route("/result/{number:int}/file/{name}", pages.file),
        Route("/report", pages.report, methods=["GET"]),
        Route("/report", pages.print_report, methods=["POST"]),
        Route("/levels", pages.levels),
        Route("/levels/reading", pages.add_reading, methods=["POST"]),
        Route("/levels/drop", pages.drop_reading, methods=["POST"]),
        Route("/station", pages.station_file, methods=["GET"]),
        Route("/station", pages.write_part, methods=["POST"]),
        Route("/station/new", pages.new_station, methods=["POST"]),
        Route("/station/difference", pages.difference, methods=["GET"]),
        Route("/station/undo", pages.undo, methods=["POST"]),
        Route("/station/redo", pages.redo, methods=["POST"]),
        Route("/station/add", pages.add_entry, methods=["POST"]),
        Route("/station/remove", pages.remove_entry, methods=["POST"]),
        Route("/station/move", pages.move_entry, methods=["POST"]),
        Route("/station/{part}", pages.station_file, methods=["GET"]),
        Route("/station/{part}", pages.write_part, methods=["POST"]),
        Route("/strip", pages.strip_alone),
        Route("/frequencies", pages.frequencies, methods=["GET"]),
        Route("/frequencies", pages.write_plan, methods=["POST"]),
        Route("/frequencies/plan", pages.frequency_plan),
        Route("/watch", pages.watch, methods=["GET"]),
        Route("/watch", pages.begin_watch, methods=["POST"]),
        Route("/watch/end", pages.end_watch, methods=["POST"]),
        WebSocketRoute("/watch/live", pages.live),
        WebSocketRoute("/watch/traces", pages.live_traces),
        Route("/screws", pages.screws, methods=["GET"]),
        Route("/screws", pages.begin_screws, methods=["POST"]),
        Route("/screws/end", pages.end_screws, methods=["POST"]),
        Route("/screws/turned", pages.turned_screw, methods=["POST"]),
        Route("/screws/changed", pages.screws_changed),
        Route("/result/{number:int}/tunings", pages.take_tunings, methods=["POST"]),
        Route("/legend", pages.legend),
        *log_routes(pages),
        *path_routes(pages),
        Mount("/static", StaticFiles(directory=HERE / "static"), name="static"),
    ]
    handlers: Any = {TepuiError: pages.refused, HTTPException: pages.missing}
    return Starlette(
        routes=routes, exception_handlers=handlers, middleware=[Middleware(Guard, hosts=hosts, token=token, told=told)]
    )


class Pages(
    BenchPages,
    RecordingPages,
    StationPages,
    EditorPages,
    PlanPages,
    PathPages,
    MapPages,
    CarePages,
    MorePages,
    LogPages,
    LogFilesPages,
    LogTrendPages,
    TonightPages,
    ScrewPages,
):
    """One method for each page; those of the station, of the watch and of the report stand apart."""

    def __init__(self, state: BenchState) -> None:
        self._state = state
        self._standing = Standing(state.workshop)
        self._screws = Screws(state.workshop)
        self._templates = Jinja2Templates(directory=HERE / "templates")
        self._templates.env.globals.update(version=__version__, flag=flag)

    def _page(self, request: Request, template: str, *, status: int = 200, **shown: Any) -> Response:
        state = self._state
        chain = state.chain.levels()
        text = state.chain.text()
        places = places_of(stages_of(text))
        shared = {
            "sheets": SHEETS,
            "all_sheets": ALL_SHEETS,
            "parts": parts_of(shown.get("place")),
            "strip": strip(strip_of(chain.document, places, path=self._path()), current=shown.get("place")),
            "station": job_of(text, fallback=state.folder.name),
            "waiting": chain.work if chain.work is not None and not chain.work.ended else None,
            "practice": state.practice,
            "folder": state.folder.name,
            "utc": datetime.now(UTC).strftime("%d %b %H:%M"),
            "path": request.url.path,
            "counts": shown.pop("counts", ()),
            "log_refused": state.chain.log.sentence if state.chain.log.is_refused else "",
        }
        return self._templates.TemplateResponse(request, template, {**shared, **shown}, status_code=status)

    def _path(self) -> dict[str, Any] | None:
        """The newest path that was worked out for the station of this folder."""
        works = (work for work in self._state.workshop.all() if work.verb == "path" and work.document is not None)
        return next((work.document for work in works if work.document and work.document["station"] is not None), None)

    async def form(self, request: Request) -> Response:
        """The form of a verb."""
        return await self._form(request, given=dict(request.query_params), chosen=request.query_params.getlist("file"))

    async def _form(
        self, request: Request, *, given: dict[str, str], chosen: Sequence[str], sentence: str = "", status: int = 200
    ) -> Response:
        form = FORMS.get(request.path_params["verb"])
        if form is None:
            raise HTTPException(404)
        files = await run_in_threadpool(self._state.files, endings(form))
        return self._page(
            request,
            "form.html",
            status=status,
            form=form,
            place=form.place,
            parts=parts_of(form.place),
            number=f"{PLACES.index(form.place) + 1}.{_part_number(form.name)}",
            files=files,
            given=given,
            chosen=chosen,
            sentence=sentence,
            has_station=self._state.chain.station.is_file(),
            works=[work for work in self._state.workshop.all() if work.verb == form.verb][:8],
        )

    async def begin(self, request: Request) -> Response:
        """Start the work of a form."""
        form = FORMS.get(request.path_params["verb"])
        if form is None:
            raise HTTPException(404)
        async with request.form(max_files=0, max_fields=FORM_FIELDS) as sent:
            chosen = [str(name) for name in sent.getlist("file")]
            given = {key: str(text) for key, text in sent.items() if key != "file"}
        typed = given.get(TYPED, "").strip() if form.typed else ""
        if form.files and not chosen and not typed and not form.bare:
            sentence = "Choose a recording from the list, or hand one in first."
            return await self._form(request, given=given, chosen=chosen, sentence=sentence, status=400)
        try:
            if typed:
                chosen.append(self._state.keep_table(typed_table(form, typed), begins=form.table))
            words = words_of(form, given, chosen, self._state)
        except InputError as problem:
            return await self._form(request, given=given, chosen=chosen, sentence=str(problem), status=400)
        title = ", ".join(Path(name).stem for name in chosen[:3]) + (", ..." if len(chosen) > 3 else "")
        asked = (given.get(option.name, "").strip() for option in form.options)
        title = title or " ".join(text for text in asked if text)[:60] or STATION
        work = self._state.workshop.submit(words, title=title, pictures=form.pictures)
        return RedirectResponse(f"/result/{work.number}", 303)

    async def results(self, request: Request) -> Response:
        """Everything that was done here."""
        return self._page(request, "results.html", works=self._state.workshop.all())

    def _work(self, request: Request) -> Work:
        work = self._state.workshop.get(request.path_params["number"])
        if work is None:
            raise HTTPException(404)
        return work

    async def result(self, request: Request) -> Response:
        """A result, or how far it is."""
        work = self._work(request)
        view = await run_in_threadpool(result_view, work)
        form = form_of(work.words)
        place = form.place if form is not None else None
        return self._page(
            request,
            "result.html",
            work=work,
            view=view,
            form=form,
            place=place,
            tunings=tunings_csv(work.document, which="sweep") is not None,
            again=None if form is None else asked_again(form, work.words, self._state.folder.resolve()),
            parts=parts_of(place),
            command=shlex.join(["tepui", *_shown_words(work)]),
            kept=_kept_files(work),
            counts=view.counts if view is not None else (),
        )

    async def state_of(self, request: Request) -> Response:
        """Answers when the work has moved on: a page that waits asks again and again."""
        before = self._work(request)
        asked = request.query_params.get("since", "")
        for _ in range(int(POLL_S / 0.2)):
            work = self._work(request)
            mark = f"{work.state} {work.share}"
            if mark != asked or work.ended or await request.is_disconnected():
                break
            await asyncio.sleep(0.2)
        else:
            work = before
        return JSONResponse(
            {"state": work.state, "share": work.share, "since": f"{work.state} {work.share}", "ended": work.ended},
            headers={"cache-control": "no-store"},
        )

    async def stop(self, request: Request) -> Response:
        """Stop a piece of work."""
        work = self._work(request)
        await run_in_threadpool(self._state.workshop.stop, work.number)
        await run_in_threadpool(self._state.workshop.wait, work.number, timeout_s=5.0)
        return RedirectResponse(f"/result/{work.number}", 303)

    async def document(self, request: Request) -> Response:
        """The JSON document of a result."""
        work = self._work(request)
        if work.document is None:
            raise HTTPException(404)
        return Response(document_text(work.document), media_type="application/json")

    async def file(self, request: Request) -> Response:
        """A file that a result keeps, a report say."""
        work = self._work(request)
        files = {Path(name).name: Path(name) for name in (work.document or {}).get("files", [])}
        path = files.get(request.path_params["name"])
        if path is None or not path.resolve().is_relative_to(work.folder.resolve()) or not path.is_file():
            raise HTTPException(404)
        return FileResponse(path, filename=path.name)

    async def strip_alone(self, request: Request) -> Response:
        """The strip by itself, for a page that stays open while the levels are worked out anew."""
        return self._page(request, "strip.html", place=request.query_params.get("place"))

    async def take_tunings(self, request: Request) -> Response:
        """Keep the tunings of a result as a list in the folder, ready to be recorded."""
        work = self._work(request)
        async with request.form(max_files=0, max_fields=4) as sent:
            listed = tunings_csv(work.document, which=str(sent.get("which", "")))
        if listed is None:
            raise HTTPException(404)
        name = await run_in_threadpool(self._state.keep_table, listed, begins="tunings")
        return RedirectResponse(f"/do/record?{urlencode({'file': name})}", 303)

    async def legend(self, request: Request) -> Response:
        """What every mark means."""
        return self._page(request, "legend.html")

    async def refused(self, request: Request, problem: Exception) -> Response:
        """A sentence on a sheet of its own."""
        return self._page(request, "refused.html", sentence=str(problem), status=400)

    async def missing(self, request: Request, problem: Exception) -> Response:
        """What is not there."""
        status = problem.status_code if isinstance(problem, HTTPException) else 500
        return self._page(request, "refused.html", sentence=SENTENCES.get(status, NO_SHEET), status=status)


def _part_number(name: str) -> int:
    place = FORMS[name].place
    return 1 + [form.name for form in FORMS.values() if form.place == place].index(name)


def _shown_words(work: Work) -> list[str]:
    """The command as one would type it: pictures left out, what it keeps by its bare name."""
    words = [Path(word).name if Path(word).parent == work.folder else word for word in work.words]
    if "--plots" in words:
        at = words.index("--plots")
        del words[at : at + 2]
    return words


def _kept_files(work: Work) -> list[str]:
    """Names of the files in a result's own folder, pictures left out."""
    paths = [Path(name) for name in (work.document or {}).get("files", [])]
    return [path.name for path in paths if path.parent == work.folder]
