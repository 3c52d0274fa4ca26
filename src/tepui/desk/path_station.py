"""What a station file says to ``path`` and ``coverage``, under the names of the options and in the operator's own text.

Theory  The own end radiates what the levels of the chain say, with their doubt; each far station is an end with its
        antenna and receiver. An option given beside the file comes first, as if the file said it.
Source  the station file; jobs.levels_chain for the levels.
Holds   Names are looked up as they stand, whatever their case; what is none is a locator or coordinates.
"""

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tepui.chain.antenna.places import parse_place
from tepui.files.station import named_files, open_station
from tepui.files.within import named_file
from tepui.ground.doubt import COVERAGE_FACTOR, Estimate, estimate
from tepui.ground.errors import InputError
from tepui.jobs.levels_chain import chain_of
from tepui.prediction.link import Radiated
from tepui.station.figures import Figure
from tepui.station.nouns import Far, Site, Station
from tepui.station.path_nouns import NamedSite
from tepui.station.stages import Stage

NO_LEVEL = (
    "The levels of the station file do not reach an antenna with a gain, so there is no link; tepui check says what is "
    "missing."
)


@dataclass(frozen=True, kw_only=True)
class StationOptions:
    """One path that a station file asks for: options by name, and what is to be said of them."""

    options: dict[str, Any]
    remarks: tuple[str, ...] = ()


def open_for_path(path: Path) -> tuple[Station, tuple[Path, ...]]:
    """The station and every file it names.

    raises  InputError
    """
    station = open_station(path)
    return station, named_files(station, path)


def station_paths(
    station: Station, path: Path, *, start: str | None, end: str | None, far: str | None = None
) -> list[StationOptions]:
    """Options of each path: to ``end`` where it is told, else to every far station with a place.

    raises  InputError where the file tells no end
    """
    common, remarks = _common(station, path)
    own = _end(station, start) if start is not None else station.station
    if own is station.station:
        common |= {"tx_height": _text(station.station.antenna_height), **radiated_options(station, path)}
        if "tx_power" not in common:
            remarks.append(NO_LEVEL)
    elif own is not None:
        common["tx_height"] = _text(own.antenna_height)
    common["start"] = start if own is None else _where(own, station.file)
    named = end or far
    if named is not None:
        ends = [_end(station, named)]
        if ends == [None]:
            parse_place(named)
    else:
        ends = [one for one in station.fars if one.locator or one.coordinates]
        if not ends:
            raise InputError(
                f"{station.file} names no [[far]] station with a locator or coordinates; add one, or tell --to."
            )
    found = []
    for one in ends:
        told = {"end": named} if one is None else _far_options(one, station)
        found.append(StationOptions(options=_known({**common, **told}), remarks=tuple(remarks)))
    return found


def _known(options: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in options.items() if value is not None}


def _end(station: Station, name: str) -> Site | Far | NamedSite | None:
    """The end of that name in the file; None where it is none."""
    wanted = name.strip().casefold()
    ends = [(station.station, (station.station.call, station.station.name))]
    ends += [(far, (far.call, far.name)) for far in station.fars]  # type: ignore[misc]
    ends += [(site, (site.name,)) for site in station.sites]  # type: ignore[misc]
    for end, names in ends:
        if wanted in {one.casefold() for one in names if one}:
            return end
    return None


def _called(end: Site | Far | NamedSite) -> str:
    return end.name if isinstance(end, NamedSite) else end.call


def _where(end: Site | Far | NamedSite, file: str) -> str:
    where = end.coordinates or end.locator
    if where is None:
        raise InputError(f"{file} tells no place of {_called(end)}; write its locator or coordinates.")
    return where


def place_text(station: Station, text: str) -> str:
    """Where a name of the file stands; another text as it is.

    raises  InputError where the name has no place
    """
    end = _end(station, text)
    return text if end is None else _where(end, station.file)


def named_height(station: Station, text: str) -> str | None:
    """Antenna height of a name of the file, where it tells one."""
    end = _end(station, text)
    return None if end is None else _text(end.antenna_height)


def _text(figure: Figure | None) -> str | None:
    return None if figure is None else figure.text


