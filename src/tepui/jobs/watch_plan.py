"""What an edge watch is told before it begins.

Theory  jobs/watch.py.
Source  own definition; 20 ppm for a receiver's crystal is common practice.
Holds   In SI.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from tepui.chain.reception.slices import SliceSymbols

LOOK_S = 0.25


@dataclass(frozen=True, kw_only=True)
class WatchPlan:
    """What is watched, and with what.

    centre_hz, width_hz  of the channel
    reach_hz           of the receiver, usable on either side of its frequency
    dc_half_width_hz   of its line at zero
    symbols            useful part and guard, where told; None to find them
    tuning_ppm         standard uncertainty of the receiver's frequency
    pad_db             of the pad test
    pad_element        name of a gain element that is a pad (a step attenuator), set by the test itself; None to ask
    behind_element     gain element known to lie behind the front end, raised with the pad; None where there is none
    settings           attenuator_db, setting_dbm ... that go with every recording
    """

    centre_hz: float
    width_hz: float
    reach_hz: float
    dc_half_width_hz: float
    symbols: SliceSymbols | None = None
    tuning_ppm: float = 20.0
    pad_db: float = 10.0
    pad_element: str | None = None
    behind_element: str | None = None
    look_s: float = LOOK_S
    settings: Mapping[str, float | bool] = field(default_factory=dict)
