"""An amplifier as it was measured with a single carrier: output level, and phase if read, against input level.

Theory  Between the points a monotone cubic joins gain and phase over the input in dB; below the first the gain stays,
        above the last the output stays (saturated).
Source  F. N. Fritsch and R. E. Carlson 1980 for the monotone cubic, as scipy has it.
Holds   Envelope without memory. Peaks above the last point are guessed: ``reach_dbm`` says how far the table goes.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.interpolate import PchipInterpolator

from tepui.chain.amplifiers.closed_form import Complexes
from tepui.ground.errors import RangeError
from tepui.signals.arrays import read_only_floats, require_rising

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class MeasuredCurve:
    """Single-carrier curve.

    input_dbm, output_dbm  (n,) n of 3 or more, input rising
    phase_deg              (n,), zeros where it was not read
    """

    input_dbm: Floats
    output_dbm: Floats
    phase_deg: Floats

    def __post_init__(self) -> None:
        given = read_only_floats(self.input_dbm, name="input_dbm")
        require_rising("input_dbm", given, unit="dBm")
        if len(given) < 3:
            raise RangeError(f"a drive curve needs three points or more, not {len(given)}.")
        object.__setattr__(self, "input_dbm", given)

    @property
    def reach_dbm(self) -> float:
        """Highest input the table holds."""
        return float(self.input_dbm[-1])

    @property
    def gain_db(self) -> float:
        """Gain at the lowest input."""
        return float(self.output_dbm[0] - self.input_dbm[0])

    def amplifier(self, x: Complexes) -> Complexes:
        """Output envelope of an input envelope, both in sqrt(mW)."""
        level = 20 * np.log10(np.maximum(np.abs(x), 1e-9))
        inside = np.clip(level, self.input_dbm[0], self.input_dbm[-1])
        output = PchipInterpolator(self.input_dbm, self.output_dbm)(inside)
        output = np.where(level < self.input_dbm[0], level + self.gain_db, output)
        phase = PchipInterpolator(self.input_dbm, self.phase_deg)(inside)
        turned = np.exp(1j * (np.radians(phase - self.phase_deg[0]) + np.angle(x)))
        return np.asarray(10 ** (output / 20) * turned)


def measured_curve(rows: Sequence[Sequence[float]]) -> MeasuredCurve:
    """A curve from rows of input, output and, in all rows or none, phase."""
    width = {len(row) for row in rows}
    if len(width) != 1:
        raise RangeError("a drive curve has the phase in all of its rows or in none.")
    columns = np.array(sorted(tuple(row) for row in rows)).T
    phase = columns[2] if len(columns) > 2 else np.zeros(len(columns[0]))
    return MeasuredCurve(input_dbm=columns[0], output_dbm=columns[1], phase_deg=phase)
