"""From what was asked of a path to the question that the job answers: places, ground, both ends, and the way back."""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np

from tepui.chain.antenna.geodesic import Way, way_between
from tepui.chain.antenna.pattern import Pattern, beam, beam_width_deg, polarisation_loss_db
from tepui.chain.antenna.places import parse_place
from tepui.chain.propagation.models import PathCase
from tepui.desk.path_request import BackRequest, LinkRequest, PathRequest
from tepui.files.elevation import open_terrain, profile_from
from tepui.files.pattern import read_pattern
from tepui.files.profile import read_profile
from tepui.ground.doubt import Estimate
from tepui.ground.errors import InputError, RangeError
from tepui.ground.quantity import Quantity
from tepui.jobs.path_back import SUFFIX, TalkBack, turned_case, turned_way
from tepui.jobs.path_question import LinkQuestion, PathQuestion, clutter_estimate
from tepui.prediction.link import Radiated, Receiving, preamplifier_stages
from tepui.prediction.noise import ReceiveStage, external_from_place_db, external_from_temperature_db
from tepui.signals.dvbt.mode import Mode
from tepui.signals.terrain import Profile

SMOOTH_STEP_M, SMOOTH_MOST = 100.0, 2001
LENGTH_SHARE = 0.02


def way_of(request: PathRequest) -> Way | None:
    """The geodesic between both ends; None where neither is given.

    raises  InputError where only one is given
    """
    if request.start is None and request.end is None:
        return None
    if request.start is None or request.end is None:
        raise InputError("a path has two ends: give both --from and --to, or a --profile without either.")
    return way_between(parse_place(request.start), parse_place(request.end))


def ground_of(request: PathRequest, way: Way | None) -> tuple[Profile, tuple[str, ...]]:
    """The ground: typed, cut from terrain files, or a smooth Earth; and what is to be said about it."""
    if request.clutter_height_m is not None and (request.profile is not None or not request.terrain):
        raise InputError(
            "--clutter-height stands on --terrain; a profile tells its own in the column clutter_m, and over a smooth "
            "Earth --clutter-loss says it."
        )
    if request.profile is not None:
        if request.terrain:
            raise InputError("give either --profile or --terrain, not both: the ground can come from one of them only.")
        profile = read_profile(request.profile)
        if way is not None:
            _check_length(profile, way)
        return profile, ()
    if way is None:
        raise InputError("the path is not told: give --from and --to, or a --profile.")
    if request.terrain:
        terrain = open_terrain(request.terrain, start=way.start, end=way.end)
        return profile_from(
            terrain,
            way,
            kind=request.terrain_kind,
            missing_is_sea=request.missing_is_sea,
            fill_voids=request.fill_voids,
            clutter_height_m=request.clutter_height_m,
        )
    n = int(min(max(round(way.distance.value / SMOOTH_STEP_M), 2) + 1, SMOOTH_MOST))
    distance_m = np.linspace(0.0, way.distance.value, n)
    smooth = Profile(distance_m=distance_m, height_m=np.zeros(n), source="smooth Earth, no terrain given")
    return smooth, ("No terrain was given: a smooth Earth is assumed, and every hill is missing.",)


def _check_length(profile: Profile, way: Way) -> None:
    allowed = max(LENGTH_SHARE * way.distance.value, 2 * way.distance.std)
    if abs(profile.length_m - way.distance.value) > allowed:
        raise RangeError(
            f"The profile is {profile.length_m / 1e3:.2f} km long and the two places are "
            f"{way.distance.value / 1e3:.2f} km apart (± {allowed / 1e3:.2f} km allowed); one of them is another path."
        )


def question_of(request: PathRequest, way: Way | None, profile: Profile) -> PathQuestion:
    """What the job is asked, the link with it where it is told."""
    latitude = request.latitude_deg
    if latitude is None and way is not None:
        latitude = 0.5 * (way.start.latitude_deg + way.end.latitude_deg)
    link = None if request.link is None else _link(request.link, frequency_hz=request.frequency_hz, way=way)
    gains = 0.0 if request.link is None else request.link.tx_gain.value + request.link.rx_gain_dbi
    case = PathCase(
        profile=profile,
        model=request.model,
        frequency_hz=request.frequency_hz,
        tx_height_m=request.tx_height_m,
        rx_height_m=request.rx_height_m,
        time_share=request.time_share,
        location_share=request.location_share,
        location_std_db=request.location_std_db,
        vertical=request.vertical,
        earth_radius_m=request.earth_radius_m,
        delta_n=request.delta_n,
        n_0=request.n_0,
        latitude_deg=latitude,
        sea_fraction=request.sea_fraction,
        coast_tx_m=request.coast_tx_m,
        coast_rx_m=request.coast_rx_m,
        gains_dbi=gains,
        pressure_hpa=request.pressure_hpa,
        temperature_k=request.temperature_k,
    )
    clutter = request.clutter_loss
    if clutter is not None and clutter.value < 0:
        raise RangeError(
            f"--clutter-loss must be at least 0 dB (trees and houses add nothing), not {clutter.value:g} dB."
        )
    return PathQuestion(
        name=request.name or request.end or (request.profile.stem if request.profile else "path"),
        case=case,
        way=way,
        declination_deg=request.declination_deg,
        clutter_loss=None
        if clutter is None
        else clutter_estimate(clutter.value, low_db=clutter.low, high_db=clutter.high),
        link=link,
    )


