"""Pages that bring files into the log and take the log away: photographs, recordings, results, archives, contacts.

Theory  What is handed in is bounded before it is read, lies under a name of our own until it has been checked, and is
        removed again whatever becomes of it. What is taken away is written whole first.
Source  our own design; desk.log_entries, desk.log_exchange.
Holds   A photograph of at most 20 MiB, an archive of at most what the bench takes of recordings.
"""

import secrets
from abc import ABC, abstractmethod
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from starlette.background import BackgroundTask
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, RedirectResponse, Response

from tepui.desk.log_entries import (
    keep_findings_entry,
    keep_photograph_bytes,
    keep_recording_entry,
    keep_station_entry,
    pictures_of,
)
from tepui.desk.log_exchange import export_log, import_into
from tepui.desk.workshop import DONE, Work
from tepui.ground.checks import require_positive
from tepui.ground.document import document_text
from tepui.ground.errors import InputError, TepuiError
from tepui.ground.quantity import quantity_value
from tepui.logbook.store import Log
from tepui.web.forms import RAW
from tepui.web.log_forms import stamp_of
from tepui.web.log_pages import form_texts
from tepui.web.log_view import last_who
from tepui.web.state import MOST_UPLOAD, SUFFIXES, BenchState

MOST_PHOTOGRAPH = 20 << 20
FORM_ROOM = 64 << 10
EXPORTS = {"zip": "application/zip", "adi": "text/plain; charset=utf-8"}
IMPORTED = (".zip", ".adi", ".adif", ".jsonl")
UNKEPT = ("report", "log", "new", "bench")


