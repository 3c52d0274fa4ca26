"""A listed station: who may receive, where and with what antenna."""

from dataclasses import dataclass

from tepui.chain.antenna.places import Place


@dataclass(frozen=True, kw_only=True)
class ListedStation:
    """A station that may receive: its antenna, feeder taken off, at the map's receive height."""

    call: str
    place: Place
    gain_dbi: float
