"""Pages of the log: the list, one entry with its history, what is typed into it, and what is changed.

Theory  The log only grows: a change here is a revision there, and undo writes again what stood before. Every form posts
        and is answered by a page of its own address, so that reload and back repeat nothing.
Source  our own design; desk.bench_log.
Holds   The log beside the bench's station file.
"""

from abc import ABC, abstractmethod
from collections.abc import Mapping
from pathlib import Path
from typing import Any
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, RedirectResponse, Response

from tepui.desk.log_entries import changes_of_words, stored_file
from tepui.files.kept import store_path
from tepui.ground.errors import InputError, TepuiError
from tepui.logbook.kinds import KINDS, is_utc
from tepui.logbook.store import Entry, Log
from tepui.web.log_forms import ask_for, revisions_of, stamp_of
from tepui.web.log_view import (
    edit_fields,
    findings_view,
    last_who,
    lines_of,
    matching,
    revision_views,
)
from tepui.web.state import BenchState
from tepui.web.station_text import far_of, instruments_of, own_side, stages_of

FORM_FIELDS, LONGEST_FORM = 60, 1 << 20
PAGE = 100
TYPES = {
    ".png": "image/png",
    ".jpg": "image/jpeg",
    ".jpeg": "image/jpeg",
    ".webp": "image/webp",
    ".svg": "image/svg+xml",
}