class LogFilesPages(ABC):
    """What comes into the log as files, and what leaves it."""

    _state: BenchState

    @abstractmethod
    def _page(self, request: Request, template: str, *, status: int = 200, **shown: Any) -> Response:
        """A template filled in; Pages has it."""

    async def log_bring(self, request: Request) -> Response:
        """The sheet where files and results are brought in and the log is taken away."""
        return await run_in_threadpool(self._bring, request, said=request.query_params.get("said", "")[:400])

    def _bring(
        self,
        request: Request,
        *,
        said: str = "",
        sentence: str = "",
        at: str = "",
        given: Mapping[str, str] | None = None,
    ) -> Response:
        state = self._state
        entries = state.chain.log.entries()
        kept = {entry.revision.body["document"] for entry in entries if entry.revision.kind == "findings"}
        works = [
            work
            for work in state.workshop.all()
            if work.state == DONE and work.verb not in UNKEPT and document_text(work.document or {}) not in kept
        ]
        return self._page(
            request,
            "log_bring.html",
            status=400 if sentence else 200,
            files=state.files(SUFFIXES),
            works=works,
            raw=RAW[:3],
            has_station=state.chain.station.is_file(),
            most_photograph=MOST_PHOTOGRAPH >> 20,
            most_import=MOST_UPLOAD >> 20,
            given={"who": last_who(entries), **(given or {})},
            said=said,
            at=at,
            sentence=sentence,
        )

    async def log_photograph(self, request: Request) -> Response:
        """Keep a photograph that is handed in."""
        if not fits(request, MOST_PHOTOGRAPH):
            sentence = f"A photograph has at most {MOST_PHOTOGRAPH >> 20} MiB here; make it smaller."
            return await run_in_threadpool(self._bring, request, sentence=sentence, at="photograph")
        async with request.form(max_files=1, max_fields=8) as sent:
            part = sent.get("photograph")
            given = {key: str(text).strip() for key, text in sent.items() if not isinstance(text, UploadFile)}
            try:
                if not isinstance(part, UploadFile) or not part.filename:
                    raise InputError("No file was chosen; a photograph is a JPEG, PNG or WebP file.")
                if not given.get("caption"):
                    raise InputError("Say in words what is to be seen, for those who cannot see it.")
                data = await part.read()
                stamp = stamp_of(given, practice=self._state.practice)
                name = plain_name(part.filename)
                number = await run_in_threadpool(
                    self._state.chain.log.write,
                    lambda log: keep_photograph_bytes(log, data, stamp, name=name, caption=given["caption"]).number,
                )
            except TepuiError as problem:
                return await run_in_threadpool(
                    self._bring, request, sentence=str(problem), at="photograph", given=given
                )
        return RedirectResponse(f"/log/entry/{number}", 303)

    async def log_recording(self, request: Request) -> Response:
        """Keep a recording of the folder under its sha256."""
        given = await form_texts(request)
        try:
            number = await run_in_threadpool(self._keep_recording, given)
        except TepuiError as problem:
            return await run_in_threadpool(self._bring, request, sentence=str(problem), at="recording", given=given)
        return RedirectResponse(f"/log/entry/{number}", 303)

    def _keep_recording(self, given: Mapping[str, str]) -> int:
        if not given.get("file"):
            raise InputError("Choose a recording from the list, or hand one in first.")
        path = self._state.path_of(given["file"])
        stamp = stamp_of(given, practice=self._state.practice)
        rate, frequency = given.get("rate", "").strip(), given.get("frequency", "").strip()
        return self._state.chain.log.write(
            lambda log: (
                keep_recording_entry(
                    log,
                    path,
                    stamp,
                    sample_type=given.get("type", "").strip() or None,
                    rate_hz=rate_hz(rate) if rate else None,
                    frequency_hz=quantity_value(frequency, kind="frequency") if frequency else None,
                    note=given.get("note", "").strip() or None,
                )[0].number
            )
        )

    async def log_station(self, request: Request) -> Response:
        """Keep the station file as it stands."""
        given = await form_texts(request)
        try:
            number = await run_in_threadpool(self._keep_station, given)
        except TepuiError as problem:
            return await run_in_threadpool(self._bring, request, sentence=str(problem), at="station", given=given)
        return RedirectResponse(f"/log/entry/{number}", 303)

    def _keep_station(self, given: Mapping[str, str]) -> int:
        chain = self._state.chain
        if not chain.station.is_file():
            raise InputError("there is no station file in this folder yet.")
        text, stamp = chain.text(), stamp_of(given, practice=self._state.practice)
        return chain.log.write(lambda log: keep_station_entry(log, text, stamp, path=chain.station)[0].number)

    async def log_keep(self, request: Request) -> Response:
        """Keep results: their documents with inputs and version, their pictures, and the recordings if asked for."""
        async with request.form(max_files=0, max_fields=400) as sent:
            numbers = [int(str(one)) for one in sent.getlist("work") if str(one).isdecimal() and len(str(one)) < 9]
            with_recordings = "recordings" in sent
            given = {key: str(text) for key, text in sent.items() if key != "work"}
        works = [work for number in numbers if (work := self._state.workshop.get(number)) is not None]
        works = [work for work in works if work.state == DONE and work.document is not None]
        try:
            if not works:
                raise InputError("Choose a result that is done.")
            stamp = stamp_of(given, practice=self._state.practice)
            entries = await run_in_threadpool(
                self._state.chain.log.write,
                lambda log: [self._keep_work(log, work, stamp, with_recordings=with_recordings) for work in works],
            )
        except TepuiError as problem:
            return await run_in_threadpool(self._bring, request, sentence=str(problem), at="findings", given=given)
        if len(entries) == 1:
            return RedirectResponse(f"/log/entry/{entries[0]}", 303)
        return RedirectResponse("/log?kind=findings", 303)

    def _keep_work(self, log: Log, work: Work, stamp: Any, *, with_recordings: bool) -> int:
        text = document_text(work.document or {})
        if with_recordings:
            for path in recordings_of(work):
                keep_recording_entry(log, path, stamp, **told_of_raw(work))
        pictures = pictures_of(text, beside=work.folder / "pictures")
        return keep_findings_entry(log, text, stamp, name=f"result {work.number}", pictures=pictures)[0].number

    async def log_export(self, request: Request) -> Response:
        """The log as one archive, or its contacts as ADIF."""
        ending = request.path_params["ending"]
        if ending not in EXPORTS:
            raise HTTPException(404)
        bench = self._state.chain.log
        place = bench.path.with_name(f".tepui-log-{secrets.token_hex(6)}.{ending}")
        try:
            await run_in_threadpool(export_log, bench.path, place)
        except TepuiError as problem:
            return await run_in_threadpool(self._bring, request, sentence=str(problem), at="export")
        day = datetime.now(UTC).strftime("%Y-%m-%d")
        return FileResponse(
            place,
            filename=f"tepui-log-{day}.{ending}",
            media_type=EXPORTS[ending],
            background=BackgroundTask(place.unlink, missing_ok=True),
        )

    async def log_import(self, request: Request) -> Response:
        """Take in an archive, contacts, or the copy of a log."""
        if not fits(request, MOST_UPLOAD):
            sentence = f"At most {MOST_UPLOAD >> 20} MiB can be handed in; use 'tepui log import' for a larger archive."
            return await run_in_threadpool(self._bring, request, sentence=sentence, at="import")
        async with request.form(max_files=1, max_fields=8) as sent:
            part = sent.get("archive")
            given = {key: str(text).strip() for key, text in sent.items() if not isinstance(text, UploadFile)}
            try:
                if not isinstance(part, UploadFile) or not part.filename:
                    raise InputError("No file was chosen; .zip is an archive, .adi contacts, .jsonl the copy of a log.")
                said = await run_in_threadpool(self._take_in, part, given)
            except TepuiError as problem:
                return await run_in_threadpool(self._bring, request, sentence=str(problem), at="import", given=given)
        return await run_in_threadpool(self._bring, request, said=said)

    def _take_in(self, part: UploadFile, given: Mapping[str, str]) -> str:
        name = plain_name(part.filename or "")
        ending = Path(name).suffix.lower()
        if ending not in IMPORTED:
            raise InputError(f"{name} must end in .zip (archive), .adi (contacts) or .jsonl (the copy of a log).")
        bench = self._state.chain.log
        place = bench.path.with_name(f".tepui-import-{secrets.token_hex(6)}{ending}")
        try:
            with place.open("xb") as handle:
                while block := part.file.read(1 << 20):
                    handle.write(block)
            done = import_into(bench.path, place, stamp_of(given, practice=self._state.practice), name=name)
        except OSError as problem:
            raise InputError(f"{name} could not be put on the disk ({problem.strerror}); make room first.") from problem
        except TepuiError as problem:
            raise type(problem)(str(problem).replace(str(place), name)) from problem
        finally:
            place.unlink(missing_ok=True)
        return " ".join([done.words, *done.remarks])


