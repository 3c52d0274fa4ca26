"""A transmitter of a map: where it stands, what it radiates, and what feeds it.

Theory  A site sends its mean e.i.r.p. along its axis and less beside it; a repeater gets its signal from another site.
Source  own design.
Holds   Heights above ground, bearings true.
"""

from dataclasses import dataclass

from tepui.chain.antenna.pattern import Pattern
from tepui.chain.antenna.places import Place
from tepui.prediction.map_combine import Feeding


@dataclass(frozen=True, kw_only=True)
class MapSite:
    """A transmitter on the map.

    height_m     above ground;  azimuth_deg  of its antenna's axis, true
    delay_s      by which it sends later than the others
    feeding      how a repeater gets its signal; None where the picture is made here
    """

    name: str
    place: Place
    height_m: float
    eirp_dbm: float
    pattern: Pattern | None = None
    azimuth_deg: float = 0.0
    delay_s: float = 0.0
    feeding: Feeding | None = None
