"""What far stations read of us against what was predicted: level, MER and margin, report by report.

Theory  A report departs from the prediction that stood when it was given by d = read - predicted. The prediction's
        error is shared by all reports, the reading's is not: the mean of n departures is known to
        2 sqrt(p^2 + s^2 / n), with p the standard uncertainty of the prediction and s the larger of what one reading is
        known to and what the departures scatter by. Beyond that, path or station is not what was predicted.
Source  [GUM] 5.1 for uncorrelated terms; the picture scale P0 to P5 is common practice, and no decibels follow from it.
Holds   Predictions of the same call or locator. Where none stood yet, the first one made later is taken and named so.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tepui.ground.doubt import COVERAGE_FACTOR
from tepui.ground.findings import Contribution, Finding, Outcome, Table, Value

SOURCE = "reports of the log against findings of the path kept in it"
USUAL_READ_DB = 3.0  # doubt of a level or MER told without one: common practice for an uncalibrated receiver
COLUMNS = (
    *(("utc", ""), ("call", ""), ("direction", ""), ("report_sent", ""), ("report_received", "")),
    *(("quantity", ""), ("read_db", "dB"), ("read_doubt_db", "dB"), ("predicted_db", "dB"), ("predicted_low_db", "dB")),
    *(("predicted_high_db", "dB"), ("departure_db", "dB"), ("predicted_utc", ""), ("practice", "")),
)
QUANTITIES = ("receive_level_dbm", "mer_db", "margin_db")
WORDS = {"receive_level_dbm": "level", "mer_db": "MER", "margin_db": "margin"}


@dataclass(frozen=True, kw_only=True)
class FarReading:
    """What a far station read: one of QUANTITIES, in dB or dBm; ``half_db`` its 95 % doubt or None."""

    utc: str
    call: str
    quantity: str
    value_db: float
    half_db: float | None
    practice: bool


@dataclass(frozen=True, kw_only=True)
class FarReport:
    """A contact: who, when, which way, the picture reports."""

    utc: str
    call: str
    direction: str
    report_sent: str | None
    report_received: str | None
    practice: bool


@dataclass(frozen=True, kw_only=True)
class FarPrediction:
    """What was predicted at a far station, and when."""

    utc: str
    call: str
    quantity: str
    value_db: float
    low_db: float
    high_db: float


@dataclass(frozen=True, kw_only=True)
class _Compared:
    reading: FarReading
    predicted: FarPrediction
    earlier: bool

    @property
    def departure_db(self) -> float:
        return self.reading.value_db - self.predicted.value_db

    @property
    def half_db(self) -> float:
        return USUAL_READ_DB if self.reading.half_db is None else self.reading.half_db


def far_trend(
    reports: Sequence[FarReport], readings: Sequence[FarReading], predictions: Sequence[FarPrediction]
) -> Outcome:
    """Every far station's reports against the predictions."""
    findings: list[Finding] = []
    compared: list[_Compared] = []
    for call in sorted({one.call for one in readings}):
        for quantity in QUANTITIES:
            own = sorted(
                (one for one in readings if (one.call, one.quantity) == (call, quantity)), key=lambda one: one.utc
            )
            if not own:
                continue
            found = [one for one in (_against(reading, predictions) for reading in own) if one is not None]
            compared += found
            findings += _findings(call, quantity, own, found)
    rows = _rows(reports, readings, compared)
    outcome = Outcome(findings=tuple(findings), tables=(Table(name="far_reports", columns=COLUMNS, rows=rows),))
    return outcome if not compared else _drawn(outcome, compared)


def _against(reading: FarReading, predictions: Sequence[FarPrediction]) -> _Compared | None:
    own = sorted(
        (one for one in predictions if (one.call, one.quantity) == (reading.call, reading.quantity)),
        key=lambda one: one.utc,
    )
    if not own:
        return None
    before = [one for one in own if one.utc <= reading.utc]
    return _Compared(reading=reading, predicted=before[-1] if before else own[0], earlier=bool(before))


