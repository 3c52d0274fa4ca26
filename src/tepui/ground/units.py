"""The units an operator may write, kind by kind, and how each becomes SI.

Theory  SI value = number x factor + offset. Prefixes count: m is a thousandth, M a million, so case is never folded.
Source  [SI] 9th edition, prefixes and non-SI units accepted; dB, dBm, dBW [IEC60027-3]. A half-wave dipole has 2.15 dBi
        (directivity 4 / Cin(2 pi) in free space), so 0 dBd = 2.15 dBi.
Holds   Temperatures as points, not differences; their doubt is a difference. The degree stays a degree.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

DIPOLE_GAIN_DBI = Fraction("2.15")


@dataclass(frozen=True, kw_only=True)
class Unit:
    """SI value = number x factor + offset."""

    factor: Fraction
    offset: Fraction = Fraction(0)


@dataclass(frozen=True, kw_only=True)
class Kind:
    """A kind of quantity.

    noun      for sentences: "a frequency"
    si_unit   of the parsed value
    units     allowed after the number
    doubts    allowed after the doubt; each a factor only
    example   the unit shown where one is missing
    lowest    the least value with a meaning, in SI units; None where there is none
    relative  whether a doubt in per cent has a meaning (not for logarithms, nor from an arbitrary zero)
    """

    noun: str
    si_unit: str
    units: Mapping[str, Unit]
    doubts: Mapping[str, Fraction]
    example: str
    lowest: float | None = None
    relative: bool = True


def _scaled(noun: str, si_unit: str, factors: Mapping[str, str], *, example: str, lowest: float | None = None) -> Kind:
    units = {name: Unit(factor=Fraction(factor)) for name, factor in factors.items()}
    doubts = {name: unit.factor for name, unit in units.items()}
    return Kind(noun=noun, si_unit=si_unit, units=units, doubts=doubts, example=example, lowest=lowest)


def _decibels(noun: str, si_unit: str, offsets: Mapping[str, str | Fraction]) -> Kind:
    units = {name: Unit(factor=Fraction(1), offset=Fraction(offset)) for name, offset in offsets.items()}
    return Kind(
        noun=noun, si_unit=si_unit, units=units, doubts={"dB": Fraction(1)}, example=next(iter(units)), relative=False
    )


_KELVIN = {"K": Fraction(1), "degC": Fraction(1), "°C": Fraction(1), "degK": Fraction(1)}
_ZERO_CELSIUS_K = Fraction("273.15")

KINDS: dict[str, Kind] = {
    "frequency": _scaled("a frequency", "Hz", {"Hz": "1", "kHz": "1e3", "MHz": "1e6", "GHz": "1e9"}, example="MHz"),
    "sample_rate": _scaled(
        "a sample rate",
        "Hz",
        {"S/s": "1", "kS/s": "1e3", "MS/s": "1e6", "GS/s": "1e9", "Hz": "1", "kHz": "1e3", "MHz": "1e6", "GHz": "1e9"},
        example="MS/s",
        lowest=0.0,
    ),
    "level": _decibels("a level", "dBm", {"dBm": "0", "dBW": "30"}),
    "ratio": _decibels("a ratio", "dB", {"dB": "0", "dBc": "0"}),
    "noise": _decibels("a noise figure", "dB", {"dB": "0"}),
    "gain": _decibels("an antenna gain", "dBi", {"dBi": "0", "dBd": DIPOLE_GAIN_DBI}),
    "phase_noise": _decibels("a phase noise", "dBc/Hz", {"dBc/Hz": "0"}),
    "length": _scaled("a length", "m", {"m": "1", "mm": "1e-3", "cm": "1e-2", "km": "1e3"}, example="m"),
    "time": _scaled(
        "a time",
        "s",
        {"s": "1", "ms": "1e-3", "us": "1e-6", "µs": "1e-6", "ns": "1e-9", "min": "60", "h": "3600"},
        example="s",
    ),
    "voltage": _scaled(
        "a voltage", "V", {"V": "1", "mV": "1e-3", "uV": "1e-6", "µV": "1e-6", "kV": "1e3"}, example="V"
    ),
    "current": _scaled("a current", "A", {"A": "1", "mA": "1e-3", "uA": "1e-6", "µA": "1e-6"}, example="A"),
    "power": _scaled(
        "a power", "W", {"W": "1", "mW": "1e-3", "kW": "1e3", "uW": "1e-6", "µW": "1e-6"}, example="W", lowest=0.0
    ),
    "resistance": _scaled(
        "a resistance",
        "Ohm",
        {"Ohm": "1", "ohm": "1", "Ω": "1", "mOhm": "1e-3", "kOhm": "1e3", "kΩ": "1e3", "MOhm": "1e6"},
        example="Ohm",
        lowest=0.0,
    ),
    "temperature": Kind(
        noun="a temperature",
        si_unit="K",
        units={
            name: Unit(factor=Fraction(1), offset=_ZERO_CELSIUS_K if name.endswith("C") else Fraction(0))
            for name in ("degC", "°C", "K", "degK")
        },
        doubts=_KELVIN,
        example="degC",
        lowest=0.0,
        relative=False,
    ),
    "thermal_resistance": _scaled(
        "a thermal resistance", "K/W", {"K/W": "1", "degC/W": "1", "°C/W": "1"}, example="K/W", lowest=0.0
    ),
    "temperature_difference": _scaled(
        "a difference of temperature", "K", {"K": "1", "degC": "1", "°C": "1"}, example="K"
    ),
    "ppm": _scaled("a relative offset", "ppm", {"ppm": "1", "ppb": "1e-3"}, example="ppm"),
    "drift": _scaled("a drift", "ppm/K", {"ppm/K": "1"}, example="ppm/K"),
    "area": _scaled("an area", "m2", {"m2": "1", "cm2": "1e-4", "mm2": "1e-6", "mm²": "1e-6"}, example="mm2"),
    "charge": _scaled("a capacity", "A h", {"Ah": "1", "mAh": "1e-3"}, example="Ah"),
    "power_density": _scaled(
        "a power density", "W/m2", {"W/m2": "1", "W/m²": "1", "mW/cm2": "10", "mW/cm²": "10"}, example="W/m2"
    ),
    "rate": _scaled(
        "a bit rate",
        "bit/s",
        {"bit/s": "1", "kbit/s": "1e3", "Mbit/s": "1e6", "Gbit/s": "1e9"},
        example="Mbit/s",
        lowest=0.0,
    ),
    "angle": _scaled("an angle", "deg", {"deg": "1", "°": "1"}, example="deg"),
    "percent": _scaled("a share", "1", {"%": "1e-2"}, example="%"),
    "fraction": _scaled("a fraction", "1", {}, example="1/16"),
    "quality": _scaled("a quality factor", "1", {}, example="", lowest=0.0),
    "count": _scaled("a count", "1", {}, example="", lowest=0.0),
}
"""Kind -> what may be written. ``fraction`` ("1/16"), ``count`` and ``quality`` ("12") are numbers without a unit."""