def _link(asked: LinkRequest, *, frequency_hz: float, way: Way | None) -> LinkQuestion:
    tx_pattern, rx_pattern = _pattern(asked.tx_pattern), _pattern(asked.rx_pattern)
    receiver = ReceiveStage(name="receiver", gain_db=0.0, noise_figure_db=asked.rx_noise_figure_db)
    amplifier = None
    if asked.preamplifier_gain_db is not None and asked.preamplifier_noise_db is not None:
        amplifier = ReceiveStage(
            name="preamplifier", gain_db=asked.preamplifier_gain_db, noise_figure_db=asked.preamplifier_noise_db
        )

    def receiving(place: str) -> Receiving:
        return Receiving(
            gain_dbi=asked.rx_gain_dbi,
            external_noise_db=_external(asked, frequency_hz=frequency_hz),
            stages=preamplifier_stages(
                feeder_loss_db=asked.rx_feeder_db, receiver=receiver, preamplifier=amplifier, place=place
            ),
            pointing_loss_db=_pointing(asked.rx_gain_dbi, asked.rx_pointing_deg, rx_pattern),
            polarisation_loss_db=polarisation_loss_db(asked.polarisation_turn_deg),
        )

    place = asked.preamplifier_place if amplifier is not None else "none"
    others = () if amplifier is None else tuple((name, receiving(name)) for name in ("mast", "receiver", "none"))
    return LinkQuestion(
        radiated=Radiated(
            power=_estimate(asked.power, "transmitter"),
            feeder=_estimate(asked.tx_feeder, "transmit feeder"),
            gain=_estimate(asked.tx_gain, "transmit antenna"),
            pointing_loss_db=_pointing(asked.tx_gain.value, _turn_deg(asked, way), tx_pattern),
        ),
        receiving=receiving(place),
        mode=Mode(
            width_hz=asked.width_hz,
            n_fft=asked.n_fft,
            guard=asked.guard,
            constellation="QPSK",
            code_rate=Fraction(1, 2),
        ),
        channel=asked.channel,
        edition=asked.edition,
        implementation_loss_db=asked.implementation_loss_db,
        margin_db=asked.margin_db,
        transmitter_mer_db=asked.tx_mer_db,
        n_before_pad={"mast": 1, "receiver": 2, "none": 0}[place],
        alternatives=others,
    )


def _estimate(told: Quantity, name: str) -> Estimate:
    """A quantity and its doubt as an estimate; exact where none was stated."""
    std = 0.0 if told.low is None or told.high is None else (told.high - told.low) / 4
    return Estimate(value=told.value, std=std, contributions={name: std} if std else {})


def _external(asked: LinkRequest, *, frequency_hz: float) -> float:
    """Noise of the surroundings: as told, or 290 K. [dB]

    raises  InputError where it is told twice
    """
    told = [one for one in (asked.external_noise_db, asked.antenna_k, asked.noise_place) if one is not None]
    if len(told) > 1:
        raise InputError("the noise of the surroundings is told twice; give one of --external-noise, "
                         "--antenna-temperature and --noise-place.")  # fmt: skip
    if asked.antenna_k is not None:
        if asked.antenna_k <= 0:
            raise RangeError(f"--antenna-temperature must be above 0 K, not {asked.antenna_k:g} K.")
        return external_from_temperature_db(asked.antenna_k)
    if asked.noise_place is not None:
        return external_from_place_db(asked.noise_place, frequency_hz=frequency_hz)
    return asked.external_noise_db or 0.0