def _findings(
    call: str, quantity: str, readings: Sequence[FarReading], found: Sequence[_Compared]
) -> tuple[Finding, ...]:
    about, word = f"path:{call}", WORDS[quantity]
    key = f"{'level' if quantity == 'receive_level_dbm' else quantity.removesuffix('_db')}_departure_db"
    if not found:
        remark = (
            f"{len(readings)} readings of the {word}, and no prediction for {call} in the log: work out the path with "
            "this far station and keep the result."
        )
        return (Finding(about=about, key=key, value=None, unit="dB", standing="unknown", source=SOURCE, remark=remark),)
    departures = np.array([one.departure_db for one in found])
    n, mean = len(found), float(departures.mean())
    read = float(np.mean([one.half_db for one in found])) / COVERAGE_FACTOR
    scatter = max(read, float(departures.std(ddof=1)) if n > 2 else 0.0)
    shared = float(np.mean([(one.predicted.high_db - one.predicted.low_db) / 2 for one in found])) / COVERAGE_FACTOR
    std = (shared**2 + scatter**2 / n) ** 0.5
    half = COVERAGE_FACTOR * std
    later = sum(not one.earlier for one in found)
    told = f"{n} reading{'s' if n > 1 else ''} of the {word} by {call}, the latest {found[-1].reading.utc[:10]}: "
    told += f"{mean:+.1f} dB from what was predicted"
    told += f"; of {later} the prediction was made only afterwards." if later else "."
    beyond = abs(mean) > half
    parts = (
        Contribution(name="the prediction", share=shared**2 / std**2),
        Contribution(name="the readings", share=scatter**2 / n / std**2),
    )
    why = (
        f"Further from the prediction than its doubt and the readings' explain ({half:.1f} dB): look at the path's "
        "largest unknown first, then at both antennas and feeders."
        if beyond
        else f"Within what the doubts of the prediction and of the readings explain ({half:.1f} dB)."
    )
    return (
        Finding(
            about=about,
            key=key,
            value=mean,
            unit="dB",
            low=mean - half,
            high=mean + half,
            standing="computed",
            source=SOURCE,
            remark=told,
            contributions=parts,
        ),
        Finding(
            about=about,
            key=key.replace("_departure_db", "_beyond_prediction"),
            kind="caution" if beyond else "result",
            value=beyond,
            standing="computed",
            source=SOURCE,
            remark=why,
        ),
    )


def _rows(
    reports: Sequence[FarReport], readings: Sequence[FarReading], compared: Sequence[_Compared]
) -> tuple[tuple[Value, ...], ...]:
    """A row a reading, and one for each report without any."""
    by_reading = {id(one.reading): one for one in compared}
    rows: list[tuple[Value, ...]] = []
    for reading in readings:
        report = next((one for one in reports if (one.call, one.utc) == (reading.call, reading.utc)), None)
        told = by_reading.get(id(reading))
        head = (reading.utc, reading.call, *_words(report))
        read = (reading.quantity, reading.value_db, reading.half_db)
        if told is None:
            rows.append((*head, *read, None, None, None, None, None, reading.practice))
            continue
        one = told.predicted
        rows.append((*head, *read, one.value_db, one.low_db, one.high_db, told.departure_db, one.utc, reading.practice))
    known = {(one.call, one.utc) for one in readings}
    for report in reports:
        if (report.call, report.utc) not in known:
            rows.append((report.utc, report.call, *_words(report), *(None,) * 8, report.practice))
    return tuple(sorted(rows, key=lambda row: (str(row[0]), str(row[1]), str(row[5]))))


def _words(report: FarReport | None) -> tuple[str | None, str | None, str | None]:
    return (None, None, None) if report is None else (report.direction, report.report_sent, report.report_received)


def _drawn(outcome: Outcome, compared: Sequence[_Compared]) -> Outcome:
    first = next((one for one in outcome.findings if one.standing == "computed" and one.key.endswith("_db")), None)
    points = [
        {
            "utc": one.reading.utc,
            "call": one.reading.call,
            "quantity": one.reading.quantity,
            "departure_db": one.departure_db,
            "half_db": one.half_db,
            "predicted_half_db": (one.predicted.high_db - one.predicted.low_db) / 2,
        }
        for one in compared
    ]
    picture = {"points": points, "finding": first}
    return Outcome(findings=outcome.findings, tables=outcome.tables, pictures={"far_reports": picture})
