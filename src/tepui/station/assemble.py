"""From nouns to what row 3 works on: the one place where the station file meets the physics.

Theory  Each stage becomes a link: gain with doubt, noise, model of its bending. A figure without a doubt gets
        the usual one of its origin, and the link says so. A stage used outside the range its data hold for keeps
        them with doubled doubt.
Source  tables/assumed_doubts (common practice); models as prediction.bending chooses them.
Holds   Up to the first stage whose level or gain nothing states: ``missing`` names it.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from tepui.chain.amplifiers.tabulated import measured_curve
from tepui.chain.conversion.phase_noise import PhaseNoiseProfile
from tepui.ground.doubt import COVERAGE_FACTOR, Estimate
from tepui.prediction.bending import CUBIC_BELOW_P1DB_DB, Bend, memory_bend, rapp_bend, ring_bend
from tepui.prediction.cascade import Link
from tepui.prediction.feeding import Load
from tepui.prediction.oscillator import oscillator_mer
from tepui.signals.dvbt.mode import Mode
from tepui.station.curves import channel_loss_db, loss_at_db
from tepui.station.figures import Figure
from tepui.station.nouns import FFT_BY_NAME, Station
from tepui.station.order import stage_inputs_hz
from tepui.station.stages import LOSSY, Stage
from tepui.tables.load import load_table

SHOULDER_OFFSET_HZ = 500e3
MER_STD_DB = 0.5  # of an MER stated without a doubt


@dataclass(frozen=True, kw_only=True)
class Assembled:
    """The chain as far as it can be said.

    stages        of the links, one each
    missing       stage and key at which the levels end, None where they reach the last stage
    mode_assumed  where the channel names no mode, shoulders are those of 8K
    """

    links: tuple[Link, ...]
    stages: tuple[Stage, ...]
    missing: tuple[str, str] | None
    mode: Mode
    mode_assumed: bool


def assemble(station: Station) -> Assembled:
    """The links of the chain."""
    mode, assumed = _mode(station)
    links: list[Link] = []
    level = 0.0
    missing: tuple[str, str] | None = None
    frequencies = stage_inputs_hz(station)
    for stage in station.stages:
        stated = _gain(stage, station, mode)
        if stated is None or (not links and stage.kind != "modulator"):
            missing = stage.name, _needed_key(stage)
            break
        gain_db, figure = stated
        outside = figure is not None and _outside(stage, frequencies[stage.name])
        if outside and figure is not None:
            figure = figure.outside()
        std, usual = _std(stage, figure)
        level += gain_db
        links.append(
            Link(
                name=stage.name,
                kind=stage.kind,
                gain_db=gain_db,
                std_db=std,
                worst_db=figure.half_width if figure is not None and figure.std is not None else COVERAGE_FACTOR * std,
                assumed=usual,
                noise_db=_noise(stage, gain_db),
                bend=_bend(stage, output_dbm=level, outside=outside),
                passive=stage.kind not in ("amplifier", "mixer"),
                mer_terms=_mer_terms(stage, station),
                own_shoulder_db=None if stage.shoulder is None else stage.shoulder.value,
                slopes_db=_slopes(stage, station, mode),
            )
        )
    n = len(links)
    return Assembled(links=tuple(links), stages=station.stages[:n], missing=missing, mode=mode, mode_assumed=assumed)


def _mode(station: Station) -> tuple[Mode, bool]:
    channel = station.channel
    if channel.mode is not None:
        return channel.mode, False
    n_fft = FFT_BY_NAME[channel.fft] if channel.fft else 8192
    guard = Fraction(channel.guard) if channel.guard else Fraction(1, 32)
    rate = Fraction(channel.code_rate) if channel.code_rate else Fraction(2, 3)
    mode = Mode(
        width_hz=channel.width.value,
        n_fft=n_fft,
        guard=guard,
        constellation=channel.constellation or "QPSK",
        code_rate=rate,
    )
    return mode, channel.fft is None


def _needed_key(stage: Stage) -> str:
    return "level" if stage.kind == "modulator" else "loss" if stage.kind in LOSSY else "gain"


def _gain(stage: Stage, station: Station, mode: Mode) -> tuple[float, Figure | None] | None:
    """Gain of a stage, loss negative, of the modulator its level; with the figure its doubt comes from."""
    figure = stage.level if stage.kind == "modulator" else stage.loss if stage.kind in LOSSY else stage.gain
    sign = -1.0 if stage.kind in LOSSY else 1.0
    if figure is not None:
        return sign * figure.value, figure
    if stage.curve is not None:
        centre = station.channel.centre.value
        return -channel_loss_db(stage.curve, centre_hz=centre, occupied_hz=mode.occupied_width_hz), None
    if stage.kind == "amplifier" and stage.memory is not None:
        return stage.memory.gain_db, None
    if stage.kind == "amplifier" and stage.drive_curve is not None:
        return _drive_curve(stage)[0], None
    return None


def _outside(stage: Stage, frequency_hz: float | None) -> bool:
    """Whether the stage is used outside the range its data hold for."""
    if not stage.holds or frequency_hz is None:
        return False
    return not any((one.low or one.value) <= frequency_hz <= (one.high or one.value) for one in stage.holds)


def usual_doubt_db(quantity: str, origin: str | None) -> float:
    """Usual 95 % doubt of a level, gain or loss that was stated without one. [dB]"""
    return float(load_table("assumed_doubts").cell("doubt_db", quantity=quantity, origin=origin or "untold"))


def _std(stage: Stage, figure: Figure | None) -> tuple[float, bool]:
    if figure is not None and figure.std is not None:
        return figure.std, False
    quantity = "level" if stage.kind == "modulator" else "loss" if stage.kind in LOSSY else "gain"
    origin = figure.origin if figure is not None else "measured" if stage.curve and not stage.curve.assumed else None
    doubled = 2.0 if figure is not None and figure.doubled else 1.0
    return doubled * usual_doubt_db(quantity, origin) / COVERAGE_FACTOR, True


def _noise(stage: Stage, gain_db: float) -> float | None:
    if stage.kind in ("modulator", "antenna"):
        return 0.0
    if stage.noise_figure is not None:
        return stage.noise_figure.value
    if stage.kind == "mixer":
        return -gain_db + 0.5  # mixers of diodes: half a decibel above the loss
    return -gain_db if stage.kind in LOSSY else None


def _pair(figure: Figure | None, *, outside: bool) -> tuple[float, float] | None:
    if figure is None:
        return None
    return figure.value, (figure.std or 0.0) * (2 if outside else 1)


def _drive_curve(stage: Stage) -> tuple[float, Bend]:
    assert stage.drive_curve is not None
    curve = measured_curve([[cell.value for cell in row] for row in stage.drive_curve])
    bend = Bend(
        model="measured curve",
        reference_dbm=0.0,
        std_db=0.0,
        at_input=True,
        curve=curve,
        why=f"single-carrier curve of {len(curve.input_dbm)} points",
    )
    return curve.gain_db, bend


def _bend(stage: Stage, *, output_dbm: float, outside: bool) -> Bend | None:
    """The best model the data of a stage allow."""
    if stage.kind == "mixer":
        return _mixer_bend(stage)
    if stage.kind != "amplifier":
        return None
    if stage.memory is not None:
        return memory_bend(stage.memory)
    if stage.drive_curve is not None:
        return _drive_curve(stage)[1]
    p1db, saturated, oip3 = (_pair(one, outside=outside) for one in (stage.p1db, stage.saturated, stage.oip3))
    if saturated is not None:
        return rapp_bend(p1db_dbm=p1db, saturated_dbm=saturated)
    if oip3 is not None and (p1db is None or output_dbm <= p1db[0] - CUBIC_BELOW_P1DB_DB):
        why = "cubic, from OIP3" + ("" if p1db is None else f", {p1db[0] - output_dbm:.1f} dB below P1dB")
        return Bend(model="cubic", reference_dbm=oip3[0], std_db=oip3[1], why=why)
    if p1db is not None:
        measured = stage.p1db is not None and stage.p1db.origin == "measured"
        return rapp_bend(p1db_dbm=p1db, saturated_dbm=None, weak=not measured and oip3 is None)
    return None


def _mixer_bend(stage: Stage) -> Bend | None:
    loss = 0.0 if stage.loss is None else stage.loss.value
    if stage.lo_level is not None:
        return ring_bend(lo_dbm=stage.lo_level.value, input_p1db_dbm=_pair(stage.input_p1db, outside=False))
    if stage.iip3 is not None:
        std = stage.iip3.std or 0.0
        return Bend(
            model="cubic", reference_dbm=stage.iip3.value - loss, std_db=std, why="cubic, from the input intercept"
        )
    if stage.input_p1db is not None:
        value, std = stage.input_p1db.value - loss - 1.0, stage.input_p1db.std or 0.0
        return rapp_bend(p1db_dbm=(value, std), saturated_dbm=None)
    return None


def _mer_terms(stage: Stage, station: Station) -> dict[str, Estimate]:
    terms: dict[str, Estimate] = {}
    for name, figure in (("modulator", stage.mer), ("phase noise", stage.oscillator_mer)):
        if figure is not None:
            terms[name] = Estimate(value=figure.value, std=MER_STD_DB if figure.std is None else figure.std)
    if stage.phase_noise is not None and stage.oscillator_mer is None:
        profile = PhaseNoiseProfile(
            offset_hz=tuple(offset.value for offset, _ in stage.phase_noise),
            level_dbc_hz=tuple(level.value for _, level in stage.phase_noise),
        )
        terms["phase noise"] = oscillator_mer(profile, mode=_mode(station)[0], multiplied=stage.multiplier or 1)
    ripple, main = station.supply.ripple, station.supply.voltage
    last = next((one.name for one in reversed(station.stages) if one.kind == "amplifier"), None)
    if ripple is not None and main is not None and ripple.value > 0 and stage.name == last:
        depth = ripple.value / 2 / main.value
        terms["supply ripple"] = Estimate(value=-20 * math.log10(depth / math.sqrt(2)), std=3.0)
    return terms


def _slopes(stage: Stage, station: Station, mode: Mode) -> tuple[float, float]:
    """Gain of a filter at the two shoulders, less that of the channel. [dB, dB]"""
    if stage.curve is None or len(stage.curve.frequency_hz) < 2:
        return 0.0, 0.0
    centre = station.channel.centre.value
    away = mode.occupied_width_hz / 2 + SHOULDER_OFFSET_HZ
    channel = channel_loss_db(stage.curve, centre_hz=centre, occupied_hz=mode.occupied_width_hz)
    lower, upper = loss_at_db(stage.curve, np.array([centre - away, centre + away]))
    return float(channel - lower), float(channel - upper)


def loads_of(station: Station) -> tuple[Load, ...]:
    """Everything that draws current and says how much."""
    rows: Sequence[tuple[str, Figure | None, Figure | None, Figure | None, Figure | None]] = [
        *((one.name, one.supply, one.current, one.converter, one.start_current) for one in station.stages),
        *((one.name, one.supply, one.current, one.converter, None) for one in station.consumers),
    ]
    main = station.supply.voltage
    found = []
    for name, supply, current, converter, start in rows:
        voltage = supply or main
        if current is None or voltage is None:
            continue
        found.append(
            Load(
                name=name,
                voltage_v=voltage.value,
                current_a=current.value,
                std_a=current.std or 0.0,
                efficiency=None if converter is None else converter.value,
                start_a=None if start is None else start.value,
            )
        )
    return tuple(found)


def is_outside(stage: Stage, station: Station) -> bool:
    """Whether a stage is used outside the frequencies its figures hold for."""
    return _outside(stage, stage_inputs_hz(station)[stage.name])
