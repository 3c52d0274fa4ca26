"""A station file from the disk: its text, and the files it names beside it.

Theory  Paths in the file are meant from the folder it stands in. Loss tables are rows of MHz and dB; Touchstone files
        give the forward transmission. A memory polynomial is read as files.memory_polynomials says.
Source  tepui's own file, format 1; [RFC4180]; [Touchstone] 1.1 by files.touchstone.
Holds   Files up to a megabyte in UTF-8. What is wrong with a file named is said at the key that names it.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np

from tepui.files.memory_polynomials import read_memory_polynomial
from tepui.files.readings import read_loss_table
from tepui.files.touchstone import read_touchstone
from tepui.files.within import named_file
from tepui.ground.errors import FormatError, InputError
from tepui.station.curves import curve_of_rows, with_prototype
from tepui.station.library import with_cable, with_library
from tepui.station.nouns import Station
from tepui.station.order import check_levels
from tepui.station.read import read_station
from tepui.station.stages import Curve, Stage

MOST_BYTES = 1 << 20


def open_station(path: Path) -> Station:
    """Read a station file and all it names.

    raises  InputError: one sentence with file, line, key, what was found and what is allowed
    """
    return station_from(_text(path), path=path)


def station_from(text: str, *, path: Path) -> Station:
    """The station of a text that is or shall be the file ``path``; the files it names are opened from its folder.

    raises  InputError: as open_station
    """
    station = with_library(read_station(text, file=path.name))
    centre_hz = station.channel.centre.value
    stages = tuple(_with_curve(stage, station=path, centre_hz=centre_hz) for stage in station.stages)
    stages = tuple(_with_memory(stage, station=path) for stage in stages)
    station = replace(station, stages=stages)
    check_levels(station)
    return station


def named_files(station: Station, path: Path) -> tuple[Path, ...]:
    """The station file and every file it names, for the list of inputs."""
    named = [stage.response.path for stage in station.stages if stage.response is not None and stage.response.path]
    named += [stage.memory_polynomial.path or "" for stage in station.stages if stage.memory_polynomial is not None]
    named += [stage.pattern for stage in station.stages if stage.pattern]
    return (path, *(named_file(path, name) for name in named if name))


def _text(path: Path) -> str:
    try:
        if path.is_dir():
            raise FormatError(f"{path} is a folder; name the station file inside it.")
        if path.stat().st_size > MOST_BYTES:
            raise FormatError(f"{path} is larger than a megabyte, too large for a station file; is it a recording?")
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as problem:
        raise FormatError(f"{path} is not text in UTF-8, so it is no station file; save it as UTF-8.") from problem
    except OSError as problem:
        raise FormatError(f"{path} cannot be opened ({problem.strerror or problem}).") from problem


def _with_memory(stage: Stage, *, station: Path) -> Stage:
    """The stage with its memory polynomial, where it names one."""
    named = stage.memory_polynomial
    if named is None or named.path is None:
        return stage
    try:
        return replace(stage, memory=read_memory_polynomial(named_file(station, named.path)))
    except InputError as problem:
        raise FormatError(f"{named.place}: {problem}") from problem


def _with_curve(stage: Stage, *, station: Path, centre_hz: float) -> Stage:
    """The stage with its loss over frequency, where the file states one."""
    response = stage.response
    stage = with_cable(stage, frequency_hz=centre_hz)
    if response is None:
        return with_prototype(stage, centre_hz=centre_hz)
    if response.path is None:
        return replace(stage, curve=curve_of_rows(response.rows, centre_hz=centre_hz))
    try:
        named = named_file(station, response.path)
        if named.suffix.lower() in (".s2p", ".ts"):
            port = read_touchstone(named)
            loss = -20 * np.log10(np.maximum(np.abs(port.s[:, 1, 0]), 1e-12))
            return replace(stage, curve=Curve(frequency_hz=port.frequency_hz, loss_db=loss, how="Touchstone file"))
        frequency_hz, loss_db = read_loss_table(named)
        rows = tuple(zip(frequency_hz.tolist(), loss_db.tolist(), strict=True))
        return replace(stage, curve=curve_of_rows(rows, centre_hz=centre_hz))
    except InputError as problem:
        raise FormatError(f"{response.place}: {problem}") from problem
