"""``tepui path``: will it get there? Loss term by term, and the link over it where both ends are told."""

import argparse
from typing import TYPE_CHECKING, Any

from tepui.cli.parsing import UsageError, quantity, width_hz
from tepui.cli.path_options import DEFAULTS, FFT_SIZES, add_path_options, earth_radius_m

if TYPE_CHECKING:
    from tepui.desk.path_request import BackRequest, CareRequest, LinkRequest, PathRequest
    from tepui.prediction.beside import Beside

EXAMPLE = """\
tepui path station.toml
tepui path station.toml --to Q2DEF --model p1812 --exposure --licence
tepui path --profile ridge.csv --frequency "1 GHz" --tx-height "30 m" --rx-height "30 m" --model p526 --json
tepui path --from HI45kt --to HI46ob --frequency "436 MHz" --tx-height "72 m" --rx-height "32 m" \\
  --width "2 MHz" --tx-power "33 dBm" --tx-gain "11 dBi" --rx-gain "13 dBi" --rx-noise-figure "3 dB"
columns of a profile: d_km h_m, optionally clutter_m and zone (sea, coast, inland)"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the verb takes."""
    add_path_options(parser)


def run(arguments: argparse.Namespace) -> int:
    """Turn the options into SI, those of a station file among them, and hand over."""
    from tepui.desk.path import run_path
    from tepui.desk.setup import ensure_kernels

    given = {name: value for name, value in vars(arguments).items() if value is not None}
    if given.keys() & {"country", "rules"}:
        given["licence"] = True
    inputs: tuple[Any, ...] = ()
    station_name = None
    asked: list[tuple[dict[str, Any], tuple[str, ...]]] = [(given, ())]
    if arguments.station is not None:
        from tepui.desk.path_station import open_for_path, station_paths, with_whole_link

        station, inputs = open_for_path(arguments.station)
        station_name = station.name
        if given.get("profile") is not None and "end" not in given and len(station.fars) > 1:
            raise UsageError("a --profile is one path and the station file has several far stations; tell --to.")
        paths = station_paths(station, arguments.station, start=arguments.start, end=arguments.end)
        asked = [with_whole_link(_joined(one.options, given), one.remarks) for one in paths]
    requests = [_request(argparse.Namespace(**{**_NOT_TOLD, **DEFAULTS, **one}), remarks) for one, remarks in asked]
    cared = any(one.care.exposure or one.care.licence for one in requests)
    if cared and all(one.link is None for one in requests):
        raise UsageError("exposure and licence need the link: give --tx-power and what goes with it.")
    ensure_kernels()
    return run_path(
        requests,
        as_json=arguments.json,
        strict=arguments.strict,
        inputs=inputs,
        station=station_name,
        plots=arguments.plots,
    )


def _joined(told: dict[str, Any], given: dict[str, Any]) -> dict[str, Any]:
    """What a station file tells, and over it what was given beside it; names of places are looked up already."""
    more = {name: value for name, value in given.items() if value is not False and name not in told}
    over = {name: value for name, value in given.items() if value is not False and name not in ("start", "end")}
    if "profile" in over:
        told = {name: value for name, value in told.items() if not name.startswith("terrain")}
    if over.keys() & {"antenna_temperature", "noise_place"}:
        told = {name: value for name, value in told.items() if name != "external_noise"}
    return {**told, **more, **over}


_NOT_TOLD = dict.fromkeys((
    "start", "end", "name", "profile", "terrain", "terrain_kind", "clutter_height", "declination", "frequency",
    "tx_height", "rx_height", "earth_radius", "latitude", "rain", "clutter_loss", "width", "tx_power", "tx_gain",
    "tx_mer", "tx_pattern", "tx_azimuth", "rx_gain", "rx_noise_figure", "rx_pattern", "preamplifier_gain",
    "preamplifier_noise_figure", "external_noise", "antenna_temperature", "noise_place", "back_power",
    "back_noise_figure", "back_external_noise", "back_frequency", "back_width", "back_cn", "back_tx_gain",
    "back_tx_feeder", "back_rx_gain", "back_rx_feeder", "own_tx_noise", "own_isolation", "own_rx_width",
    "own_rx_noise_figure", "own_rx_blocking", "tx_aperture", "tx_antenna", "candidate", "country", "rules", "station",
))  # fmt: skip
_NOT_TOLD |= {"missing_is_sea": False, "fill_voids": False, "exposure": False, "licence": False}