def _common(station: Station, path: Path) -> tuple[dict[str, Any], list[str]]:
    plan, channel, folder = station.path, station.channel, path.parent
    return {
        "frequency": channel.centre.text,
        "width": channel.width.text,
        "fft": channel.fft,
        "guard": channel.guard,
        "terrain": None if plan.terrain is None else [folder / plan.terrain],
        "terrain_kind": plan.terrain_kind,
        "model": plan.model,
        "clutter_loss": _text(plan.clutter_loss),
        "declination": _text(plan.declination),
        "implementation_loss": _text(plan.implementation_loss),
        "margin": _text(plan.margin),
        "country": plan.country,
        "rules": None if plan.rules is None else folder / plan.rules,
    }, []


def _far_options(end: Site | Far | NamedSite, station: Station) -> dict[str, Any]:
    told: dict[str, Any] = {
        "end": _where(end, station.file),
        "name": _called(end),
        "rx_height": _text(end.antenna_height) or _text(station.path.receive_height),
    }
    if isinstance(end, Far):
        told |= {
            "rx_gain": _text(end.antenna_gain),
            "rx_feeder": _text(end.feeder_loss),
            "rx_noise_figure": _text(end.noise_figure),
            "external_noise": _text(end.external_noise),
            "preamplifier_gain": _text(end.preamplifier_gain),
            "preamplifier_noise_figure": _text(end.preamplifier_noise_figure),
        }
        if end.power is not None and station.path.noise_figure is not None:
            told |= {"back_power": end.power.text, "back_noise_figure": station.path.noise_figure.text}
    return told


def radiated_by(station: Station) -> Radiated | None:
    """Power behind the last amplifier, what follows it, and the antenna, with their doubts; None where unknown."""
    chain = chain_of(station)
    if chain.antenna is None or chain.antenna == 0:
        return None
    eirp, before = chain.levels[chain.antenna], chain.levels[chain.antenna - 1]
    out = chain.levels[chain.output or 0]

    def left(name: str, value: float, whole: float, part: float) -> Estimate:
        return estimate(value, **{name: math.sqrt(max(whole**2 - part**2, 0.0))})

    return Radiated(
        power=estimate(out.value, transmitter=out.std),
        feeder=left("transmit feeder", out.value - before.value, before.std, out.std),
        gain=left("transmit antenna", eirp.value - before.value, eirp.std, before.std),
    )


def radiated_options(station: Station, path: Path) -> dict[str, Any]:
    """Power, feeder and gain of the own end with their doubts; empty where the levels do not reach the antenna."""
    radiated = radiated_by(station)
    if radiated is None:
        return {}
    chain = chain_of(station)
    antenna: Stage = chain.assembled.stages[chain.antenna or 0]

    def written(one: Estimate, unit: str) -> str:
        return f"{one.value:.6f} {unit} ± {COVERAGE_FACTOR * one.std:.6f} dB"

    return _known({
        "tx_power": written(radiated.power, "dBm"),
        "tx_feeder": written(radiated.feeder, "dB"),
        "tx_gain": written(radiated.gain, "dBi"),
        "tx_pattern": None if antenna.pattern is None else named_file(path, antenna.pattern),
        "tx_aperture": _text(antenna.diameter),
        "tx_azimuth": _text(antenna.azimuth),
    })  # fmt: skip


LINK_NAMES = {
    "tx_power": "the power at the antenna",
    "tx_gain": "the gain of the own antenna",
    "rx_gain": "antenna_gain of the far station",
    "rx_noise_figure": "noise_figure of the far station",
    "width": "the width of the channel",
}


def with_whole_link(options: dict[str, Any], remarks: tuple[str, ...]) -> tuple[dict[str, Any], tuple[str, ...]]:
    """The options without a link where the file tells half of one, and what is missing as a remark."""
    missing = [name for name in LINK_NAMES if name not in options]
    if not missing:
        return options, remarks
    kept = {
        name: value
        for name, value in options.items()
        if name not in LINK_NAMES and not name.startswith(("back_", "preamplifier_"))
    }
    words = ", ".join(LINK_NAMES[name] for name in missing)
    return kept, (*remarks, f"No link is worked out, for this is not told: {words}.")
