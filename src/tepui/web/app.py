"""The routes: what is asked, what is answered. Pages are filled in views, work is done by the workshop."""

import asyncio
import shlex
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, RedirectResponse, Response
from starlette.routing import Mount, Route, WebSocketRoute
from starlette.staticfiles import StaticFiles
from starlette.templating import Jinja2Templates

from tepui import __version__
from tepui.desk.workshop import Work
from tepui.files.atomic import written_whole
from tepui.ground.document import document_text
from tepui.ground.errors import InputError, TepuiError
from tepui.web.chain import STATION
from tepui.web.forms import FORMS, endings, words_of
from tepui.web.guard import Guard
from tepui.web.levels_view import places_of, strip_of
from tepui.web.log_files_pages import LogFilesPages
from tepui.web.log_pages import LogPages
from tepui.web.log_routes import log_routes
from tepui.web.log_trend_pages import LogTrendPages
from tepui.web.more_pages import MorePages
from tepui.web.report_pages import ReportPages
from tepui.web.state import MOST_UPLOAD, PAIRS, SUFFIXES, BenchState
from tepui.web.station_pages import StationPages
from tepui.web.station_text import job_of, stages_of
from tepui.web.strip import NAMES, PLACES, flag, strip
from tepui.web.tonight_pages import TonightPages
from tepui.web.views import result_view

HERE = Path(__file__).parent
SHEETS = (
    ("Bench", "/"),
    ("Station", "/station"),
    ("Levels", "/levels"),
    ("Tonight", "/tonight"),
    ("Log", "/log"),
    ("Edge watch", "/watch"),
    ("Recordings", "/recordings"),
    ("Results", "/results"),
    ("Report", "/report"),
    ("Legend", "/legend"),
)
POLL_S = 20.0
FORM_FIELDS, FORM_FILES = 200, 16