def _request(given: argparse.Namespace, remarks: tuple[str, ...]) -> "PathRequest":
    """One path's options in SI.

    raises  InputError naming the option
    """
    from tepui.desk.path_request import PathRequest

    for name, example, where in (
        ("frequency", "436 MHz", ""),
        ("tx_height", "30 m", " or antenna_height under [station]"),
        ("rx_height", "10 m", " or antenna_height under the [[far]] station"),
    ):
        if getattr(given, name) is None:
            raise UsageError(f'--{name.replace("_", "-")} is needed{where}, such as "{example}".')
    return PathRequest(
        start=given.start,
        end=given.end,
        name=given.name,
        profile=given.profile,
        terrain=tuple(given.terrain or ()),
        terrain_kind=given.terrain_kind,
        missing_is_sea=given.missing_is_sea,
        fill_voids=given.fill_voids,
        clutter_height_m=_optional(given.clutter_height, kind="length", option="--clutter-height"),
        declination_deg=_optional(given.declination, kind="angle", option="--declination"),
        frequency_hz=width_hz(given.frequency, option="--frequency"),
        tx_height_m=quantity(given.tx_height, kind="length", option="--tx-height"),
        rx_height_m=quantity(given.rx_height, kind="length", option="--rx-height"),
        model=given.model,
        earth_radius_m=earth_radius_m(given.earth_radius),
        delta_n=_bare(given.delta_n, "--delta-n"),
        n_0=_bare(given.n0, "--n0"),
        time_share=quantity(given.time, kind="percent", option="--time"),
        location_share=quantity(given.locations, kind="percent", option="--locations"),
        location_std_db=quantity(given.location_spread, kind="ratio", option="--location-spread"),
        vertical=given.polarisation == "vertical",
        sea_fraction=_share(given.sea_fraction, "--sea-fraction"),
        coast_tx_m=quantity(given.coast_tx, kind="length", option="--coast-tx"),
        coast_rx_m=quantity(given.coast_rx, kind="length", option="--coast-rx"),
        latitude_deg=_optional(given.latitude, kind="angle", option="--latitude"),
        pressure_hpa=_bare(given.pressure, "--pressure"),
        temperature_k=quantity(given.temperature, kind="temperature", option="--temperature"),
        clutter_loss=_doubted(given.clutter_loss, kind="ratio", option="--clutter-loss"),
        link=_link(given),
        back=_back(given),
        care=_care(given),
        rain_mm_h=None if given.rain is None else _bare(given.rain, "--rain"),
        beside=_beside(given),
        remarks=remarks,
    )


def _link(given: argparse.Namespace) -> "LinkRequest | None":
    """The link's options; None where no transmit power is told.

    raises  UsageError naming what is missing
    """
    needed = {
        "--tx-power": given.tx_power,
        "--tx-gain": given.tx_gain,
        "--rx-gain": given.rx_gain,
        "--rx-noise-figure": given.rx_noise_figure,
        "--width": given.width,
    }
    missing = [option for option, text in needed.items() if text is None]
    if len(missing) == len(needed):
        return None
    if missing:
        raise UsageError(f"a link needs {', '.join(needed)}; missing: {', '.join(missing)}.")
    if (given.preamplifier_gain is None) != (given.preamplifier_noise_figure is None):
        raise UsageError("a preamplifier needs both --preamplifier-gain and --preamplifier-noise-figure.")
    from tepui.desk.path_request import LinkRequest
    from tepui.ground.quantity import parse_fraction

    def decibels(text: str, option: str, kind: str = "ratio") -> float:
        return quantity(text, kind=kind, option=option)

    return LinkRequest(
        width_hz=width_hz(given.width, option="--width"),
        n_fft=FFT_SIZES[given.fft],
        guard=parse_fraction(given.guard),
        power=_doubted(given.tx_power, kind="level", option="--tx-power"),
        tx_feeder=_doubted(given.tx_feeder, kind="ratio", option="--tx-feeder"),
        tx_gain=_doubted(given.tx_gain, kind="gain", option="--tx-gain"),
        tx_mer_db=_optional(given.tx_mer, kind="ratio", option="--tx-mer"),
        tx_pointing_deg=decibels(given.tx_pointing, "--tx-pointing", "angle"),
        rx_gain_dbi=decibels(given.rx_gain, "--rx-gain", "gain"),
        rx_feeder_db=decibels(given.rx_feeder, "--rx-feeder"),
        rx_noise_figure_db=decibels(given.rx_noise_figure, "--rx-noise-figure", "noise"),
        rx_pointing_deg=decibels(given.rx_pointing, "--rx-pointing", "angle"),
        polarisation_turn_deg=decibels(given.polarisation_turn, "--polarisation-turn", "angle"),
        preamplifier_gain_db=_optional(given.preamplifier_gain, kind="ratio", option="--preamplifier-gain"),
        preamplifier_noise_db=_optional(
            given.preamplifier_noise_figure, kind="noise", option="--preamplifier-noise-figure"
        ),
        preamplifier_place=given.preamplifier_place,
        external_noise_db=_optional(given.external_noise, kind="ratio", option="--external-noise"),
        antenna_k=_optional(given.antenna_temperature, kind="temperature", option="--antenna-temperature"),
        noise_place=given.noise_place,
        channel=given.channel,
        edition="V1.6.1" if given.edition == "V1.6.1" else "V1.1.2 to V1.5.1",
        implementation_loss_db=decibels(given.implementation_loss, "--implementation-loss"),
        margin_db=decibels(given.margin, "--margin"),
        tx_azimuth_deg=_optional(given.tx_azimuth, kind="angle", option="--tx-azimuth"),
        tx_pattern=given.tx_pattern,
        rx_pattern=given.rx_pattern,
    )


