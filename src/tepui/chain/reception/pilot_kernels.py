"""Kernels on the pilots of many symbols: gather them, compare them with a known channel, turn them straight.

Theory  Against a known channel the sums of received x known*, weighted by the carrier's number to the powers 0, 1 and
        2, hold a symbol's common phase and, while the phase slope is small, its slope.
Source  as tracking.py.
Holds   Tables have one row for each of the four phases of the pilot pattern, equally many pilots in each.
"""

import math
from typing import Any

import numpy as np

from tepui.ground.kernels import kernel


@kernel("void(complex64[:,::1], int64[:,::1], complex64[:,::1], int64, boolean, complex64[:,::1])", fast=True)
def gather_pilots(spectra: Any, bins: Any, factor: Any, phase: int, conjugate: bool, out: Any) -> None:
    """out[s, p] = bin of pilot p of symbol s (conjugated where the spectrum is turned over) times its factor."""
    for row in range(out.shape[0]):
        which = (phase + row) % 4
        for p in range(out.shape[1]):
            value = spectra[row, bins[which, p]]
            if conjugate:
                value = np.conj(value)
            out[row, p] = value * factor[which, p]


@kernel(
    "void(complex64[:,::1], complex64[:,::1], float32[:,::1], float32[:,::1], int64, complex128[:,::1], float64[::1])",
    fast=True,
)
def moments(cells: Any, known: Any, weight: Any, centred: Any, phase: int, sums: Any, received: Any) -> None:
    """sums[s, 0..2] = sum of cells conj(known) c^0, c^1, c^2; received[s] = weighted power of the cells.

    known carries the weights already
    """
    for row in range(cells.shape[0]):
        which = (phase + row) % 4
        zero_r = np.float32(0.0)
        zero_i = np.float32(0.0)
        one_r = np.float32(0.0)
        one_i = np.float32(0.0)
        two_r = np.float32(0.0)
        two_i = np.float32(0.0)
        power = np.float32(0.0)
        for p in range(cells.shape[1]):
            x = cells[row, p]
            k = known[which, p]
            c = centred[which, p]
            a_r = x.real * k.real + x.imag * k.imag
            a_i = x.imag * k.real - x.real * k.imag
            power += weight[which, p] * (x.real * x.real + x.imag * x.imag)
            zero_r += a_r
            zero_i += a_i
            one_r += a_r * c
            one_i += a_i * c
            two_r += a_r * c * c
            two_i += a_i * c * c
        sums[row, 0] = complex(zero_r, zero_i)
        sums[row, 1] = complex(one_r, one_i)
        sums[row, 2] = complex(two_r, two_i)
        received[row] = power


@kernel("void(complex64[:,::1], float32[:,::1], int64, float64[::1], float64[::1])", fast=True)
def turn_pilots(cells: Any, centred: Any, phase: int, turn: Any, slope: Any) -> None:
    """cells[s, p] *= exp(-j (turn[s] + slope[s] c)), in place; a short series serves where the slope is small."""
    for row in range(cells.shape[0]):
        which = (phase + row) % 4
        common = np.complex64(complex(math.cos(turn[row]), -math.sin(turn[row])))
        tilt = np.float32(slope[row])
        reach = abs(tilt) * max(abs(centred[which, 0]), abs(centred[which, cells.shape[1] - 1]))
        if reach < 0.02:
            for p in range(cells.shape[1]):
                x = tilt * centred[which, p]
                small = complex(
                    np.float32(1.0) - np.float32(0.5) * x * x, -x * (np.float32(1.0) - x * x * np.float32(1 / 6))
                )
                cells[row, p] = cells[row, p] * (common * np.complex64(small))
        else:
            for p in range(cells.shape[1]):
                angle = slope[row] * centred[which, p]
                cells[row, p] = cells[row, p] * (common * np.complex64(complex(math.cos(angle), -math.sin(angle))))
