"""Far reports in the log, and what the findings kept in it predict for the same stations.

Theory  A reading at "at CALL" is what that station read of us. A prediction is a finding about ``path:CALL``, or about
        the path to that station's locator; its margin is that of the mode the station file names.
Source  docs/machine-interface.md for the findings of ``path``.
Holds   Documents with levels at the far end; the margin only where the mode in use stands in their table.
"""

import tomllib
from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import Any

from tepui.ground.document_reader import ReadDocument, read_document
from tepui.jobs.log_far import QUANTITIES, FarPrediction, FarReading, FarReport
from tepui.logbook.store import Entry

PREDICTED = {"receive_level_dbm": "receive_level_dbm", "mer_expected_db": "mer_db", "margin_db": "margin_db"}
FFT = {2048: "2K", 4096: "4K", 8192: "8K"}
MODE = ("fft", "constellation", "code_rate", "guard")


def far_of_log(
    entries: Sequence[Entry], *, mode: Mapping[str, str] | None = None, locators: Mapping[str, str] | None = None
) -> tuple[list[FarReport], list[FarReading], list[FarPrediction]]:
    """Reports, readings and predictions among the entries.

    mode      ``fft``, ``constellation``, ``code_rate``, ``guard`` as a station file writes them; None takes the log's
              newest station file
    locators  call -> locator of far stations, besides what contacts say
    """
    reports = [
        FarReport(
            utc=entry.revision.utc,
            call=str(entry.revision.body["call"]),
            direction=str(entry.revision.body["direction"]),
            report_sent=entry.revision.body["report_sent"],
            report_received=entry.revision.body["report_received"],
            practice=entry.revision.practice,
        )
        for entry in _of_kind(entries, "contact")
    ]
    readings = [one for entry in _of_kind(entries, "reading") if (one := _reading(entry)) is not None]
    known = dict(locators or {})
    for entry in _of_kind(entries, "contact"):
        if entry.revision.body["locator"]:
            known.setdefault(str(entry.revision.body["call"]), str(entry.revision.body["locator"]))
    channel = mode
    for entry in _of_kind(entries, "station"):
        told = station_values(str(entry.revision.body["toml"]))
        for far in told.get("far", []) if isinstance(told.get("far"), list) else []:
            if isinstance(far, dict) and isinstance(far.get("call"), str) and isinstance(far.get("locator"), str):
                known.setdefault(far["call"], far["locator"])
        if mode is None and isinstance(told.get("channel"), dict):
            channel = told["channel"]
    calls = {one.call for one in readings} | {one.call for one in reports}
    predictions = []
    for entry in _of_kind(entries, "findings"):
        document = read_document(str(entry.revision.body["document"]), name=f"entry {entry.number}")
        predictions += predictions_of(document, calls=calls, locators=known, mode=channel)
    return reports, readings, predictions


def _of_kind(entries: Sequence[Entry], kind: str) -> list[Entry]:
    found = [entry for entry in entries if entry.revision.kind == kind and not entry.revision.withdrawn]
    return sorted(found, key=lambda entry: (entry.revision.utc, entry.number))


def _reading(entry: Entry) -> FarReading | None:
    body = entry.revision.body
    point = str(body["point"])
    if not point.startswith("at ") or body["key"] not in QUANTITIES:
        return None
    half = None if body["low"] is None or body["high"] is None else (body["high"] - body["low"]) / 2
    return FarReading(
        utc=entry.revision.utc,
        call=point.removeprefix("at ").strip().upper(),
        quantity=str(body["key"]),
        value_db=float(body["value"]),
        half_db=half,
        practice=entry.revision.practice,
    )


def predictions_of(
    document: ReadDocument,
    *,
    calls: set[str],
    locators: Mapping[str, str],
    mode: Mapping[str, Any] | None,
) -> list[FarPrediction]:
    """What a document of the path predicts for these far stations."""
    found: dict[tuple[str, str], FarPrediction] = {}
    utc = str(document.plain["utc"])
    for one in document.findings:
        if not one.about.startswith("path:") or one.key not in PREDICTED or not one.is_number:
            continue
        call = _call_of(one.about.removeprefix("path:"), calls=calls, locators=locators)
        if call is None or one.low is None or one.high is None:
            continue
        quantity = PREDICTED[one.key]
        found[call, quantity] = FarPrediction(
            utc=utc,
            call=call,
            quantity=quantity,
            value_db=float(one.value),  # type: ignore[arg-type]
            low_db=one.low,
            high_db=one.high,
        )
        if quantity == "receive_level_dbm" and (call, "margin_db") not in found:
            margin = _margin(document, mode)
            if margin is not None:
                up, down = one.high - float(one.value), float(one.value) - one.low  # type: ignore[arg-type]
                found[call, "margin_db"] = FarPrediction(
                    utc=utc,
                    call=call,
                    quantity="margin_db",
                    value_db=margin,
                    low_db=margin - down,
                    high_db=margin + up,
                )
    return list(found.values())


def _call_of(name: str, *, calls: set[str], locators: Mapping[str, str]) -> str | None:
    if name.upper() in calls:
        return name.upper()
    near = name.upper()
    return next((call for call in sorted(calls) if locators.get(call, "-").upper()[:6] == near[:6]), None)


def _margin(document: ReadDocument, mode: Mapping[str, Any] | None) -> float | None:
    """The margin of the mode in use; None where the table does not hold it."""
    table = next((one for one in document.tables if one.name == "mode_margins"), None)
    if table is None or mode is None or any(not isinstance(mode.get(key), str) for key in MODE):
        return None
    keys = [key for key, _ in table.columns]
    if not {"fft_size", "constellation", "code_rate", "guard_fraction", "margin_db"} <= set(keys):
        return None
    for row in table.rows:
        told = dict(zip(keys, row, strict=True))
        same = (
            FFT.get(told["fft_size"]) == mode["fft"]  # type: ignore[arg-type]
            and told["constellation"] == mode["constellation"]
            and told["code_rate"] == mode["code_rate"]
            and _same_guard(str(told["guard_fraction"]), str(mode["guard"]))
        )
        if same and isinstance(told["margin_db"], float | int):
            return float(told["margin_db"])
    return None


def _same_guard(one: str, other: str) -> bool:
    try:
        return Fraction(one) == Fraction(other)
    except (ValueError, ZeroDivisionError):
        return False


def station_values(text: str) -> dict[str, Any]:
    """What TOML makes of a station file's text; nothing where it is none."""
    try:
        return tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError):
        return {}
