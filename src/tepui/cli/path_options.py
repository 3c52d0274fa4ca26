"""The options of ``tepui path``, and what stands in for those that neither the operator nor a station file tells."""

import argparse
from collections.abc import Mapping
from typing import Any

from tepui.cli.parsing import place, quantity

FFT_SIZES = {"2K": 2048, "4K": 4096, "8K": 8192}
EARTH_M = 6371e3
MODEL_NAMES = ("free-space", "knife-edge", "p526", "p1812", "p452")
DEFAULTS: Mapping[str, Any] = {
    "model": "p526",
    "delta_n": "45",
    "n0": "325",
    "time": "50 %",
    "locations": "50 %",
    "location_spread": "5.5 dB",
    "polarisation": "horizontal",
    "sea_fraction": "0",
    "coast_tx": "500 km",
    "coast_rx": "500 km",
    "pressure": "1013",
    "temperature": "15 degC",
    "fft": "8K",
    "guard": "1/32",
    "tx_feeder": "0 dB",
    "tx_pointing": "0 deg",
    "rx_feeder": "0 dB",
    "rx_pointing": "0 deg",
    "polarisation_turn": "0 deg",
    "preamplifier_place": "mast",
    "channel": "auto",
    "edition": "V1.6.1",
    "implementation_loss": "2 dB",
    "margin": "6 dB",
}


def add_path_options(parser: argparse.ArgumentParser) -> None:
    """Declare what the verb takes."""
    parser.add_argument("station", metavar="STATION", nargs="?", type=place, help="station file: its own end, its "
                        "far stations and named sites; options given beside it come first")  # fmt: skip
    _add_path(parser.add_argument_group("the path"))
    _add_model(parser.add_argument_group("the model"))
    _add_link(parser.add_argument_group("the link (told once --tx-power is given)"))
    _add_back(parser.add_argument_group("the way back (with the link)"))
    _add_care(parser.add_argument_group("care (with the link)"))
    _add_beside(parser.add_argument_group("an own receiver beside the own transmitter (with the link)"))
    parser.add_argument("--plots", metavar="DIR", type=place, help="folder for the drawing of the profile")
    parser.add_argument("--strict", action="store_true", help="leave with 1 where no mode keeps the margin")


def _add_path(group: Any) -> None:
    add = group.add_argument
    add("--from", dest="start", metavar="PLACE", help='locator, "52.21, 4.30", 52°12\'30"N 4°18\'0"E, or a name in '
        "the station file")  # fmt: skip
    add("--to", dest="end", metavar="PLACE", help="the same for the far end; else every far station of the file")
    add("--name", help="name of the path in the findings; else the far end or the profile")
    add("--profile", metavar="FILE.csv", type=place, help="heights along the path, from the transmitter on")
    add("--terrain", metavar="FILE", type=place, nargs="+", help="SRTM .hgt or GeoTIFF tiles, or folders of them")
    add("--terrain-kind", choices=("surface", "bare"), help="whether the tiles hold tree tops and roofs, or the ground")
    add("--missing-is-sea", action="store_true", help="take ground that no tile covers as sea, height 0")
    add("--fill-voids", action="store_true", help="bridge voids of any length in the tiles by a straight line")
    add("--clutter-height", metavar="H", help='trees or houses on all of a bare terrain but the ends: "10 m"')
    add("--declination", metavar="A", help='of the compass, east positive, for magnetic bearings: "2.5 deg"')
    add("--frequency", metavar="F", help='centre of the channel: "436 MHz"')
    add("--tx-height", metavar="H", help='transmit antenna above ground: "30 m"')
    add("--rx-height", metavar="H", help='receive antenna above ground: "10 m"')


def _add_model(group: Any) -> None:
    add = group.add_argument
    add("--model", choices=MODEL_NAMES, help="how the loss is worked out (p526)")
    add("--earth-radius", metavar="R", help='effective: "8500 km", or as a factor "4/3"')
    add("--delta-n", metavar="N", help="fall of refractivity in the lowest kilometre (45)")
    add("--n0", metavar="N", help="surface refractivity at sea level (325)")
    add("--time", metavar="P", help='share of time: "1 %%" to "50 %%" (50 %%)')
    add("--locations", metavar="P", help='share of places reached, p1812 ("50 %%")')
    add("--location-spread", metavar="S", help='standard deviation among places ("5.5 dB")')
    add("--polarisation", choices=("horizontal", "vertical"), help="of both antennas (horizontal)")
    add("--sea-fraction", metavar="P", help='share of the path over sea: "40 %%" or 0.4 (0)')
    add("--coast-tx", metavar="D", help="transmitter to the coast along the path (500 km)")
    add("--coast-rx", metavar="D", help="receiver to the coast along the path (500 km)")
    add("--latitude", metavar="A", help='of the path, where no places are given: "48 deg"')
    add("--pressure", metavar="P", help="of the air in hPa, p452 (1013)")
    add("--temperature", metavar="T", help="of the air, p452 (15 degC)")
    add("--rain", metavar="R", help="rain rate along the path in mm/h, from 1 GHz: 30")
    add("--clutter-loss", metavar="L", help='loss to add for trees and houses: "17 dB" or "17 dB ± 8 dB"')