def build_app(state: BenchState, *, hosts: Sequence[str], token: str | None) -> Starlette:
    """The application over one bench.

    hosts  names with port it may be asked under; token  what those from other machines must bring
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
        Route("/station", pages.write_station, methods=["POST"]),
        Route("/station/new", pages.new_station, methods=["POST"]),
        Route("/watch", pages.watch, methods=["GET"]),
        Route("/watch", pages.begin_watch, methods=["POST"]),
        Route("/watch/end", pages.end_watch, methods=["POST"]),
        WebSocketRoute("/watch/live", pages.live),
        Route("/legend", pages.legend),
        *log_routes(pages),
        Mount("/static", StaticFiles(directory=HERE / "static"), name="static"),
    ]
    handlers: Any = {TepuiError: pages.refused, HTTPException: pages.missing}
    return Starlette(
        routes=routes, exception_handlers=handlers, middleware=[Middleware(Guard, hosts=hosts, token=token)]
    )


class Pages(StationPages, MorePages, LogPages, LogFilesPages, LogTrendPages, TonightPages, ReportPages):
    """One method for each page; those of the station, of the watch and of the report stand apart."""

    def __init__(self, state: BenchState) -> None:
        self._state = state
        self._templates = Jinja2Templates(directory=HERE / "templates")
        self._templates.env.globals.update(version=__version__, flag=flag)

    def _page(self, request: Request, template: str, *, status: int = 200, **shown: Any) -> Response:
        state = self._state
        chain = state.chain.levels()
        text = state.chain.text()
        places = places_of(stages_of(text))
        shared = {
            "sheets": SHEETS,
            "strip": strip(strip_of(chain.document, places), current=shown.get("place")),
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

    async def station(self, request: Request) -> Response:
        """The first sheet."""
        works = self._state.workshop.all()[:6]
        files = await run_in_threadpool(self._state.files, SUFFIXES)
        return self._page(request, "station.html", works=works, files=files[:8], forms=FORMS.values())

    async def stage(self, request: Request) -> Response:
        """A stage's first sheet: what can be done there."""
        place = request.path_params["place"]
        if place not in PLACES:
            raise HTTPException(404)
        name = NAMES[PLACES.index(place)][0]
        forms = [form for form in FORMS.values() if form.place == place]
        works = [work for work in self._state.workshop.all() if any(work.verb == form.verb for form in forms)]
        number = str(PLACES.index(place) + 1)
        return self._page(
            request, "stage.html", place=place, name=name, number=number, forms=forms, works=works[:12], parts=forms
        )

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
            parts=[other for other in FORMS.values() if other.place == form.place],
            number=f"{PLACES.index(form.place) + 1}.{_part_number(form.verb)}",
            files=files,
            given=given,
            chosen=chosen,
            sentence=sentence,
            has_station=self._state.chain.station.is_file(),
        )

    async def begin(self, request: Request) -> Response:
        """Start the work of a form."""
        form = FORMS.get(request.path_params["verb"])
        if form is None:
            raise HTTPException(404)
        async with request.form(max_files=0, max_fields=FORM_FIELDS) as sent:
            chosen = [str(name) for name in sent.getlist("file")]
            given = {key: str(text) for key, text in sent.items() if key != "file"}
        if form.files and not chosen:
            sentence = "Choose a recording from the list, or hand one in first."
            return await self._form(request, given=given, chosen=chosen, sentence=sentence, status=400)
        try:
            words = words_of(form, given, chosen, self._state)
        except InputError as problem:
            return await self._form(request, given=given, chosen=chosen, sentence=str(problem), status=400)
        title = ", ".join(Path(name).stem for name in chosen[:3]) + (", ..." if len(chosen) > 3 else "")
        title = title or " ".join(text for text in given.values() if text.strip())[:60] or STATION
        work = self._state.workshop.submit(words, title=title, pictures=form.pictures)
        return RedirectResponse(f"/result/{work.number}", 303)

    async def recordings(self, request: Request) -> Response:
        """The list of recordings, and where one is handed in."""
        return await self._recordings(request)

    async def _recordings(self, request: Request, *, sentence: str = "", status: int = 200) -> Response:
        files = await run_in_threadpool(self._state.files, SUFFIXES)
        return self._page(
            request, "recordings.html", files=files, forms=FORMS.values(), sentence=sentence, status=status
        )

    async def hand_in(self, request: Request) -> Response:
        """Take files into the folder; each whole or not at all."""
        told = request.headers.get("content-length", "")
        if not told.isdecimal() or int(told) > MOST_UPLOAD:
            sentence = (
                f"At most {MOST_UPLOAD >> 20} MiB can be handed in at once; put a longer one into the folder itself."
            )
            return await self._recordings(request, sentence=sentence, status=413)
        async with request.form(max_files=FORM_FILES, max_fields=4) as sent:
            files = [part for part in sent.getlist("recording") if isinstance(part, UploadFile) and part.filename]
            try:
                if not files:
                    raise InputError("No file was chosen; SigMF needs its .sigmf-meta and .sigmf-data together.")
                places = [self._state.place_for(part.filename or "") for part in files]
                for lone in _halves(places):
                    raise InputError(
                        f"{lone} is half a SigMF recording; hand in its .sigmf-meta and .sigmf-data together."
                    )
                for part, place in zip(files, places, strict=True):
                    await run_in_threadpool(_copy, part, place)
            except InputError as problem:
                return await self._recordings(request, sentence=str(problem), status=400)
        return RedirectResponse("/recordings", 303)

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
        form = FORMS.get(work.verb)
        place = form.place if form is not None else None
        return self._page(
            request,
            "result.html",
            work=work,
            view=view,
            form=form,
            place=place,
            parts=[other for other in FORMS.values() if other.place == place],
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

    async def legend(self, request: Request) -> Response:
        """What every mark means."""
        return self._page(request, "legend.html")

    async def refused(self, request: Request, problem: Exception) -> Response:
        """A sentence on a sheet of its own."""
        return self._page(request, "refused.html", sentence=str(problem), status=400)

    async def missing(self, request: Request, problem: Exception) -> Response:
        """What is not there."""
        status = problem.status_code if isinstance(problem, HTTPException) else 500
        sentence = "There is no such sheet; the strip and the list of sheets lead to those there are."
        return self._page(request, "refused.html", sentence=sentence, status=status)


def _part_number(verb: str) -> int:
    place = FORMS[verb].place
    return 1 + [form.verb for form in FORMS.values() if form.place == place].index(verb)


def _shown_words(work: Work) -> list[str]:
    """The command as one would type it, pictures left out."""
    words = list(work.words)
    if "--plots" in words:
        at = words.index("--plots")
        del words[at : at + 2]
    return words


def _kept_files(work: Work) -> list[str]:
    """Names of the files in a result's own folder, pictures left out."""
    paths = [Path(name) for name in (work.document or {}).get("files", [])]
    return [path.name for path in paths if path.parent in (work.folder, work.folder / "tables")]


def _halves(places: Sequence[Path]) -> list[str]:
    names = {place.name for place in places}
    ends = {**PAIRS, **{other: one for one, other in PAIRS.items()}}
    lone = []
    for place in places:
        other = ends.get(place.suffix)
        if other is not None and place.with_suffix(other).name not in names and not place.with_suffix(other).exists():
            lone.append(place.name)
    return lone


def _copy(part: UploadFile, place: Path) -> None:
    with written_whole(place) as handle:
        while block := part.file.read(1 << 20):
            handle.write(block)
