"""Where the channel's edges and shoulder windows lie, and where a narrow receiver must be tuned to watch them.

Theory  The outermost carriers bound the occupied width. A shoulder is read from 300 to 700 kHz beyond them. One tuning
        of a narrow receiver serves a side if the window lies within its flat width, outside the line at its centre,
        with at least 0.5 MHz of the signal for reference.
Source  [EN300744] 4.4 for the carriers, [TR101290] 9.7 for the window; the 0.5 MHz are common practice.
Holds   Receivers whose flat width lies evenly about their centre.
"""

from dataclasses import dataclass

WINDOW_HZ = (300e3, 700e3)
SIGNAL_SEEN_HZ = 0.5e6


@dataclass(frozen=True, kw_only=True)
class SideTuning:
    """One side: the window, and the centres that serve; ``centre_low_hz`` above ``centre_high_hz`` where none does."""

    side: str
    window_low_hz: float
    window_high_hz: float
    centre_low_hz: float
    centre_high_hz: float

    @property
    def possible(self) -> bool:
        """Whether one tuning serves."""
        return self.centre_low_hz <= self.centre_high_hz


def side_tunings(
    *, centre_hz: float, occupied_hz: float, usable_hz: float, dc_hz: float
) -> tuple[SideTuning, SideTuning]:
    """Tunings for the lower and the upper shoulder."""
    half, reach, line = occupied_hz / 2, usable_hz / 2, dc_hz / 2
    edge = centre_hz - half
    low, high = edge - WINDOW_HZ[1], edge - WINDOW_HZ[0]
    first = max(high + line, edge + SIGNAL_SEEN_HZ - reach)
    lower = SideTuning(
        side="lower", window_low_hz=low, window_high_hz=high, centre_low_hz=first, centre_high_hz=low + reach
    )
    upper = SideTuning(
        side="upper",
        window_low_hz=2 * centre_hz - high,
        window_high_hz=2 * centre_hz - low,
        centre_low_hz=2 * centre_hz - lower.centre_high_hz,
        centre_high_hz=2 * centre_hz - lower.centre_low_hz,
    )
    return lower, upper