def _add_link(group: Any) -> None:
    add = group.add_argument
    add("--width", metavar="W", help='channel width: "2 MHz"')
    add("--fft", choices=tuple(FFT_SIZES), help="FFT size (8K)")
    add("--guard", metavar="G", help="guard interval (1/32)")
    add("--tx-power", metavar="P", help='mean power into the feeder: "33 dBm ± 1 dB"')
    add("--tx-feeder", metavar="L", help="loss of the transmit feeder (0 dB)")
    add("--tx-gain", metavar="G", help='of the transmit antenna: "11 dBi"')
    add("--tx-mer", metavar="M", help='MER of the transmitter itself: "32 dB"')
    add("--tx-pointing", metavar="A", help="angle away from the far station (0 deg)")
    add("--tx-azimuth", metavar="A", help="true bearing of its axis, in place of the angle away")
    add("--tx-pattern", metavar="FILE.csv", type=place, help="of the transmit antenna: angle_deg,loss_db from its axis")
    add("--rx-gain", metavar="G", help='of the receive antenna: "13 dBi"')
    add("--rx-feeder", metavar="L", help="loss of the receive feeder (0 dB)")
    add("--rx-noise-figure", metavar="N", help='of the receiver: "3 dB"')
    add("--rx-pointing", metavar="A", help="angle away from the transmitter (0 deg)")
    add("--rx-pattern", metavar="FILE.csv", type=place, help="of the receive antenna, in the same form")
    add("--polarisation-turn", metavar="A", help="between the two antennas (0 deg)")
    add("--preamplifier-gain", metavar="G", help='of a preamplifier: "18 dB"')
    add("--preamplifier-noise-figure", metavar="N", help='of it: "0.8 dB"')
    add("--preamplifier-place", choices=("mast", "receiver"), help="before or after the feeder (mast)")
    add("--external-noise", metavar="N", help='noise of the surroundings over k T0: "4 dB"')
    add("--antenna-temperature", metavar="T", help='the same as a temperature: "150 K"')
    add("--noise-place", metavar="PLACE", help="city, residential, rural: the same below 250 MHz")
    add("--channel", choices=("auto", "gaussian", "ricean", "rayleigh"), help="kind of channel (auto)")
    add("--edition", choices=("V1.6.1", "V1.1.2"), help="of EN 300 744 for the required C/N (V1.6.1)")
    add("--implementation-loss", metavar="L", help="of a real receiver (2 dB)")
    add("--margin", metavar="M", help="to keep after that (6 dB)")


def _add_back(group: Any) -> None:
    add = group.add_argument
    add("--back-power", metavar="P", help='mean power of the far transmitter: "30 dBm"')
    add("--back-noise-figure", metavar="N", help='of the own receiver: "3 dB"')
    add("--back-external-noise", metavar="N", help="noise of the own surroundings over k T0 (0 dB)")
    add("--back-frequency", metavar="F", help="where the way back is on another frequency: its gains and feeders "
        "must then be told too")  # fmt: skip
    add("--back-width", metavar="W", help='channel width of the way back: "2 MHz", or "15 kHz" with --back-cn')
    add("--back-cn", metavar="C", help='C/N that a talk-back of another kind needs: "10 dB"')
    add("--back-tx-gain", metavar="G", help="of the far antenna on the way back")
    add("--back-tx-feeder", metavar="L", help="of the far feeder on the way back")
    add("--back-rx-gain", metavar="G", help="of the own antenna on the way back")
    add("--back-rx-feeder", metavar="L", help="of the own feeder on the way back")


def _add_beside(group: Any) -> None:
    add = group.add_argument
    add("--own-tx-noise", metavar="N", help='transmitter\'s noise at the receive frequency: "-150 dBc/Hz"')
    add("--own-isolation", metavar="A", help='between both antennas: "40 dB"')
    add("--own-rx-width", metavar="W", help='of the receiver: "2 MHz"')
    add("--own-rx-noise-figure", metavar="N", help='of the receiver: "3 dB"')
    add("--own-rx-blocking", metavar="P", help='the strongest carrier it stands: "-30 dBm"')


def _add_care(group: Any) -> None:
    add = group.add_argument
    add("--exposure", action="store_true", help="distances to the published levels of exposure")
    add("--tx-aperture", metavar="D", help='diameter of the dish or length of the array: "0.9 m"')
    add("--tx-antenna", choices=("dish", "array"), help="what the aperture is (dish)")
    add("--licence", action="store_true", help="the channel beside band edges, segments and the rules at hand")
    add("--candidate", metavar="F", action="append", help="centre of another channel for the sheet; repeat for several")
    add("--country", metavar="CC", help="two letters, for national rules at hand: DE")
    add("--rules", metavar="FILE.csv", type=place, help="rules of your own: country,f_low_mhz,f_high_mhz,quantity,...")


def earth_radius_m(text: str | None) -> float | None:
    """An effective Earth radius: a length, or a factor such as 4/3 or 1.33 of 6371 km."""
    if text is None:
        return None
    from tepui.ground.quantity import parse_fraction

    if "/" in text:
        return EARTH_M * float(parse_fraction(text))
    if text.replace(".", "", 1).isdigit() and float(text) < 10:
        return EARTH_M * float(text)
    return quantity(text, kind="length", option="--earth-radius")