def _turn_deg(asked: LinkRequest, way: Way | None) -> float:
    """Angle between the transmit antenna's axis and the far station.

    raises  InputError where it is told twice, or a bearing is told and no place
    """
    if asked.tx_azimuth_deg is None:
        return asked.tx_pointing_deg
    if asked.tx_pointing_deg:
        raise InputError("where the transmit antenna points is told twice; give --tx-azimuth or --tx-pointing.")
    if way is None:
        raise InputError("--tx-azimuth needs the places of both ends; give --from and --to, or --tx-pointing.")
    return abs((asked.tx_azimuth_deg - way.bearing_out.value + 180) % 360 - 180)


def _pattern(path: Path | None) -> Pattern | None:
    return None if path is None else read_pattern(path)


def _pointing(gain_dbi: float, turn_deg: float, pattern: Pattern | None) -> float:
    if pattern is not None:
        return pattern.loss_at_db(turn_deg)
    return 0.0 if turn_deg == 0 else beam(width_deg=beam_width_deg(gain_dbi)).loss_at_db(turn_deg)


def back_of(request: PathRequest, question: PathQuestion) -> PathQuestion | TalkBack | None:
    """The question of the way back; None where none is asked.

    raises  InputError where another frequency is outside the model
    """
    asked, link = request.back, request.link
    if asked is None or link is None:
        return None
    frequency_hz = request.frequency_hz if asked.frequency_hz is None else asked.frequency_hz
    turned = LinkRequest(
        width_hz=asked.width_hz or link.width_hz,
        n_fft=link.n_fft,
        guard=link.guard,
        power=asked.power,
        tx_feeder=asked.tx_feeder or _quantity(link.rx_feeder_db if asked.frequency_hz is None else 0.0, "dB", "ratio"),
        tx_gain=asked.tx_gain or _quantity(link.rx_gain_dbi, "dBi", "gain"),
        tx_mer_db=None,
        tx_pointing_deg=link.rx_pointing_deg,
        tx_pattern=link.rx_pattern if asked.frequency_hz is None else None,
        rx_gain_dbi=link.tx_gain.value if asked.rx_gain_dbi is None else asked.rx_gain_dbi,
        rx_feeder_db=_own_feeder_db(asked, link),
        rx_noise_figure_db=asked.noise_figure_db,
        rx_pointing_deg=_turn_deg(link, question.way),
        rx_pattern=link.tx_pattern if asked.frequency_hz is None else None,
        polarisation_turn_deg=link.polarisation_turn_deg,
        preamplifier_gain_db=None,
        preamplifier_noise_db=None,
        preamplifier_place="mast",
        external_noise_db=asked.external_noise_db,
        antenna_k=None,
        noise_place=None,
        channel=link.channel,
        edition=link.edition,
        implementation_loss_db=link.implementation_loss_db,
        margin_db=link.margin_db,
    )
    case = replace(
        turned_case(question.case), frequency_hz=frequency_hz, gains_dbi=turned.tx_gain.value + turned.rx_gain_dbi
    )
    bare = replace(question, name=f"{question.name}{SUFFIX}", case=case, way=turned_way(question.way), link=None)
    if asked.needed_cn_db is None:
        return replace(bare, link=_link(turned, frequency_hz=frequency_hz, way=None))
    receiver = ReceiveStage(name="receiver", gain_db=0.0, noise_figure_db=turned.rx_noise_figure_db)
    return TalkBack(
        question=bare,
        radiated=Radiated(
            power=_estimate(turned.power, "far transmitter"),
            feeder=_estimate(turned.tx_feeder, "far feeder"),
            gain=_estimate(turned.tx_gain, "far antenna"),
            pointing_loss_db=_pointing(turned.tx_gain.value, turned.tx_pointing_deg, _pattern(turned.tx_pattern)),
        ),
        receiving=Receiving(
            gain_dbi=turned.rx_gain_dbi,
            external_noise_db=_external(turned, frequency_hz=frequency_hz),
            stages=preamplifier_stages(
                feeder_loss_db=turned.rx_feeder_db, receiver=receiver, preamplifier=None, place="none"
            ),
            pointing_loss_db=_pointing(turned.rx_gain_dbi, turned.rx_pointing_deg, _pattern(turned.rx_pattern)),
            polarisation_loss_db=polarisation_loss_db(turned.polarisation_turn_deg),
        ),
        width_hz=turned.width_hz,
        needed_cn_db=asked.needed_cn_db,
        margin_db=link.margin_db,
    )


def _own_feeder_db(asked: BackRequest, link: LinkRequest) -> float:
    if asked.rx_feeder_db is not None:
        return asked.rx_feeder_db
    return link.tx_feeder.value if asked.frequency_hz is None else 0.0


def _quantity(value: float, unit: str, kind: str) -> Quantity:
    return Quantity(value=value, low=None, high=None, unit=unit, kind=kind, text=f"{value:g} {unit}")
