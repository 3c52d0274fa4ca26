"""[path] and [[site]]: what a path and a map are judged by, and places with a name.

Theory  A site is an end of a path: a second transmitter, a repeater, a hill. A path goes from a station to each of the
        stations that should receive, or between any two names of the file.
Source  tepui's own file, format 1.
Holds   Heights are above ground. Files are meant from the folder the station file stands in.
"""

from dataclasses import dataclass

from tepui.station.figures import Figure, Place
from tepui.station.rules import choice, coordinates, figure, locator, text


@dataclass(frozen=True, kw_only=True)
class PathPlan:
    """[path]: how paths and maps are worked out, and what is at hand for them."""

    terrain: str | None = text("file or folder of terrain tiles, SRTM .hgt or GeoTIFF", example="tiles")
    terrain_kind: str | None = choice(("surface", "bare"), "whether they hold tree tops and roofs, or the ground")
    model: str | None = choice(("free-space", "knife-edge", "p526", "p1812", "p452"), "how the loss is worked out")
    clutter_loss: Figure | None = figure("ratio", "loss to add for trees and houses", least=0, example="17 dB ± 8 dB")
    declination: Figure | None = figure("angle", "of the compass, east positive", least=-180, most=180)
    implementation_loss: Figure | None = figure("ratio", "of a real receiver", least=0, most=20, example="2 dB")
    margin: Figure | None = figure("ratio", "to keep after that", example="6 dB")
    receive_height: Figure | None = figure("length", "receive antenna where none is told", least=0.01, example="10 m")
    noise_figure: Figure | None = figure("noise", "of the own receiver, for the way back", least=0)
    country: str | None = text("two letters, for national rules at hand", example="DE")
    rules: str | None = text("file of rules of your own", example="rules.csv")
    place: Place | None = None


@dataclass(frozen=True, kw_only=True)
class NamedSite:
    """[[site]]: a place with a name, for an end of a path or a transmitter of a map."""

    name: str = text("its name, as --from and --to take it", required=True)
    locator: str | None = locator("Maidenhead locator")
    coordinates: str | None = coordinates("latitude and longitude, decimal or in degrees and minutes")
    antenna_height: Figure | None = figure("length", "antenna above ground", least=0.01, example="20 m")
    place: Place | None = None
