"""The page of the report: what goes in, what is to be printed, what was printed before."""

from abc import ABC, abstractmethod
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from tepui.desk.workshop import DOCUMENT, DONE, PLACE
from tepui.web.state import BenchState

FORM_FIELDS = 300
REPORTED = (
    *("receive", "spectrum", "drive", "frequencies", "mode", "path", "coverage", "check", "levels", "watch", "filter"),
    *("tune", "stream", "programme", "diagnose"),
)
PRINTED = (
    ("out", "The report", "every section with its pictures, and every number with its source"),
    ("card", "The settings card", "one page: what is set to put the station on the air"),
    ("package", "A build package for a friend", "report, card, station file, filter drawing, measured traces, tables"),
    ("tables", "Every table", "as CSV, and all of them as one JSON"),
)


class ReportPages(ABC):
    """The report."""

    _state: BenchState

    @abstractmethod
    def _page(self, request: Request, template: str, *, status: int = 200, **shown: Any) -> Response:
        """A template filled in; Pages has it."""

    async def report(self, request: Request) -> Response:
        """What a report would be printed from."""
        return await run_in_threadpool(self._report, request)

    def _report(self, request: Request, *, sentence: str = "") -> Response:
        works = [work for work in self._state.workshop.all() if work.state == DONE and work.verb in REPORTED]
        printed = [work for work in self._state.workshop.all() if work.verb == "report"]
        entries = [entry for entry in self._state.chain.log.entries() if not entry.revision.withdrawn]
        return self._page(
            request,
            "report.html",
            status=400 if sentence else 200,
            works=works,
            printed=printed,
            choices=PRINTED,
            entries=len(entries),
            has_station=self._state.chain.station.is_file(),
            sentence=sentence,
        )

    async def print_report(self, request: Request) -> Response:
        """Print what was chosen."""
        async with request.form(max_files=0, max_fields=FORM_FIELDS) as sent:
            numbers = [int(str(one)) for one in sent.getlist("work") if str(one).isdecimal() and len(str(one)) < 9]
            wanted = [str(one) for one in sent.getlist("print")] or ["out", "card"]
            with_home = "home" in sent
        chosen = [work for number in numbers if (work := self._state.workshop.get(number)) is not None]
        documents = [work.folder / DOCUMENT for work in chosen if work.state == DONE]
        words = ["report", *(str(path) for path in documents if path.is_file())]
        chain = self._state.chain
        if chain.station.is_file():
            words += ["--station", str(chain.station)]
        if await run_in_threadpool(chain.log.entries):
            words += ["--log", str(chain.log.path)]
        if len(words) == 1:
            sentence = "There is nothing to print yet: no station file, no result, no entry of the log."
            return await run_in_threadpool(self._report, request, sentence=sentence)
        names = {"out": "station.pdf", "card": "card.pdf", "package": "package.zip", "tables": "tables"}
        for option, name in names.items():
            if option in wanted:
                words += [f"--{option}", f"{PLACE}/{name}"]
        if with_home and "package" in wanted:
            words.append("--with-home")
        work = self._state.workshop.submit(words, title="station as built", pictures=False)
        return RedirectResponse(f"/result/{work.number}", 303)
