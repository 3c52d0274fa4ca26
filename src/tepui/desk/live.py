"""Receivers at the desk: opened as the operator asked, and what goes with their recordings."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field

from tepui.ground.errors import InputError
from tepui.instruments.capture import CapturedReceiver
from tepui.instruments.choose import PRACTICE, open_receiver
from tepui.signals.live import ReceiverInfo

USUAL_RATE_HZ = 2.4e6
USABLE_SHARE = 0.75  # of the sample rate, common practice
DC_WIDTH_HZ = 100e3  # of the line at zero, both sides together: wide enough for receivers not described
PRACTICE_GAINS = {"PAD": 0.0, "FRONT": 10.0, "IF": 24.0}


@dataclass(frozen=True, kw_only=True)
class ReceiverChoice:
    """How a receiver is to be used.

    rate_hz        None for the usual one, or the nearest it has
    gains_db       by name of the element
    front, behind  names of the elements ahead of and behind the first stage that distorts; None where not told
    pad            name of an element that is a pad (a step attenuator, its gain negative)
    attenuator_db  pads fitted at the input by hand
    """

    key: str
    rate_hz: float | None = None
    gains_db: Mapping[str, float] = field(default_factory=dict)
    front: str | None = None
    behind: str | None = None
    pad: str | None = None
    attenuator_db: float | None = None

    @property
    def is_practice(self) -> bool:
        """Whether the simulated one is meant."""
        return self.key == PRACTICE


def completed(choice: ReceiverChoice) -> ReceiverChoice:
    """The practice receiver's parts are known without being told."""
    if not choice.is_practice:
        return choice
    return ReceiverChoice(
        key=choice.key,
        rate_hz=choice.rate_hz,
        gains_db={**PRACTICE_GAINS, **{name.upper(): gain for name, gain in choice.gains_db.items()}},
        front=choice.front or "FRONT",
        behind=choice.behind or "IF",
        pad=choice.pad or "PAD",
        attenuator_db=choice.attenuator_db,
    )


def rate_for(info: ReceiverInfo, asked_hz: float | None) -> float:
    """The rate asked for, or the one the receiver has nearest to the usual one. [Hz]"""
    if asked_hz is not None or not info.rates_hz:
        return asked_hz or USUAL_RATE_HZ
    nearest = [min(max(USUAL_RATE_HZ, low), high) for low, high in info.rates_hz]
    return min(nearest, key=lambda rate: abs(rate - USUAL_RATE_HZ))


@contextmanager
def opened(choice: ReceiverChoice, *, frequency_hz: float | None) -> Iterator[CapturedReceiver]:
    """The receiver, running, tuned and set; closed afterwards whatever happens.

    frequency_hz   None for one in the middle of its reach
    raises         InputError for what it cannot do
    """
    with open_receiver(choice.key) as receiver:
        info = receiver.info
        for name in (choice.front, choice.behind, choice.pad):
            if name is not None and info.gain_named(name) is None:
                names = ", ".join(one.name for one in info.gains) or "none"
                raise InputError(f"the receiver {choice.key} has no gain named {name}; it has {names}.")
        if frequency_hz is None:
            low, high = info.frequencies_hz[0] if info.frequencies_hz else (100e6, 100e6)
            frequency_hz = (low + high) / 2
        for name, gain_db in choice.gains_db.items():
            receiver.set_gain(name, gain_db)
        receiver.begin(rate_hz=rate_for(info, choice.rate_hz), frequency_hz=frequency_hz)
        yield receiver


def capture_settings(
    choice: ReceiverChoice, gains_db: Mapping[str, float], *, practice: bool
) -> dict[str, float | bool]:
    """What a recording's capture says of the receiver: pads, gains ahead and behind, or their sum."""
    rest = dict(gains_db)
    settings: dict[str, float | bool] = {}
    pad_db = 0.0 if choice.pad is None else -rest.pop(_own(choice.pad, rest), 0.0)
    if choice.attenuator_db is not None or choice.pad is not None:
        settings["attenuator_db"] = (choice.attenuator_db or 0.0) + pad_db
    if practice:
        rest.pop("DRIVE", None)
    for name, key in ((choice.front, "frontend_gain_db"), (choice.behind, "if_gain_db")):
        if name is not None and _own(name, rest) in rest:
            settings[key] = rest.pop(_own(name, rest))
    if rest and "frontend_gain_db" not in settings:
        settings["gain_db"] = sum(rest.values()) + float(settings.pop("if_gain_db", 0.0))
    if practice:
        settings["practice"] = True
    return settings


def _own(name: str, gains_db: Mapping[str, float]) -> str:
    """The element's name in its own case."""
    return next((one for one in gains_db if one.casefold() == name.casefold()), name)
