"""The filter behind the mixer as a frequency plan sees it: one still to be made, or one that was measured.

Theory  Loss over the loss for the wanted channel. Of a prototype no more is believed than may be claimed of an
        unmeasured filter; of a measured one what its file says, and beyond the ends of the file the last value.
Source  filters/coupled.py for the prototype; the operator's file for the other.
Holds   A search asks a million times: near the channel the answer comes from a table.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tepui.chain.filters.coupled import CLAIM_DB, loss_db
from tepui.prediction.plan_question import PlanQuestion

Floats = npt.NDArray[np.float64]
TABLE_POINTS = 6001


@dataclass(frozen=True, kw_only=True, eq=False)
class _Curve:
    """Loss against frequency from a prototype or a file."""

    question: PlanQuestion

    def __call__(self, frequency_hz: Floats) -> Floats:
        known = self.question.known
        if known is None:
            return loss_db(self.question.design, np.maximum(frequency_hz, 1e3))
        return np.asarray(np.interp(frequency_hz, known.frequency_hz, known.loss_db))


class FilterTable:
    """The output filter over the wanted channel's centre."""

    def __init__(self, question: PlanQuestion) -> None:
        centre = question.wanted_hz
        reach = max(question.near_hz, 2 * question.width_hz) * 1.5
        low = min([centre - reach, *(one.low_hz for one in question.protected)])
        high = max([centre + reach, *(one.high_hz for one in question.protected)])
        self._measured = question.known is not None
        self._curve = _Curve(question=question)
        self._frequency = np.linspace(max(low, 1e3), high, TABLE_POINTS)
        self._floor = float(self._curve(np.array([centre]))[0])
        self._loss = self._curve(self._frequency) - self._floor

    def near(self, frequency_hz: Floats) -> Floats:
        """Loss over the channel's, within the table, as far as it is believed."""
        return self.believed(np.asarray(np.interp(frequency_hz, self._frequency, self._loss)))

    def anywhere(self, frequency_hz: Floats) -> Floats:
        """Loss over the channel's at any frequency, on paper; a frequency of 0 passes no resonator."""
        return self._curve(np.asarray(frequency_hz, dtype=np.float64)) - self._floor

    def believed(self, loss: Floats) -> Floats:
        """What of a loss may be counted on."""
        return loss if self._measured else np.asarray(np.minimum(loss, CLAIM_DB[0]))


def filter_loss_db(question: PlanQuestion, frequency_hz: Floats) -> Floats:
    """The filter's transmission loss for the picture. (k,) -> (k,) [dB]"""
    return _Curve(question=question)(frequency_hz)
