"""What a station file says to ``coverage``: its own transmitter, the ground, and who should receive.

Theory  The e.i.r.p. is the level behind the antenna. Every far station with a place is listed and gets its expected
        report. The map's own receive antenna is told by the options, else the first far station with antenna and noise
        figure stands for everybody, which the map says.
Source  the station file; desk.path_station.
Holds   Options given beside the file come first.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tepui.chain.antenna.places import parse_place
from tepui.desk.path_station import open_for_path, place_text, radiated_options
from tepui.files.within import named_file
from tepui.ground.errors import InputError
from tepui.jobs.levels_chain import chain_of
from tepui.jobs.listed import ListedStation
from tepui.prediction.noise import ReceiveStage, passive, system_noise_db
from tepui.station.nouns import Far, Station


@dataclass(frozen=True, kw_only=True)
class MapStation:
    """What a station file gives to a map: options by name, listed stations, files, and what is to be said."""

    options: dict[str, Any]
    listed: tuple[ListedStation, ...]
    inputs: tuple[Path, ...]
    name: str
    remarks: tuple[str, ...]


def map_station(path: Path, *, sites: list[str] | None) -> MapStation:
    """Read the file for a map.

    sites   transmitters told beside it, names of the file allowed
    raises  InputError
    """
    station, inputs = open_for_path(path)
    where = station.station.coordinates or station.station.locator
    if sites is None and where is None:
        raise InputError(f"{station.file} tells no place of {station.station.call}; write its locator or coordinates.")
    plan, channel = station.path, station.channel
    height = station.station.antenna_height
    options: dict[str, Any] = {
        "site": [str(where)] if sites is None else None,
        "name": station.station.call,
        "frequency": channel.centre.text,
        "width": channel.width.text,
        "fft": channel.fft,
        "guard": channel.guard,
        "tx_height": None if height is None else height.text,
        "terrain": None if plan.terrain is None else [named_file(path, plan.terrain)],
        "terrain_kind": plan.terrain_kind,
        "model": plan.model if plan.model in ("p526", "p1812", "p452") else None,
        "clutter_loss": None if plan.clutter_loss is None else f"{plan.clutter_loss.value:g} dB",
        "implementation_loss": None if plan.implementation_loss is None else plan.implementation_loss.text,
        "margin": None if plan.margin is None else plan.margin.text,
        "rx_height": None if plan.receive_height is None else plan.receive_height.text,
        **_radiated(station, path),
    }
    if sites is not None:
        sites[:] = [place_text(station, one) for one in sites]
    receiver, remarks = _receiver(station)
    options |= receiver
    return MapStation(
        options={name: value for name, value in options.items() if value is not None},
        listed=tuple(one for far in station.fars if (one := _listed(far)) is not None),
        inputs=inputs,
        name=station.name,
        remarks=remarks,
    )


def _radiated(station: Station, path: Path) -> dict[str, Any]:
    told = radiated_options(station, path)
    if not told:
        return {}
    chain = chain_of(station)
    level = chain.levels[chain.antenna or 0]
    found = {"eirp": f"{level.value:.6f} dBm", "tx_pattern": told.get("tx_pattern")}
    if "tx_pattern" in told:
        found["azimuth"] = told.get("tx_azimuth")
    return found


def _gain_dbi(far: Far) -> float | None:
    if far.antenna_gain is None:
        return None
    return far.antenna_gain.value - (0.0 if far.feeder_loss is None else far.feeder_loss.value)


def _listed(far: Far) -> ListedStation | None:
    where, gain = far.coordinates or far.locator, _gain_dbi(far)
    return (
        None if where is None or gain is None else ListedStation(call=far.call, place=parse_place(where), gain_dbi=gain)
    )


def _receiver(station: Station) -> tuple[dict[str, Any], tuple[str, ...]]:
    """Antenna and noise of the first far station that tells both, referred to the feeder's far end."""
    for far in station.fars:
        gain = _gain_dbi(far)
        if gain is None or far.noise_figure is None:
            continue
        receiver = ReceiveStage(name="receiver", gain_db=0.0, noise_figure_db=far.noise_figure.value)
        lost = 0.0 if far.feeder_loss is None else far.feeder_loss.value
        external = 0.0 if far.external_noise is None else far.external_noise.value
        # The gain has the feeder taken off, so the noise is taken at the feeder's end too.
        noise = system_noise_db(external_db=external, stages=(passive("feeder", lost), receiver)) - lost
        told = {"rx_gain": f"{gain:.6f} dBi", "rx_noise": f"{noise:.6f} dB"}
        return told, (f"Antenna and receiver of {far.call} are taken for everybody.",)
    return {}, ()
