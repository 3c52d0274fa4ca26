"""``mode`` at the desk: options and station file into one question, the modes printed."""

import re
import sys
from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

from scipy.constants import speed_of_light

from tepui.desk.frequency_options import FFT_SIZES, Options
from tepui.desk.frequency_station import station_options
from tepui.desk.hashes import InputHashes
from tepui.files.station import named_files, open_station
from tepui.ground.document import build_document, document_text
from tepui.ground.errors import QuantityError, RangeError
from tepui.ground.findings import Outcome, Table
from tepui.ground.listing import outcome_text, page_for
from tepui.jobs.mode import ModeQuestion, choose_mode
from tepui.prediction.mode_choice import EDITIONS, ModeWish
from tepui.station.nouns import Station
from tepui.station.order import is_inverted

SHOWN = ("constellation", "code_rate", "net_bit_rate_bps", "required_cn_db", "video_rate_max_bps", "pareto")


def run_mode(given: Mapping[str, Any], *, as_json: bool) -> int:
    """The verb: choose, print, return the exit code.

    raises  InputError where something cannot be used
    """
    options = {name: value for name, value in given.items() if value is not None}
    inputs: list[Path] = []
    name = None
    if given.get("station") is not None:
        station = open_station(given["station"])
        name = station.name
        inputs += named_files(station, given["station"])
        options = {**_from_station(station), **options}
    question = _question(options)
    outcome = choose_mode(question)
    document = build_document(
        verb="mode", outcomes=[outcome], inputs=InputHashes(inputs).result(), files=[], station=name
    )
    sys.stdout.write(document_text(document) if as_json else _text(outcome))
    return 0


def _from_station(station: Station) -> dict[str, Any]:
    channel, programme = station.channel, station.programme
    planned = station_options(station)
    found: dict[str, Any] = {
        "width": channel.width.text,
        "fft": channel.fft,
        "guard": channel.guard,
        "constellation": channel.constellation,
        "code_rate": channel.code_rate,
        "centre": channel.centre.text,
        "audio": None if programme.audio is None else programme.audio.text,
        "tables": None if programme.tables is None else programme.tables.text,
        "headroom": None if programme.headroom is None else programme.headroom.text,
        "inverted": _inverted(station),
    }
    signal = planned.get("signal")
    if signal is not None and ".." not in signal and "," not in signal:
        found["signal"] = signal
    return {key: value for key, value in found.items() if value is not None}


def _inverted(station: Station) -> bool | None:
    """By the oscillators where they are stated, else by the side of the channel they shall stand on."""
    if any(stage.kind == "mixer" for stage in station.stages):
        stated = is_inverted(station)
        if stated is not None:
            return stated
    return None if station.channel.side is None else station.channel.side == "high"


def _question(given: Mapping[str, Any]) -> ModeQuestion:
    options = Options(given)
    width = options.value("width", "frequency")
    if width is None:
        raise RangeError('--width is needed, or a station file: the channel width, such as --width "7 MHz".')
    centre = options.value("centre", "frequency")
    rate, code = given.get("guard"), given.get("code_rate")
    wish = ModeWish(
        n_fft=FFT_SIZES.get(given.get("fft") or ""),
        constellation=given.get("constellation"),
        code_rate=None if code is None else Fraction(code),
        guard=None if rate is None else Fraction(rate),
        cn_db=options.value("cn", "ratio"),
        margin_db=options.sure("margin", "ratio", "8 dB"),
        echo_s=_echo_s(options),
        doppler_hz=_doppler_hz(options, centre),
        rate_bps=options.value("rate", "rate"),
    )
    audio = options.sure("audio", "rate", "0.2 Mbit/s", words="sound")
    tables = options.sure("tables", "rate", "0.06 Mbit/s", words="tables")
    headroom = options.sure("headroom", "percent", "5 %", words="headroom")
    if not 0 <= headroom < 1:
        raise RangeError(
            f"--headroom must lie between 0 and 100 % (a share of the net rate), not {headroom * 100:g} %."
        )
    return ModeQuestion(
        width_hz=width,
        edition=given.get("edition") or EDITIONS[0],
        channel=given.get("reception") or "Ricean F1",
        wish=wish,
        audio_bps=audio,
        tables_bps=tables,
        headroom=headroom,
        centre_hz=centre,
        signal_hz=options.value("signal", "frequency"),
        inverted=given.get("inverted"),
        assumed=tuple(options.assumed),
    )


def _echo_s(options: Options) -> float | None:
    """A time, or a path difference at the speed of light."""
    text = options.text("echo")
    if text is None:
        return None
    if re.search(r"[0-9]\s*(m|mm|cm|km)\s*$", text):
        length = options.value("echo", "length")
        assert length is not None
        return float(length / speed_of_light)
    return options.value("echo", "time")


def _doppler_hz(options: Options, centre_hz: float | None) -> float | None:
    text = options.text("speed")
    if text is None:
        return options.value("doppler", "frequency")
    if centre_hz is None:
        raise RangeError("--speed needs --centre: the shift is the frequency times the speed over that of light.")
    match = re.fullmatch(r"\s*([0-9]+(?:\.[0-9]+)?)\s*(km/h|m/s)\s*", text)
    if match is None:
        raise QuantityError(f'--speed: "{text}" is no speed: write "100 km/h" or "28 m/s".')
    speed = float(match[1]) / (3.6 if match[2] == "km/h" else 1.0)
    return float(centre_hz * speed / speed_of_light)


def _text(outcome: Outcome) -> str:
    """For a terminal: the mode in full, and beside it the fifteen modes of the same FFT size and guard."""
    tables = []
    for table in outcome.tables:
        tables.append(_beside(table, outcome) if table.name == "modes" else table)
    return outcome_text(replace(outcome, tables=tuple(tables)), page_for(sys.stdout)) + "\n"


def _beside(table: Table, outcome: Outcome) -> Table:
    stated = {finding.key: finding.value for finding in outcome.findings}
    keys = [key for key, _ in table.columns]
    size, guard = keys.index("fft_size"), keys.index("guard_fraction")
    rows = [
        row for row in table.rows
        if row[size] == stated.get("fft_size", 8192) and row[guard] == stated.get("guard_fraction", "1/16")
    ]  # fmt: skip
    places = [keys.index(key) for key in SHOWN]
    columns = tuple(table.columns[place] for place in places)
    return Table(name=table.name, columns=columns, rows=tuple(tuple(row[place] for place in places) for row in rows))