def _back(given: argparse.Namespace) -> "BackRequest | None":
    """The way back; None where nothing is told of it.

    raises  UsageError naming what is missing
    """
    names = [name for name in vars(given) if name.startswith("back_")]
    if all(getattr(given, name) is None for name in names):
        return None
    needed = ["back_power", "back_noise_figure"]
    if given.back_frequency is not None:
        needed += ["back_width", "back_tx_gain", "back_rx_gain"]
    missing = [f"--{name.replace('_', '-')}" for name in needed if getattr(given, name) is None]
    if given.tx_power is None:
        missing.append("--tx-power")
    if missing:
        raise UsageError(f"the way back needs the link and more; missing: {', '.join(missing)}.")
    from tepui.desk.path_request import BackRequest

    return BackRequest(
        power=_doubted(given.back_power, kind="level", option="--back-power"),
        noise_figure_db=quantity(given.back_noise_figure, kind="noise", option="--back-noise-figure"),
        external_noise_db=_optional(given.back_external_noise, kind="ratio", option="--back-external-noise"),
        frequency_hz=_optional(given.back_frequency, kind="frequency", option="--back-frequency"),
        width_hz=_optional(given.back_width, kind="frequency", option="--back-width"),
        needed_cn_db=_optional(given.back_cn, kind="ratio", option="--back-cn"),
        tx_gain=_doubted(given.back_tx_gain, kind="gain", option="--back-tx-gain"),
        tx_feeder=_doubted(given.back_tx_feeder, kind="ratio", option="--back-tx-feeder"),
        rx_gain_dbi=_optional(given.back_rx_gain, kind="gain", option="--back-rx-gain"),
        rx_feeder_db=_optional(given.back_rx_feeder, kind="ratio", option="--back-rx-feeder"),
    )


def _care(given: argparse.Namespace) -> "CareRequest":
    from tepui.desk.path_request import CareRequest

    candidates = tuple(width_hz(text, option="--candidate") for text in given.candidate or ())
    return CareRequest(
        exposure=given.exposure,
        aperture_m=_optional(given.tx_aperture, kind="length", option="--tx-aperture"),
        long_array=given.tx_antenna == "array",
        licence=given.licence or bool(candidates),
        candidates_hz=candidates,
        country=None if given.country is None else given.country.upper(),
        rules=given.rules,
    )


def _beside(given: argparse.Namespace) -> "Beside | None":
    """The receiver beside the transmitter; None where nothing is told of it.

    raises  UsageError naming what is missing
    """
    told = {
        "--own-tx-noise": (given.own_tx_noise, "phase_noise"),
        "--own-isolation": (given.own_isolation, "ratio"),
        "--own-rx-width": (given.own_rx_width, "frequency"),
        "--own-rx-noise-figure": (given.own_rx_noise_figure, "noise"),
        "--own-rx-blocking": (given.own_rx_blocking, "level"),
    }
    missing = [option for option, (text, _) in told.items() if text is None]
    if len(missing) == len(told):
        return None
    if given.tx_power is None:
        missing.append("--tx-power")
    if missing:
        raise UsageError(f"a receiver beside the transmitter needs {', '.join(told)} and the link; missing: "
                         f"{', '.join(missing)}.")  # fmt: skip
    from tepui.prediction.beside import Beside

    values = {option: quantity(text, kind=kind, option=option) for option, (text, kind) in told.items()}
    return Beside(
        power_dbm=_doubted(given.tx_power, kind="level", option="--tx-power").value,
        tx_noise_dbc_hz=values["--own-tx-noise"],
        isolation_db=values["--own-isolation"],
        receive_width_hz=width_hz(given.own_rx_width, option="--own-rx-width"),
        noise_figure_db=values["--own-rx-noise-figure"],
        blocking_dbm=values["--own-rx-blocking"],
    )


def _optional(text: str | None, *, kind: str, option: str) -> float | None:
    return None if text is None else quantity(text, kind=kind, option=option)


def _doubted(text: str | None, *, kind: str, option: str) -> Any:
    """A quantity with its doubt; None where not given.

    raises  QuantityError
    """
    if text is None:
        return None
    from tepui.ground.errors import InputError, QuantityError
    from tepui.ground.quantity import parse_quantity

    try:
        return parse_quantity(text, kind=kind)
    except InputError as problem:
        raise QuantityError(f"{option}: {problem}") from problem


def _bare(text: str, option: str) -> float:
    """A number whose unit the option's name fixes.

    raises  QuantityError
    """
    from tepui.ground.errors import QuantityError

    try:
        return float(text)
    except ValueError as problem:
        raise QuantityError(f'{option} takes a bare number such as 45, not "{text}".') from problem


def _share(text: str, option: str) -> float:
    """A share from 0 to 1, or in per cent."""
    return quantity(text, kind="percent", option=option) if "%" in text else _bare(text, option)
