"""What the capture process asks of a driver, and how samples are laid out between the processes.

Samples cross as the converter gave them, in codes, so that a recording keeps what the converter did.
"""

from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

from tepui.signals.live import ReceiverInfo

Bytes = npt.NDArray[np.uint8]


@dataclass(frozen=True, kw_only=True)
class Layout:
    """One form of samples: bytes of a sample, code of an axis, codes from zero to +1 (None for floating point)."""

    n_bytes: int
    code: str
    full_scale: float | None


LAYOUTS = {
    "ci8": Layout(n_bytes=2, code="|i1", full_scale=127.0),
    "ci16_le": Layout(n_bytes=4, code="<i2", full_scale=32767.0),
    "cf32_le": Layout(n_bytes=8, code="<f4", full_scale=None),
}


@dataclass(frozen=True, kw_only=True)
class Took:
    """What one read gave: samples written, and whether the driver lost some before them. None came: a time-out."""

    count: int
    overflow: bool = False


class Driver(Protocol):
    """A receiver as the capture process sees it."""

    def describe(self, key: str) -> ReceiverInfo:
        """What the receiver says of itself."""
        ...

    def set_rate(self, rate_hz: float) -> float:
        """Set the sample rate; returns the one in force. [Hz]"""
        ...

    def set_gain(self, name: str, gain_db: float) -> float:
        """Set one gain; returns the one in force. [dB]"""
        ...

    def set_frequency(self, frequency_hz: float) -> float:
        """Tune; returns the frequency in force. [Hz]"""
        ...

    def start(self) -> None:
        """Let samples flow."""
        ...

    def stop(self) -> None:
        """Stop the flow, and forget what was not read."""
        ...

    def read(self, space: Bytes, count: int) -> Took:
        """Write up to ``count`` samples into ``space``.

        raises  ReceiverStoppedError
        """
        ...

    def close(self) -> None:
        """Give the receiver back."""
        ...


def complex_samples(stored: Bytes, sample_type: str) -> npt.NDArray[np.complex64]:
    """Codes as they crossed, as complex samples of full scale 1, a copy."""
    layout = LAYOUTS[sample_type]
    axes = stored.view(layout.code).astype(np.float32)
    if layout.full_scale is not None:
        axes /= np.float32(layout.full_scale)
    return axes.view(np.complex64)