class LogPages(ABC):
    """The log and its entries."""

    _state: BenchState

    @abstractmethod
    def _page(self, request: Request, template: str, *, status: int = 200, **shown: Any) -> Response:
        """A template filled in; Pages has it."""

    async def log(self, request: Request) -> Response:
        """The list."""
        return await run_in_threadpool(self._log, request)

    def _log(self, request: Request) -> Response:
        given = dict(request.query_params)
        bench = self._state.chain.log
        entries = bench.entries()
        found = matching(entries, given)
        page = max(1, int(given["page"])) if given.get("page", "").isdecimal() and len(given["page"]) < 7 else 1
        shown = found[(page - 1) * PAGE : page * PAGE]
        return self._page(
            request,
            "log.html",
            lines=lines_of(shown),
            found=len(found),
            held=sum(not entry.revision.withdrawn for entry in entries),
            given=given,
            kinds=tuple(KINDS),
            query="".join(f"{key}={quote(text)}&" for key, text in given.items() if key != "page"),
            page=page,
            pages=-(-len(found) // PAGE),
            sentence=bench.sentence,
        )

    async def log_ask(self, request: Request) -> Response:
        """The form of a kind."""
        return await run_in_threadpool(self._log_ask, request, given=dict(request.query_params))

    def _log_ask(self, request: Request, *, given: Mapping[str, str], sentence: str = "") -> Response:
        text = self._state.chain.text()
        ask = ask_for(
            request.path_params["kind"],
            points=[name for name, _ in stages_of(text)],
            instruments=instruments_of(text),
            calls=[far["call"] for far in far_of(text) if far["call"]],
        )
        if ask is None:
            raise HTTPException(404)
        told = {"who": last_who(self._state.chain.log.entries()), **(own_side(text) if ask.kind == "contact" else {})}
        told |= given
        return self._page(
            request, "log_ask.html", status=400 if sentence else 200, ask=ask, given=told, sentence=sentence
        )

    async def log_enter(self, request: Request) -> Response:
        """Enter what was filled in."""
        given = await form_texts(request)
        try:
            number = await run_in_threadpool(self._enter, request.path_params["kind"], given)
        except TepuiError as problem:
            return await run_in_threadpool(self._log_ask, request, given=given, sentence=str(problem))
        return RedirectResponse(f"/log/entry/{number}", 303)

    def _enter(self, kind: str, given: Mapping[str, str]) -> int:
        bench = self._state.chain.log
        if ask_for(kind, points=(), instruments=(), calls=()) is None:
            raise HTTPException(404)
        stamp = stamp_of(given, practice=self._state.practice)

        def write(log: Log) -> list[Entry]:
            checks = [entry.revision.body for entry in log.entries("check")] if kind == "check" else []
            return log.add_all(revisions_of(kind, given, stamp, checks=checks))

        return bench.write(write)[0].number

    async def log_entry(self, request: Request) -> Response:
        """One entry: as it stands, its history, what may be changed."""
        return await run_in_threadpool(self._entry, request)

    def _entry(self, request: Request, *, sentence: str = "", given: Mapping[str, str] | None = None) -> Response:
        number = request.path_params["number"]
        bench = self._state.chain.log
        try:
            history = bench.read(lambda log: log.history(number))
        except InputError as problem:
            raise HTTPException(404) from problem
        last = history[-1]
        entries = bench.entries()
        return self._page(
            request,
            "log_entry.html",
            status=400 if sentence else 200,
            entry_number=number,
            line=lines_of([Entry(number=number, revision=last)])[0],
            revision=last,
            revisions=revision_views(history),
            files=last.files,
            pictures=[one for one in last.files if Path(one.name).suffix.lower() in TYPES],
            fields=edit_fields(last),
            found=findings_view(last, entries) if last.kind == "findings" else None,
            given=given or {},
            who=last_who(entries),
            sentence=sentence,
        )

    async def log_edit(self, request: Request) -> Response:
        """Write a revision of what was changed; what stands as before is left alone."""
        given = await form_texts(request)
        return await self._changed(request, given, lambda: self._edit(request.path_params["number"], given))

    def _edit(self, number: int, given: Mapping[str, str]) -> None:
        who, utc = given.get("who", "").strip() or None, given.get("utc", "").strip()
        if utc and not is_utc(utc):
            raise InputError(f"the time must be ISO 8601 in UTC, such as 2026-01-31T20:15:00Z, not {utc[:40]}.")

        def write(log: Log) -> None:
            last = log.entry(number).revision
            words = [
                f"{field.name}={given[field.name].strip()}"
                for field in edit_fields(last)
                if field.name in given and given[field.name].strip() != field.value.strip()
            ]
            if not words and utc in ("", last.utc):
                raise InputError("nothing was changed, so no revision was written.")
            log.edit(number, changes_of_words(last, words), who=who, utc=utc or None)

        self._state.chain.log.write(write)

    async def log_undo(self, request: Request) -> Response:
        """Write again what stood before."""
        given, number = await form_texts(request), request.path_params["number"]
        who = given.get("who", "").strip() or None
        bench = self._state.chain.log
        return await self._changed(request, given, lambda: bench.write(lambda log: log.undo(number, who=who)))

    async def log_withdraw(self, request: Request) -> Response:
        """Write that an entry no longer counts."""
        given, number = await form_texts(request), request.path_params["number"]
        who = given.get("who", "").strip() or None
        bench = self._state.chain.log
        return await self._changed(request, given, lambda: bench.write(lambda log: log.withdraw(number, who=who)))

    async def _changed(self, request: Request, given: Mapping[str, str], change: Any) -> Response:
        try:
            await run_in_threadpool(change)
        except TepuiError as problem:
            return await run_in_threadpool(self._entry, request, sentence=str(problem), given=given)
        return RedirectResponse(f"/log/entry/{request.path_params['number']}", 303)

    async def log_file(self, request: Request) -> Response:
        """A file that an entry keeps."""
        return await run_in_threadpool(self._file, request)

    def _file(self, request: Request) -> Response:
        bench, wanted = self._state.chain.log, request.path_params["digest"]
        try:
            history = bench.read(lambda log: log.history(request.path_params["number"]))
        except InputError as problem:
            raise HTTPException(404) from problem
        for revision in history:
            for one in revision.files:
                if one.sha256 == wanted:
                    place = store_path(bench.path) / stored_file(revision, one)
                    if not place.is_file():
                        raise InputError(f"{place.name} is missing beside the log; put the file back.")
                    kind = TYPES.get(place.suffix)
                    shown = "inline" if kind else "attachment"
                    return FileResponse(
                        place,
                        filename=one.name,
                        media_type=kind or "application/octet-stream",
                        content_disposition_type=shown,
                    )
        raise HTTPException(404)


async def form_texts(request: Request) -> dict[str, str]:
    """The texts of a form that hands in no file."""
    async with request.form(max_files=0, max_fields=FORM_FIELDS, max_part_size=LONGEST_FORM) as sent:
        return {key: str(text) for key, text in sent.items()}
