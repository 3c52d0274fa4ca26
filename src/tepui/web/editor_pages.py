"""The station sheet: every key of the file as a field, the file itself beside it, each step undone and done again.

Theory  A field is written as it is left: checked by the same reader as the file, put into the text without touching
        the rest, the whole file checked, written. What is refused stays in the field with its sentence. A page says
        from which text it was drawn; where the disk holds another one, the difference is shown and nothing written.
Source  our own design; station.fields, station.editing.
Holds   The same requests with and without scripts: a form that is sent whole changes what differs.
"""

from abc import ABC, abstractmethod
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from tepui.desk.workshop import DONE
from tepui.ground.errors import InputError
from tepui.web.chain import CHECK_S
from tepui.web.editor_fields import FIRST, TITLES, changed_text, sheet_parts
from tepui.web.state import BenchState
from tepui.web.station_file import MOST_BYTES, ChangedError, difference, mark_of

if TYPE_CHECKING:  # the modules of the station file bring numpy; the first page does without
    from tepui.station.fields import Field

FORM_FIELDS = 400


class EditorPages(ABC):
    """The station file: fields, text, steps."""

    _state: BenchState

    @abstractmethod
    def _page(self, request: Request, template: str, *, status: int = 200, **shown: Any) -> Response:
        """A template filled in; Pages has it."""

    async def station_file(self, request: Request) -> Response:
        """The station sheet with one part of the file in fields."""
        draft = None
        if name := request.query_params.get("from"):
            draft = await run_in_threadpool(self._state.chain.file.earlier_text, name)
        return await run_in_threadpool(self._station_file, request, draft=draft)

    def _station_file(
        self,
        request: Request,
        *,
        sentence: str = "",
        draft: str | None = None,
        base: str = "",
        typed: "Mapping[str, Field] | None" = None,
    ) -> Response:
        """The sheet.

        draft   text for the editor in place of the file's; ``base`` the mark of what it was made from
        typed   fields as they were sent, in place of the file's
        """
        file = self._state.chain.file
        text = file.text()
        mark = file.drawn(text)
        changed = bool(base) and base != mark
        here = draft if draft is not None else file.known(base)
        return self._page(
            request,
            "station_file.html",
            status=400 if sentence else 200,
            text=text if draft is None else draft,
            mark=base if draft is not None and base else mark,
            disk_mark=mark,
            difference=difference(here, text) if changed or (draft is not None and not base) else [],
            changed=changed,
            sentence=sentence,
            has_station=file.path.is_file(),
            steps=file.steps,
            earlier=file.earlier(),
            **sheet_parts(text, request.path_params.get("part", FIRST), typed=typed or {}, trouble=file.problem(text)),
        )

    async def write_part(self, request: Request) -> Response:
        """Write the fields that were sent; ``text`` among them means the whole file."""
        async with request.form(max_files=0, max_fields=FORM_FIELDS, max_part_size=MOST_BYTES) as sent:
            given = {key: str(text).replace("\r\n", "\n") for key, text in sent.items()}
        if "text" in given:
            return await run_in_threadpool(self._write_text, request, given["text"], given.get("mark", ""))
        return await run_in_threadpool(self._write_part, request, given)

    def _write_text(self, request: Request, text: str, before: str) -> Response:
        try:
            self._state.chain.write(text, before=before)
        except InputError as problem:
            return self._station_file(request, sentence=str(problem), draft=text, base=before)
        return RedirectResponse(request.url.path, 303)

    def _write_part(self, request: Request, given: Mapping[str, str]) -> Response:
        file = self._state.chain.file
        before, name = given.get("mark", ""), request.path_params.get("part", FIRST)
        text = file.known(before) or file.text()
        asks_data = "application/json" in request.headers.get("accept", "")
        sentence = ""
        typed: dict[str, Field] = {}
        try:
            changed, typed = changed_text(text, name, given)
            if not any(field.wrong for field in typed.values()) and changed != text:
                file.write(changed, before=before, lenient=True)
        except ChangedError as problem:
            sentence = str(problem)
        except InputError as problem:
            sentence = str(problem)
            if len(typed) == 1:
                typed = {key: replace(field, wrong=sentence) for key, field in typed.items()}
        wrong = {key: field.wrong for key, field in typed.items() if field.wrong}
        if asks_data:
            return self._told(before, name, wrong=wrong, sentence=sentence)
        if sentence or wrong:
            sentence = sentence or "Nothing was written yet: a field below cannot be used as it stands."
            return self._station_file(request, sentence=sentence, base=before, typed=typed)
        return RedirectResponse(f"/station/{name}", 303)

    def _told(self, before: str, name: str, *, wrong: Mapping[str, str], sentence: str) -> Response:
        """What came of a field, for the page that stays open."""
        from tepui.station.fields import fields_of, part_of

        file = self._state.chain.file
        text = file.text()
        told: dict[str, Any] = {
            "wrong": wrong,
            "sentence": "" if wrong else sentence,
            "written": not wrong and not sentence,
            "text": text,
            "mark": file.drawn(text),
            "steps": file.steps,
            "trouble": file.problem(text),
            "lines": {},
        }
        with suppress(InputError):  # where the disk has no such part any more, the difference says it
            told["lines"] = {field.key: field.line for field in fields_of(text, part_of(text, name)) if field.stated}
        if sentence and not wrong:
            told |= {"text": file.known(before), "mark": before}
        return JSONResponse(told, headers={"cache-control": "no-store"})

    async def difference(self, request: Request) -> Response:
        """What the disk holds otherwise than the text this page was drawn from, as a part of a page."""
        before = request.query_params.get("mark", "")
        file = self._state.chain.file
        text = await run_in_threadpool(file.text)
        if mark_of(text) == before:
            return Response(status_code=204, headers={"cache-control": "no-store"})
        lines = difference(file.known(before), text)
        return self._page(request, "difference.html", difference=lines)

    async def undo(self, request: Request) -> Response:
        """One step back."""
        return await self._do(request, lambda given: self._state.chain.file.undo(before=given.get("mark", "")))

    async def redo(self, request: Request) -> Response:
        """One step forward again."""
        return await self._do(request, lambda given: self._state.chain.file.redo(before=given.get("mark", "")))

    async def add_entry(self, request: Request) -> Response:
        """One more stage, instrument or the like."""

        def add(given: Mapping[str, str]) -> None:
            from tepui.station.editing import with_entry

            table, after = given.get("table", ""), given.get("after", "")
            if table not in TITLES:
                raise InputError(f"{table} is no table of which there may be several.")
            values = {key[2:]: text.strip() for key, text in given.items() if key.startswith("v.") and text.strip()}
            text = self._state.chain.text()
            changed = with_entry(text, table, values, after=int(after) if after.isdecimal() else None)
            self._state.chain.file.write(changed, before=given.get("mark", ""), lenient=True)

        return await self._do(request, add)

    async def remove_entry(self, request: Request) -> Response:
        """Take a stage, instrument or the like out."""

        def remove(given: Mapping[str, str]) -> None:
            from tepui.station.editing import without_entry
            from tepui.station.fields import part_of

            text = self._state.chain.text()
            part = part_of(text, given.get("part", ""))
            if part.number is None:
                raise InputError(f"{part.title} occurs once and stays; empty its fields instead.")
            changed = without_entry(text, part.table, part.number)
            self._state.chain.file.write(changed, before=given.get("mark", ""), lenient=True)

        return await self._do(request, remove)

    async def move_entry(self, request: Request) -> Response:
        """Let two neighbours change places."""

        def move(given: Mapping[str, str]) -> None:
            from tepui.station.editing import with_neighbours_exchanged
            from tepui.station.fields import part_of

            text = self._state.chain.text()
            part = part_of(text, given.get("part", ""))
            first = (part.number or 0) - (given.get("to") == "earlier")
            changed = with_neighbours_exchanged(text, part.table, first)
            self._state.chain.file.write(changed, before=given.get("mark", ""), lenient=True)

        return await self._do(request, move)

    async def _do(self, request: Request, act: Callable[[Mapping[str, str]], None]) -> Response:
        """A change by a button: done, and on to the page it names; or the sheet with the sentence."""
        async with request.form(max_files=0, max_fields=FORM_FIELDS) as sent:
            given = {key: str(text) for key, text in sent.items()}
        try:
            await run_in_threadpool(act, given)
        except InputError as problem:
            base = given.get("mark", "")
            request.path_params["part"] = given.get("part", FIRST)
            return await run_in_threadpool(self._station_file, request, sentence=str(problem), base=base)
        goal = given.get("goal", "")
        return RedirectResponse(f"/station/{goal}" if goal.replace("-", "").isalnum() else "/station", 303)

    async def new_station(self, request: Request) -> Response:
        """Write the example station into the folder, where there is none."""
        chain, workshop = self._state.chain, self._state.workshop
        if not chain.station.exists():
            work = workshop.submit(["new", str(chain.station)], title="new", pictures=False, listed=False)
            ended = await run_in_threadpool(workshop.wait, work.number, timeout_s=CHECK_S)
            if ended is None or ended.state != DONE:
                sentence = "the example could not be written." if ended is None else ended.sentence
                return await run_in_threadpool(self._station_file, request, sentence=sentence)
        return RedirectResponse("/station", 303)
