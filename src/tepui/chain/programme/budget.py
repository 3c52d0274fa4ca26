"""The bit budget: what tables, sound and picture may take of the channel's net rate, and what stays null.

Theory  Tables cost one packet each time they are sent. Sound has a fixed rate. Of what is left after a reserve of
        null packets, the picture gets nine tenths, so that its peaks and the headers of its packets fit.
Source  Table intervals: [TR101290] 5.2.1 and 5.2.3, at most 0.5 s for PAT and PMT, 2 s for the SDT. Reserve of
        5 %, picture at 90 % and 0.6 bit per pixel: common practice (no published source).
Holds   One picture and one sound stream. Below about 110 kbit/s no picture with sound fits, and we say so.
"""

from dataclasses import dataclass
from fractions import Fraction

from tepui.chain.programme.clock import PACKET_BITS
from tepui.ground.errors import RangeError

NULL_SHARE = 0.05
PICTURE_SHARE = 0.9
SOUND_OVERHEAD = 1.25  # headers of small frames; a frame may just miss filling its packet
PICTURE_MIN_BPS = 40_000
BITS_PER_PIXEL = 0.6


@dataclass(frozen=True, kw_only=True)
class Budget:
    """Who gets what. ``null_bps`` is what is left over on average."""

    net_bps: float
    tables_bps: float
    table_interval_s: float
    name_interval_s: float
    sound_bps: int
    picture_bps: int

    @property
    def null_bps(self) -> float:
        """Left for null packets, on average. [bit/s]"""
        return self.net_bps - self.tables_bps - SOUND_OVERHEAD * self.sound_bps - self.picture_bps / PICTURE_SHARE


def share_rate(*, net_bit_rate_bps: Fraction, pixels_per_s: float) -> Budget:
    """Divide the net rate among tables, sound, picture and null packets.

    pixels_per_s  picture width x height x pictures per second: more bits than it can use are left null
    raises        RangeError where no picture fits
    """
    net = float(net_bit_rate_bps)
    table_s, name_s = (0.1, 0.25) if net > 1e6 else (0.25, 1.0)
    tables = PACKET_BITS * (2 / table_s + 1 / name_s)
    sound = 128_000 if net > 2e6 else 64_000 if net > 6e5 else 32_000
    room = PICTURE_SHARE * ((1 - NULL_SHARE) * net - tables - SOUND_OVERHEAD * sound)
    if room < PICTURE_MIN_BPS:
        least = (PICTURE_MIN_BPS / PICTURE_SHARE + tables + SOUND_OVERHEAD * sound) / (1 - NULL_SHARE)
        raise RangeError(
            f"The net bit rate must be at least {least / 1e3:.0f} kbit/s for a picture with sound (bit budget, common "
            f"practice), not {net / 1e3:.0f} kbit/s; choose a wider channel, a higher code rate or a shorter guard."
        )
    return Budget(
        net_bps=net,
        tables_bps=tables,
        table_interval_s=table_s,
        name_interval_s=name_s,
        sound_bps=sound,
        picture_bps=int(min(room, BITS_PER_PIXEL * pixels_per_s)),
    )