def fits(request: Request, most: int) -> bool:
    """Whether what is handed in says how long it is, and is not too long."""
    told = request.headers.get("content-length", "")
    return told.isdecimal() and len(told) < 16 and int(told) <= most + FORM_ROOM


def plain_name(name: str) -> str:
    """A file's bare name without what no name should hold."""
    bare = name.replace("\\", "/").rsplit("/", 1)[-1]
    cleaned = "".join(letter if letter.isprintable() and letter not in '<>:"|?*' else "-" for letter in bare)
    return cleaned.strip(". ")[-120:] or "file"


def recordings_of(work: Work) -> list[Path]:
    """The recordings that a command was given."""
    paths = [Path(word) for word in work.words[1:] if Path(word).suffix.lower() in SUFFIXES]
    return [path for path in paths if path.is_file()]


def told_of_raw(work: Work) -> dict[str, Any]:
    """What the command said of a raw recording."""
    given = dict(zip(work.words, work.words[1:], strict=False))
    told: dict[str, Any] = {}
    if "--type" in given:
        told["sample_type"] = given["--type"]
    if "--rate" in given:
        told["rate_hz"] = rate_hz(given["--rate"])
    if "--frequency" in given:
        told["frequency_hz"] = quantity_value(given["--frequency"], kind="frequency")
    return told


def rate_hz(text: str) -> float:
    """A sample rate as it is typed: "8 MS/s", "8 MHz" or a bare number. [Hz]

    raises  InputError
    """
    try:
        value_hz = float(text)
    except ValueError:
        value_hz = quantity_value(text.replace("S/s", "Hz"), kind="frequency")
    require_positive("the sample rate", value_hz, unit="samples per second")
    return value_hz
