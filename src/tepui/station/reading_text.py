"""A reading as the operator types it: "after driver = 9.7 dBm ± 0.5 dB", or "after driver on head = -30.4 dBm".

Theory  Without an instrument the level is the mean power at the point. With one ("on NAME") it is what the instrument
        shows: its detector's factor and its pads ("through 20 dB" where not all of them are in) are taken out here,
        and it shares that instrument's own offset.
Source  tepui's own grammar; detectors as prediction.detectors has them.
Holds   Levels. A reading without a doubt gets the instrument's repeat, else the usual doubt of a measured level.
"""

import re

from tepui.ground.doubt import COVERAGE_FACTOR
from tepui.ground.errors import ChoiceError, FormatError, QuantityError
from tepui.ground.quantity import parse_quantity, quantity_value
from tepui.prediction.detectors import Shown, detector, receiver_share_db
from tepui.prediction.readings import LevelReading
from tepui.station.assemble import usual_doubt_db
from tepui.station.instruments import Instrument
from tepui.station.nouns import Station
from tepui.station.values import listed, nearest

_READING = re.compile(
    r"\s*(?:after\s+)?(?P<point>.+?)(?:\s+on\s+(?P<instrument>[^=]+?))?"
    r"(?:\s+through\s+(?P<pads>[^=]+?))?\s*=\s*(?P<level>[^=]+?)\s*"
)


def read_reading(text: str, *, station: Station, occupied_hz: float) -> LevelReading:
    """One reading.

    raises  InputError: one sentence
    """
    match = _READING.fullmatch(text)
    if match is None:
        raise FormatError(f'"{text}" is no reading; write "after driver = 9.7 dBm ± 0.5 dB".')
    names = [stage.name for stage in station.stages]
    point = match["point"].strip()
    if point not in names:
        raise ChoiceError(
            f'"{text}": there is no point "after {point}"; there are {listed(names)}.{nearest(point, names)}'
        )
    instrument = _instrument(match["instrument"], text, station)
    pads = 0.0 if match["pads"] is None else quantity_value(match["pads"], kind="ratio")
    if match["pads"] is not None and instrument is None:
        raise FormatError(f'"{text}": pads belong to an instrument; write "after driver on head through 20 dB = ...".')
    quantity = parse_quantity(match["level"], kind="level")
    if quantity.is_range:
        raise QuantityError(f'"{text}": a reading is one level with its doubt, not a range.')
    if quantity.low is not None and quantity.high is not None:
        std = (quantity.high - quantity.low) / 2 / COVERAGE_FACTOR
    elif instrument is not None and instrument.repeat is not None:
        std = instrument.repeat.value / COVERAGE_FACTOR
    else:
        std = usual_doubt_db("level", "measured") / COVERAGE_FACTOR
    if std <= 0:
        raise QuantityError(f'"{text}": a doubt of zero is not possible; leave it out or state one.')
    level = quantity.value
    if instrument is not None:
        shown = shown_by(instrument, input_dbm=level, occupied_hz=occupied_hz)
        level += pads_db(instrument) if match["pads"] is None else pads
        level -= shown.offset_db
        std = (std**2 + shown.std_db**2) ** 0.5
    return LevelReading(
        point=point, level_dbm=level, std_db=std, instrument=None if instrument is None else instrument.name, text=text
    )


def pads_db(instrument: Instrument) -> float:
    """Attenuation ahead of an instrument. [dB]"""
    return 0.0 if instrument.pads is None else instrument.pads.value


def shown_by(instrument: Instrument, *, input_dbm: float, occupied_hz: float) -> Shown:
    """What an instrument shows of the mean level at its connector."""
    if not instrument.is_receiver:
        return detector(instrument.kind, law=instrument.law, input_dbm=input_dbm)
    usable = None if instrument.usable is None else instrument.usable.value
    share = receiver_share_db(usable_hz=usable, occupied_hz=occupied_hz)
    if share == 0.0:
        return Shown(offset_db=0.0, std_db=0.0, why="it shows the mean power")
    return Shown(offset_db=share, std_db=0.3, why=f"its flat width shows {-share:.1f} dB less than the whole signal")


def _instrument(name: str | None, text: str, station: Station) -> Instrument | None:
    if name is None:
        return None
    known = [one.name for one in station.instruments]
    for one in station.instruments:
        if one.name == name.strip():
            return one
    there = f"there are {listed(known)}" if known else "the file names none"
    raise ChoiceError(f'"{text}": there is no instrument "{name.strip()}"; {there}.{nearest(name.strip(), known)}')
