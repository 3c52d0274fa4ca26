"""``frequencies`` at the desk: station file, tables and local band opened, plans judged, kept and printed."""

import sys
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from tepui.desk.frequency_options import Own, question_from
from tepui.desk.frequency_station import FAR_OPTIONS, far_options, station_options
from tepui.desk.hashes import InputHashes
from tepui.desk.keep import require_folder
from tepui.evidence.local_services import Occupied, occupied_channels
from tepui.files.mixer_tables import read_band_table, read_mixer_table
from tepui.files.recordings import open_recording, recording_files
from tepui.files.station import named_files, open_station
from tepui.files.within import named_file
from tepui.ground.document import build_document, document_text
from tepui.ground.errors import RangeError
from tepui.ground.findings import Outcome, Table
from tepui.ground.listing import outcome_text, page_for
from tepui.ground.quantity import parse_quantity
from tepui.jobs.frequencies import plan_frequencies
from tepui.jobs.frequencies_local import local_findings
from tepui.prediction.plan_question import LocalService
from tepui.signals.recording import Recording
from tepui.signals.spectrum import spectrum_of_recording

SHOWN_TABLES = ("plans", "products_behind_filter", "which_line", "synthesiser_settings", "phase_noise", "cascades",
                "oscillator_products", "local_products", "oscillator_lines")  # fmt: skip
TABLE_SUFFIXES = (".csv", ".txt")
PARTS_OF_A_CHANNEL = 200  # resolution in which the local band is looked at
FLAT_SHARE = 0.8  # of a recording's width: common practice, where several are joined
Floats = npt.NDArray[np.float64]


def run_frequencies(given: Mapping[str, Any], *, as_json: bool, strict: bool) -> int:
    """The verb: open, search, print, return the exit code.

    raises  InputError where something cannot be used: then nothing is written
    """
    inputs: list[Path] = []
    options = {name: value for name, value in given.items() if value is not None}
    name: str | None = None
    fars: list[tuple[str, Mapping[str, Any]]] = [("far", {})]
    if given.get("station") is not None:
        station = open_station(given["station"])
        name = station.name
        fars = [(far.call, far_options(far)) for far in station.fars] or fars
        options = {**station_options(station), **options}
        inputs += named_files(station, given["station"])
        if "mixer_table" in options and given.get("mixer_table") is None:
            options["mixer_table"] = named_file(given["station"], options["mixer_table"])
    plots = given.get("plots")
    if plots is not None:
        require_folder(plots)
    own = _own(options, inputs)
    found, practice = _local_band(options, inputs)
    services = tuple(LocalService(centre_hz=one.centre_hz, width_hz=one.width_hz) for one in found)
    hashes = InputHashes(inputs)
    fars[0] = fars[0][0], {**fars[0][1], **{key: options[key] for key in FAR_OPTIONS if key in options}}
    question = question_from(options, locals_found=services, own=own, fars=tuple(fars))
    outcome = plan_frequencies(question)
    if found:
        findings, table = local_findings(found, source=", ".join(str(path) for path in options["local_band"]))
        outcome = replace(outcome, findings=(*outcome.findings, *findings), tables=(*outcome.tables, table))
    written: list[str] = []
    if plots is not None and outcome.pictures:
        from tepui.report.pictures import draw_pictures

        plots.mkdir(exist_ok=True)
        written = [str(path) for path in draw_pictures(outcome.pictures, plots, practice=practice)]
    document = build_document(
        verb="frequencies", outcomes=[outcome], inputs=hashes.result(), files=written, practice=practice, station=name
    )
    sys.stdout.write(document_text(document) if as_json else _text(outcome, written, number=question.number))
    rejected = any(f.key == "plan_verdict" and f.value == "rejected" for f in outcome.findings)
    return 1 if strict and rejected else 0


def _own(options: Mapping[str, Any], inputs: list[Path]) -> Own | None:
    path = options.get("mixer_table")
    if path is None:
        return None
    if "mixer" in options:
        raise RangeError("--mixer and --mixer-table exclude each other: name one source of levels.")
    inputs.append(Path(path))
    return read_mixer_table(Path(path))


