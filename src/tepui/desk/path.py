"""``path`` at the desk: open the profile or the terrain, ask the job, print the findings."""

import sys
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

import numpy as np

from tepui.chain.antenna.geodesic import Way, way_between
from tepui.chain.antenna.pattern import beam, beam_width_deg, polarisation_loss_db
from tepui.chain.antenna.places import parse_place
from tepui.chain.propagation.models import PathCase
from tepui.desk.hashes import InputHashes
from tepui.files.elevation import open_terrain, profile_from, terrain_files
from tepui.files.profile import read_profile
from tepui.files.rules import read_rules
from tepui.ground.document import build_document, document_text
from tepui.ground.doubt import Estimate
from tepui.ground.errors import InputError, RangeError
from tepui.ground.findings import Finding, Outcome
from tepui.ground.listing import outcome_text, page_for
from tepui.ground.quantity import Quantity
from tepui.jobs.care import ExposureQuestion, LicenceQuestion, exposure_findings
from tepui.jobs.licence import licence_findings
from tepui.jobs.path import predict_path
from tepui.jobs.path_link import PEAK_DB
from tepui.jobs.path_more import beside_findings, rain_findings
from tepui.jobs.path_question import LinkQuestion, PathQuestion, clutter_estimate
from tepui.prediction.beside import Beside
from tepui.prediction.link import Radiated, Receiving, preamplifier_stages
from tepui.prediction.noise import ReceiveStage, external_from_place_db, external_from_temperature_db
from tepui.signals.dvbt.mode import Mode
from tepui.signals.terrain import Profile

SHOWN_TABLES = ("mode_margins", "wind_down", "exposure_distances", "exposure_by_direction", "rules_at_hand")
SMOOTH_STEP_M, SMOOTH_MOST = 100.0, 2001
LENGTH_SHARE = 0.02
DIGITS = (4, 9)


@dataclass(frozen=True, kw_only=True)
class LinkRequest:
    """The link as asked on the command line, in SI."""

    width_hz: float
    n_fft: int
    guard: Fraction
    power: Quantity
    tx_feeder: Quantity
    tx_gain: Quantity
    tx_mer_db: float | None
    tx_pointing_deg: float
    rx_gain_dbi: float
    rx_feeder_db: float
    rx_noise_figure_db: float
    rx_pointing_deg: float
    polarisation_turn_deg: float
    preamplifier_gain_db: float | None
    preamplifier_noise_db: float | None
    preamplifier_place: str
    external_noise_db: float | None
    antenna_k: float | None
    noise_place: str | None
    channel: str
    edition: str
    implementation_loss_db: float
    margin_db: float


@dataclass(frozen=True, kw_only=True)
class PathRequest:
    """What was asked on the command line, in SI; places are still text."""

    start: str | None
    end: str | None
    name: str | None
    profile: Path | None
    terrain: tuple[Path, ...]
    terrain_kind: str | None
    missing_is_sea: bool
    fill_voids: bool
    clutter_height_m: float | None
    declination_deg: float | None
    frequency_hz: float
    tx_height_m: float
    rx_height_m: float
    model: str
    earth_radius_m: float | None
    delta_n: float
    n_0: float
    time_share: float
    location_share: float
    location_std_db: float
    vertical: bool
    sea_fraction: float
    coast_tx_m: float
    coast_rx_m: float
    latitude_deg: float | None
    pressure_hpa: float
    temperature_k: float
    clutter_loss: Quantity | None
    link: LinkRequest | None
    exposure: bool = False
    tx_aperture_m: float | None = None
    licence: bool = False
    country: str | None = None
    rules: Path | None = None
    rain_mm_h: float | None = None
    beside: Beside | None = None


def run_path(request: PathRequest, *, as_json: bool, strict: bool) -> int:
    """The verb: work out, print, return the exit code.

    raises  InputError where something cannot be used
    """
    way = _way(request)
    inputs = [request.profile] if request.profile is not None else []
    if request.rules is not None:
        inputs.append(request.rules)
    if request.terrain:
        inputs += terrain_files(request.terrain)
    hashes = InputHashes(inputs)
    profile, remarks = _profile(request, way)
    question = _question(request, way, profile)
    outcome = _with_care(_with_remarks(predict_path(question), remarks), request, question)
    document = build_document(verb="path", outcomes=[outcome], inputs=hashes.result())
    sys.stdout.write(document_text(document) if as_json else _text(outcome))
    chosen = [f for f in outcome.findings if f.key == "mode_choice"]
    return 1 if strict and chosen and chosen[0].standing == "unknown" else 0


