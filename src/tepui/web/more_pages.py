"""Pages of the edge watch and of the report."""

import shlex
from abc import ABC, abstractmethod
from collections.abc import Mapping
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.websockets import WebSocket

from tepui.desk.workshop import DOCUMENT, DONE, PLACE
from tepui.web.live import OPTIONS, stream, stream_traces, watch_words
from tepui.web.state import BenchState

FORM_FIELDS = 200
REPORTED = ("receive", "spectrum", "drive", "frequencies", "mode", "path", "coverage", "check", "levels", "watch")


class MorePages(ABC):
    """The edge watch and the report."""

    _state: BenchState

    @abstractmethod
    def _page(self, request: Request, template: str, *, status: int = 200, **shown: Any) -> Response:
        """A template filled in; Pages has it."""

    async def watch(self, request: Request) -> Response:
        """The edge watch: its form, or the watch that is on."""
        return self._watch(request, given={"receiver": "practice"} if self._state.practice else {})

    def _watch(self, request: Request, *, given: Mapping[str, str]) -> Response:
        watching = self._state.watching
        return self._page(
            request,
            "watch.html",
            running=watching.is_running,
            sentence=watching.sentence,
            options=OPTIONS,
            given=given,
            command=shlex.join(["tepui", "watch", *watching.words]),
        )

    async def begin_watch(self, request: Request) -> Response:
        """Start a watch."""
        async with request.form(max_files=0, max_fields=FORM_FIELDS) as sent:
            given = {key: str(text) for key, text in sent.items()}
        await run_in_threadpool(self._state.watching.start, watch_words(given))
        return RedirectResponse("/watch", 303)

    async def end_watch(self, _: Request) -> Response:
        """End the watch."""
        await run_in_threadpool(self._state.watching.stop)
        return RedirectResponse("/watch", 303)

    async def live(self, socket: WebSocket) -> None:
        """Snapshots of the watch."""
        await stream(socket, self._state.watching)

    async def live_traces(self, socket: WebSocket) -> None:
        """Traces of the watch."""
        await stream_traces(socket, self._state.watching)

    async def report(self, request: Request) -> Response:
        """What a report would be printed from."""
        works = [work for work in self._state.workshop.all() if work.state == DONE and work.verb in REPORTED]
        printed = [work for work in self._state.workshop.all() if work.verb == "report"]
        return self._page(
            request, "report.html", works=works, printed=printed, has_station=self._state.chain.station.is_file()
        )

    async def print_report(self, request: Request) -> Response:
        """Print a report of the results chosen."""
        async with request.form(max_files=0, max_fields=FORM_FIELDS) as sent:
            numbers = [int(str(number)) for number in sent.getlist("work") if str(number).isdecimal()]
        chosen = [work for number in numbers if (work := self._state.workshop.get(number)) is not None]
        documents = [work.folder / DOCUMENT for work in chosen if work.state == DONE]
        words = ["report", *(str(path) for path in documents if path.is_file())]
        if self._state.chain.station.is_file():
            words += ["--station", str(self._state.chain.station)]
        words += ["--out", f"{PLACE}/station.pdf", "--card", f"{PLACE}/card.pdf"]
        work = self._state.workshop.submit(words, title="station as built", pictures=False)
        return RedirectResponse(f"/result/{work.number}", 303)
