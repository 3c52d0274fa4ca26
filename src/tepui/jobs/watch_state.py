"""What an edge watch has to say at one moment: numbers for whoever draws them, on a terminal or a page.

Levels are over the signal: negative, lower is better. ``received`` is what reached the receiver's converter, floor
taken off; what the receiver's own front end made is in it until a pad test has told.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from tepui.ground.doubt import Estimate

if TYPE_CHECKING:  # the bench in the browser reads snapshots without the numerical libraries
    from tepui.evidence.shoulders import Construction

SIDES = ("lower", "upper")
UNKNOWN, TRANSMITTER, RECEIVER, HIDDEN = "unknown", "transmitter", "receiver", "hidden"
IDLE, FIT_PAD, WITH_PAD, TAKE_OFF = "idle", "fit the pad", "reading with the pad", "take the pad off"
TERMINATE, FLOOR = "terminate the input", "reading the floor"
TARGET_LEVEL_DB = -12.0  # OFDM this far below a full-scale carrier is clipped for less than 1e-6 of the time (Gaussian)
TOO_STRONG_DB, CLIPPED_SHARE = -8.0, 1e-5
TOO_WEAK_DB = -20.0
FLOOR_CLEAR_DB = 6.0  # of the shoulder above the floor, below which more gain would help


@dataclass(frozen=True, kw_only=True)
class Side:
    """One shoulder. received is None where it is too near the floor: it then lies below ``shown.high``."""

    shown: Estimate
    received: Estimate | None

    @property
    def best(self) -> Estimate:
        """The received level, or what is shown where the floor hides it."""
        return self.received or self.shown

    @property
    def is_bound(self) -> bool:
        """Whether only an upper bound is known."""
        return self.received is None


@dataclass(frozen=True, kw_only=True)
class Moment:
    """Both sides at one time. time_s counts from the watch's beginning."""

    time_s: float
    lower: Side
    upper: Side
    level_db: float

    def side(self, name: str) -> Side:
        """The one of this name."""
        return self.lower if name == "lower" else self.upper


@dataclass(frozen=True, kw_only=True)
class ReceiverState:
    """How the receiver fares.

    level_db       power of the samples over a full-scale carrier
    clipped_share  of the samples
    used_bits      None for floating point
    floor_db       noise density over the signal's; None where not known
    floor_method   how it was found, in words
    lost           places samples were lost at since the beginning
    """

    level_db: float
    clipped_share: float
    used_bits: float | None
    floor_db: float | None
    floor_method: str
    lost: int

    @property
    def is_clipping(self) -> bool:
        """Whether shoulders are partly the converter's."""
        return self.clipped_share > CLIPPED_SHARE

    def advice(self, worst_db: float) -> str:
        """What to do about the level, in a few words; empty where it is good."""
        change = round(TARGET_LEVEL_DB - self.level_db)
        if self.is_clipping or self.level_db > TOO_STRONG_DB:
            return f"fit a pad, or {max(-change, 3)} dB less gain"
        near_floor = self.floor_db is None or self.floor_db > worst_db - FLOOR_CLEAR_DB
        if self.level_db < TOO_WEAK_DB or (near_floor and change >= 2):
            return f"{change} dB more gain, or less pad"
        return ""


@dataclass(frozen=True, kw_only=True)
class Verdict:
    """What a pad test told of one side.

    origin       "transmitter" (agrees with and without), "receiver" (differs), "hidden" (noise) or "unknown"
    low_db, high_db   95 % of what was transmitted; None where open
    level_db     of the samples when the test was begun: at another level it is another question
    """

    origin: str
    sentence: str
    value_db: float | None
    low_db: float | None
    high_db: float | None
    level_db: float


@dataclass(frozen=True, kw_only=True)
class DriftSlot:
    """What was read within one slot of time: from the lowest end of a doubt to the highest.

    time_s      middle of the slot, from the watch's beginning
    lower, upper  (low, high) of each shoulder; low is None where the floor hid it at some time
    level_db    (low, high) of the samples over full scale
    centre_hz   (low, high) of the channel's centre by the receiver's scale
    """

    time_s: float
    lower: tuple[float | None, float]
    upper: tuple[float | None, float]
    level_db: tuple[float, float]
    centre_hz: tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class Snapshot:
    """Everything to be shown now.

    moment     None until every tuning has been heard, or where there is no signal
    problem    why there is no moment; empty otherwise
    minute     the last minute, oldest first
    verdicts   by side; empty before a pad test
    task       what the operator is asked for, or "idle"
    pad_db     fitted now, as far as the watch knows; pad_step_db what a test adds
    share      of the running test that is done
    centre_hz  of the channel by the receiver's scale; None until seen
    occupied_hz  from the lowest to the highest carrier
    lines      by side: the lifted line of the newest reading, for its drawing
    drift      since the watch began, in slots, oldest first
    """

    time_s: float
    practice: bool
    receiver: str
    channel: str
    moment: Moment | None
    state: ReceiverState | None
    minute: tuple[Moment, ...]
    verdicts: dict[str, Verdict]
    task: str
    pad_db: float
    pad_step_db: float
    share: float
    problem: str
    centre_hz: float | None
    gains_db: dict[str, float]
    occupied_hz: float = 0.0
    lines: "Mapping[str, Construction]" = field(default_factory=dict)
    drift: tuple[DriftSlot, ...] = ()