def _way(request: PathRequest) -> Way | None:
    """The geodesic between both ends; None where neither is given.

    raises  InputError where only one is given
    """
    if request.start is None and request.end is None:
        return None
    if request.start is None or request.end is None:
        raise InputError("a path has two ends: give both --from and --to, or a --profile without either.")
    return way_between(parse_place(request.start), parse_place(request.end))


def _profile(request: PathRequest, way: Way | None) -> tuple[Profile, tuple[str, ...]]:
    """The ground: typed, cut from terrain files, or a smooth Earth; and what is to be said about it."""
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


def _question(request: PathRequest, way: Way | None, profile: Profile) -> PathQuestion:
    latitude = request.latitude_deg
    if latitude is None and way is not None:
        latitude = 0.5 * (way.start.latitude_deg + way.end.latitude_deg)
    link = None if request.link is None else _link(request.link, frequency_hz=request.frequency_hz)
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


def _link(asked: LinkRequest, *, frequency_hz: float) -> LinkQuestion:
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
            pointing_loss_db=_pointing(asked.rx_gain_dbi, asked.rx_pointing_deg),
            polarisation_loss_db=polarisation_loss_db(asked.polarisation_turn_deg),
        )

    place = asked.preamplifier_place if amplifier is not None else "none"
    others = () if amplifier is None else tuple((name, receiving(name)) for name in ("mast", "receiver", "none"))
    return LinkQuestion(
        radiated=Radiated(
            power=_estimate(asked.power, "transmitter"),
            feeder=_estimate(asked.tx_feeder, "transmit feeder"),
            gain=_estimate(asked.tx_gain, "transmit antenna"),
            pointing_loss_db=_pointing(asked.tx_gain.value, asked.tx_pointing_deg),
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


def _pointing(gain_dbi: float, turn_deg: float) -> float:
    if turn_deg == 0:
        return 0.0
    return beam(width_deg=beam_width_deg(gain_dbi)).loss_at_db(turn_deg)


def _with_care(outcome: Outcome, request: PathRequest, question: PathQuestion) -> Outcome:
    """Rain, the receiver beside, exposure and licence sheet after the path, where asked."""
    link = question.link
    findings, tables = list(outcome.findings), list(outcome.tables)
    if request.rain_mm_h is not None:
        findings += rain_findings(question, rate_mm_h=request.rain_mm_h)
    if request.beside is not None:
        findings += beside_findings(request.beside)
    if link is None:
        return Outcome(findings=tuple(findings), tables=tuple(tables), pictures=outcome.pictures)
    if request.exposure:
        asked = ExposureQuestion(
            about="station",
            frequency_hz=request.frequency_hz,
            eirp=link.radiated.eirp,
            power_dbm=link.radiated.power.value - link.radiated.feeder.value,
            pattern=beam(width_deg=beam_width_deg(link.radiated.gain.value)),
            aperture_m=request.tx_aperture_m,
        )
        more, also = exposure_findings(asked)
        findings += more
        tables += also
    if request.licence:
        rules = () if request.rules is None else read_rules(request.rules)
        more, also = licence_findings(
            LicenceQuestion(
                about="station",
                centre_hz=request.frequency_hz,
                occupied_hz=link.mode.occupied_width_hz,
                power=link.radiated.power,
                pep_dbm=link.radiated.power.value + PEAK_DB,
                eirp=link.radiated.eirp,
                country=request.country,
                rules=rules,
            )
        )
        findings += more
        tables += also
    return Outcome(findings=tuple(findings), tables=tuple(tables), pictures=outcome.pictures)


def _with_remarks(outcome: Outcome, remarks: tuple[str, ...]) -> Outcome:
    """What was noticed about the ground goes with the first finding."""
    if not remarks:
        return outcome
    first, *rest = outcome.findings
    return replace(outcome, findings=(replace(first, remark=" ".join([first.remark, *remarks]).strip()), *rest))


def _text(outcome: Outcome) -> str:
    tables = tuple(table for table in outcome.tables if table.name in SHOWN_TABLES)
    shown = replace(outcome, findings=tuple(_rounded(finding) for finding in outcome.findings), tables=tables)
    return outcome_text(shown, page_for(sys.stdout)) + "\n"


def _rounded(finding: Finding) -> Finding:
    """A computed number without doubt shows no more digits than anyone reads: hundredths of a dB, four digits else."""
    exact = finding.is_number and finding.low == finding.high == finding.value and isinstance(finding.value, float)
    if not exact:
        return finding
    value = float(finding.value)  # type: ignore[arg-type]
    shown = (
        round(value, 2) + 0.0 if finding.unit.startswith("dB") else float(f"{value:.{DIGITS[finding.unit == 'Hz']}g}")
    )
    return replace(finding, value=shown, low=shown, high=shown)
