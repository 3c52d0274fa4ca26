"""Sample rates a recording may claim.

Theory  Below 1 kHz lies a rate typed in MHz or kHz, above 10 GHz a damaged header.
Source  tepui's own limits, wide of any receiver's.
Holds   The rate as stated; whether it is enough for a channel is the receiver's question.
"""

from pathlib import Path

from tepui.ground.errors import RangeError

RATE_LIMITS_HZ = (1e3, 1e10)


def require_rate(rate_hz: float, *, path: Path) -> None:
    """Refuse a sample rate no recording of a television channel can have.

    raises  RangeError
    """
    low, high = RATE_LIMITS_HZ
    if not low <= rate_hz <= high:
        raise RangeError(
            f"{path}: a sample rate of {rate_hz:g} S/s cannot be right (1 kS/s to 10 GS/s, tepui's own limit); "
            "correct it, or give --rate."
        )