def _local_band(options: Mapping[str, Any], inputs: list[Path]) -> tuple[tuple[Occupied, ...], bool]:
    """Occupied channels of recordings or tables, and whether any came from the practice station."""
    paths = options.get("local_band")
    if paths is None:
        return (), False
    if "width" not in options:
        raise RangeError('--width is needed to find channels in the local band, such as --width "8 MHz".')
    width_hz = parse_quantity(options["width"], kind="frequency").value
    parts, practice = [], False
    for path in paths:
        if path.suffix.lower() in TABLE_SUFFIXES:
            inputs.append(path)
            parts.append(read_band_table(path))
            continue
        recording = open_recording(path)
        inputs += recording_files(path)
        practice = practice or recording.practice
        looks = [recording.part(one.start, one.count) for one in recording.stretches]
        parts += [_seen(one, path, width_hz=width_hz, whole=len(paths) == len(looks) == 1) for one in looks]
    frequency = np.concatenate([part[0] for part in parts])
    order = np.argsort(frequency, kind="stable")
    level = np.concatenate([part[1] for part in parts])[order]
    return occupied_channels(frequency[order], level, width_hz=width_hz), practice


def _seen(recording: Recording, path: Path, *, width_hz: float, whole: bool) -> tuple[Floats, Floats]:
    """Absolute frequency and level of a recording; of several only the part that its filter leaves flat."""
    spectrum = spectrum_of_recording(recording, resolution_bandwidth_hz=width_hz / PARTS_OF_A_CHANNEL)
    if spectrum.centre_hz is None:
        raise RangeError(f"{path} does not say what frequency it was tuned to; record it as SigMF, which does.")
    level = 10 * np.log10(np.maximum(spectrum.density, 1e-30))
    kept = np.abs(spectrum.frequency_hz) <= (1.0 if whole else FLAT_SHARE) * recording.sample_rate_hz / 2
    return spectrum.frequency_hz[kept] + spectrum.centre_hz, level[kept]


def _text(outcome: Outcome, files: list[str], *, number: int) -> str:
    """For a terminal: the findings, the plans, and the products of the plan stated."""
    tables = []
    for table in outcome.tables:
        if table.name not in SHOWN_TABLES or not table.rows:
            continue
        shown = table
        if table.columns[0][0] == "plan":
            shown = replace(table, rows=tuple(row for row in table.rows if row[0] == number))
        if table.name == "plans":
            shown = replace(table, columns=table.columns[:-1], rows=tuple(row[:-1] for row in table.rows))
        tables.append(_in_megahertz(shown))
    parts = [outcome_text(replace(outcome, tables=tuple(tables)), page_for(sys.stdout))]
    parts.append(_reasons(outcome))
    if files:
        parts.append("Files\n" + "\n".join(f"  {name}" for name in files))
    return "\n\n".join(parts) + "\n"


def _in_megahertz(table: Table) -> Table:
    """Every frequency of a table in MHz, as text: one prefix for widths and carriers alike reads badly."""
    places = [n for n, (key, unit) in enumerate(table.columns) if unit == "Hz"]
    columns = tuple((key, "" if n in places else unit) for n, (key, unit) in enumerate(table.columns))
    rows = tuple(
        tuple(f"{cell / 1e6:.7g} MHz" if n in places and isinstance(cell, int | float) else cell
              for n, cell in enumerate(row))
        for row in table.rows
    )  # fmt: skip
    return replace(table, columns=columns, rows=rows)


def _reasons(outcome: Outcome) -> str:
    rows = next(table for table in outcome.tables if table.name == "plans").rows
    lines = [f"  {row[0]}  {float(row[1] or 0) / 1e6:g} MHz {row[3]}, {row[-2]}: {row[-1]}" for row in rows[:12]]
    return "\n".join(["Why", *lines])
