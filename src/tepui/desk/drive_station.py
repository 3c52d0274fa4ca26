"""What a station file answers of a drive question: channel, target, step, output filter, supply, instrument.

Theory  What is told on the command line wins; the station fills what is left.
Source  station/nouns.py.
Holds   The filters behind the last amplifier are taken to lie between it and the place where the shoulders were read. A
        prototype is a plan and not a curve: it is not taken off.
"""

from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

import numpy as np

from tepui.desk.drive import DriveRequest
from tepui.evidence.drive import FilterCurve
from tepui.files.station import named_files, open_station
from tepui.ground.errors import RangeError
from tepui.jobs.drive_series import NOMINAL_MODE
from tepui.signals.dvbt.mode import Mode
from tepui.station.nouns import FFT_BY_NAME, Station
from tepui.station.stages import Curve, Stage

POINTS = 2001
REACH_HZ = 15e6  # of a filter's curve, either side of the channel's centre


@dataclass(frozen=True, kw_only=True)
class FromStation:
    """The request with the station's answers; what the curve is, and what was left out."""

    request: DriveRequest
    name: str
    curve: FilterCurve | None
    remarks: tuple[str, ...]
    files: tuple[Path, ...]


def with_station(request: DriveRequest, path: Path) -> FromStation:
    """Fill a request from a station file.

    raises  InputError where the file cannot be used, or no target is told anywhere
    """
    station = open_station(path)
    target = station.target
    target_db = request.target_db
    if target_db is None and target.shoulder is not None:
        target_db = target.shoulder.value
    if target_db is None:
        raise RangeError(f'{path} states no shoulder under [target]; add shoulder = "-32 dB" there, or give --target.')
    confidence = request.confidence
    if confidence is None:
        confidence = None if target.confidence is None else target.confidence.value
    modulator = next((stage for stage in station.stages if stage.kind == "modulator"), None)
    amplifier = _last_amplifier(station)
    receiver = _receiver(station)
    step_db = request.step_db
    if step_db is None and modulator is not None and modulator.step is not None:
        step_db = modulator.step.value
    curve, remarks = (None, ()) if request.filter_table is not None else _output_filter(station)
    filled = replace(
        request,
        target_db=target_db,
        confidence=confidence,
        step_db=step_db,
        mode=request.mode or _mode(station),
        centre_hz=station.channel.centre.value if request.centre_hz is None else request.centre_hz,
        supply_v=request.supply_v
        if request.supply_v is not None or amplifier is None or amplifier.supply is None
        else amplifier.supply.value,
        usable_hz=receiver if request.usable_hz is None else request.usable_hz,
        doubt_db=_repeat(station) if request.doubt_db is None else request.doubt_db,
    )
    return FromStation(
        request=filled, name=station.name, curve=curve, remarks=remarks, files=tuple(named_files(station, path))
    )


def _mode(station: Station) -> Mode:
    """Width and size as the channel has them; the rest does not bear on shoulders."""
    channel = station.channel
    if channel.mode is not None:
        return channel.mode
    n_fft = FFT_BY_NAME[channel.fft] if channel.fft else NOMINAL_MODE.n_fft
    guard = Fraction(channel.guard) if channel.guard else NOMINAL_MODE.guard
    return replace(NOMINAL_MODE, width_hz=channel.width.value, n_fft=n_fft, guard=guard)


def _last_amplifier(station: Station) -> Stage | None:
    return next((stage for stage in reversed(station.stages) if stage.kind == "amplifier"), None)


def _receiver(station: Station) -> float | None:
    """Width that the narrowest receiver shows truly, where it is stated."""
    widths = [one.usable.value for one in station.instruments if one.is_receiver and one.usable is not None]
    return min(widths) if widths else None


def _repeat(station: Station) -> float | None:
    """How well the receiver or screen repeats, where there is only one that says so."""
    stated = [one.repeat.value for one in station.instruments if one.is_receiver and one.repeat is not None]
    return stated[0] if len(stated) == 1 else None


def _output_filter(station: Station) -> tuple[FilterCurve | None, tuple[str, ...]]:
    """Loss of the filters behind the last amplifier, from the channel's centre on; None without a measured one."""
    amplifier = _last_amplifier(station)
    behind = station.stages if amplifier is None else station.stages[station.stages.index(amplifier) + 1 :]
    filters = [stage for stage in behind if stage.kind == "filter" and stage.curve is not None]
    measured = [stage for stage in filters if _is_curve(stage.curve)]
    remarks = tuple(
        f"The filter {stage.name} is known by its prototype only, which is a plan: its tilt is not taken off."
        for stage in filters
        if stage.curve is not None and stage.curve.assumed
    )
    if not measured:
        return None, remarks
    centre_hz = station.channel.centre.value
    curves = [stage.curve for stage in measured if stage.curve is not None]
    low = max(float(curve.frequency_hz[0]) for curve in curves)
    high = min(float(curve.frequency_hz[-1]) for curve in curves)
    low, high = max(low, centre_hz - REACH_HZ), min(high, centre_hz + REACH_HZ)
    if high <= low:
        return None, (*remarks, "The filter curves of the station do not reach the channel and are not taken off.")
    frequency = np.linspace(low, high, POINTS)
    loss = np.sum([np.interp(frequency, curve.frequency_hz, curve.loss_db) for curve in curves], axis=0)
    names = " and ".join(stage.name for stage in measured)
    taken = f"The loss of {names} is taken off, as the station file has it: shoulders read before it need --no-filter."
    return FilterCurve(offset_hz=frequency - centre_hz, loss_db=np.asarray(loss)), (*remarks, taken)


def _is_curve(curve: Curve | None) -> bool:
    return curve is not None and not curve.assumed and len(curve.frequency_hz) > 2
