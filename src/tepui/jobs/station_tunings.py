"""What a tuning list needs, from the station file: the channel wanted, the receiver owned, the level predicted.

Theory  The receiver is the one narrow one among the instruments, or the one named. The level ahead of its pads is at
        most what leaves the last amplifier, by its prediction's upper end: pads reckoned for that serve at every tap.
Source  the station file; jobs/levels_chain.py for the level.
Holds   What is told beside the file outranks it. A usable width that is not stated is three quarters of the rate
        (common practice).
"""

import difflib
from dataclasses import dataclass

from tepui.ground.doubt import COVERAGE_FACTOR
from tepui.ground.errors import ChoiceError, InputError, RangeError
from tepui.jobs.levels_chain import chain_of
from tepui.jobs.tunings import TuningRequest
from tepui.station.figures import Figure
from tepui.station.instruments import Instrument
from tepui.station.nouns import FFT_BY_NAME, Station

USUAL_USABLE = 0.75  # of the sample rate
USUAL_DC_HZ = 0.1e6  # common practice, where it is not stated
USUAL_FFT = 8192


@dataclass(frozen=True, kw_only=True)
class Told:
    """What was told beside the station file, in SI; None where nothing."""

    centre_hz: float | None = None
    width_hz: float | None = None
    n_fft: int | None = None
    usable_hz: float | None = None
    dc_width_hz: float | None = None
    rate_hz: float | None = None
    level_dbm: float | None = None
    max_input_dbm: float | None = None


def request_of(station: Station, *, instrument: str | None, told: Told, quick: bool = False) -> TuningRequest:
    """The tuning list's question.

    instrument  name of the receiver meant; None for the only one
    raises      ChoiceError or InputError where the file has no such receiver, or does not say how wide it is
    """
    receiver = _receiver(station, instrument, may_lack=told.usable_hz is not None)
    rate_hz = told.rate_hz or _value(receiver, "rate")
    usable_hz = told.usable_hz or _value(receiver, "usable")
    if usable_hz is None:
        if rate_hz is None:
            raise InputError(
                f"the instrument {receiver.name if receiver else ''} states neither usable nor rate, so what it shows "
                'is not known: add usable = "1.8 MHz" to it, or give --usable.'
            )
        usable_hz = USUAL_USABLE * rate_hz
    dc_hz = told.dc_width_hz if told.dc_width_hz is not None else _value(receiver, "dc_width")
    level_dbm, level_from = told.level_dbm, ""
    if level_dbm is None:
        level_dbm, level_from = _level(station)
    channel = station.channel
    request = TuningRequest(
        centre_hz=told.centre_hz or channel.centre.value,
        width_hz=told.width_hz or channel.width.value,
        n_fft=told.n_fft or (FFT_BY_NAME[channel.fft] if channel.fft else USUAL_FFT),
        usable_hz=usable_hz,
        dc_width_hz=USUAL_DC_HZ if dc_hz is None else dc_hz,
        rate_hz=rate_hz,
        level_dbm=level_dbm,
        level_from=level_from,
        max_input_dbm=told.max_input_dbm if told.max_input_dbm is not None else _value(receiver, "max_input"),
        instrument=None if receiver is None else receiver.name,
        bits=None if receiver is None else receiver.bits,
        fitted_db=_value(receiver, "pads"),
        pad_power_w=_value(receiver, "pad_power"),
        quick=quick,
    )
    if receiver is not None and receiver.tunes:
        _require_reach(request, receiver)
    return request


def _value(receiver: Instrument | None, key: str) -> float | None:
    """A figure of the receiver; None where it is not stated."""
    figure: Figure | None = getattr(receiver, key, None)
    return None if figure is None else figure.value


def _receiver(station: Station, name: str | None, *, may_lack: bool) -> Instrument | None:
    receivers = [one for one in station.instruments if one.is_receiver]
    if name is not None:
        found = next((one for one in station.instruments if one.name.casefold() == name.casefold()), None)
        if found is None:
            names = [one.name for one in station.instruments]
            close = difflib.get_close_matches(name, names, n=1)
            there = f"it has {', '.join(names)}" if names else "it has none"
            nearest = f" Nearest: {close[0]}." if close else ""
            raise ChoiceError(f'the station file has no instrument "{name}"; {there}.{nearest}')
        if not found.is_receiver:
            raise ChoiceError(
                f"the instrument {found.name} is a {found.kind}, which shows no spectrum: name a receiver with "
                f"--instrument{', such as ' + receivers[0].name if receivers else ''}."
            )
        return found
    if not receivers:
        if may_lack:
            return None
        raise InputError(
            'the station file has no receiver to make a list for: add an [[instrument]] with kind = "receiver" and '
            'usable = "1.8 MHz", or give --usable.'
        )
    if len(receivers) > 1:
        several = ", ".join(one.name for one in receivers)
        raise ChoiceError(f"the station file has more than one receiver ({several}): say which with --instrument.")
    return receivers[0]


def _level(station: Station) -> tuple[float | None, str]:
    """Upper end of what leaves the last amplifier, and in words where that comes from. [dBm]"""
    chain = chain_of(station)
    if chain.output is None:
        return None, ""
    level = chain.levels[chain.output]
    high_dbm = level.value + COVERAGE_FACTOR * level.std
    return high_dbm, f"the {high_dbm:.1f} dBm that may leave {chain.assembled.links[chain.output].name}, as predicted"


def _require_reach(request: TuningRequest, receiver: Instrument) -> None:
    half_hz = request.occupied_hz / 2 + 1e6
    low_hz, high_hz = request.centre_hz - half_hz, request.centre_hz + half_hz
    spans = [(one.low or one.value, one.high or one.value) for one in receiver.tunes or ()]
    if not any(low <= low_hz and high_hz <= high for low, high in spans):
        reach = ", ".join(f"{low / 1e6:g} to {high / 1e6:g}" for low, high in spans)
        raise RangeError(
            f"The instrument {receiver.name} tunes {reach} MHz, and the list reaches from {low_hz / 1e6:.1f} to "
            f"{high_hz / 1e6:.1f} MHz: name another with --instrument, or measure ahead of the mixer with --centre."
        )
