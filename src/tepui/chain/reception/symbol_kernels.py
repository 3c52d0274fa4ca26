"""Kernels between the FFT and the cells: turn symbols straight, interpolate the channel over the carriers.

Theory  Every symbol is turned back by its common phase and by the phase slope of its timing; the channel on all
        carriers is a real weighted sum of its values on every third carrier.
Source  as symbols.py and channel.py.
Holds   Carrier k is taken from FFT bin (k - (K - 1) / 2) modulo N.
"""

import math
from typing import Any

import numpy as np

from tepui.ground.kernels import kernel


@kernel("void(complex64[:,::1], complex64[::1], float64[::1], float64[::1], boolean, complex64[:,::1])", fast=True)
def straighten(spectra: Any, ramp: Any, phase: Any, slope: Any, conjugate: bool, out: Any) -> None:
    """out[s, k] = spectra[s, bin k] ramp[k] exp(-j (phase[s] + slope[s] (k - centre))).

    With ``conjugate`` the spectrum is turned over: bin -k, conjugated.
    """
    size = 64
    table = np.empty(size, np.complex64)
    n_carriers = out.shape[1]
    n_fft = spectra.shape[1]
    centre = (n_carriers - 1) // 2
    for row in range(out.shape[0]):
        for n in range(size):
            angle = -slope[row] * n
            table[n] = complex(math.cos(angle), math.sin(angle))
        start = 0
        while start < n_carriers:
            stop = min(start + size, n_carriers)
            angle = -(phase[row] + slope[row] * (start - centre))
            block = np.complex64(complex(math.cos(angle), math.sin(angle)))
            # below the centre bins count down from the top, from the centre on up from zero: two straight runs
            turn = min(max(centre, start), stop)
            if conjugate:
                for k in range(start, turn):
                    out[row, k] = np.conj(spectra[row, centre - k]) * (ramp[k] * (block * table[k - start]))
                for k in range(turn, stop):
                    place = centre - k + n_fft if k > centre else 0
                    out[row, k] = np.conj(spectra[row, place]) * (ramp[k] * (block * table[k - start]))
            else:
                low = np.uint64(n_fft - centre + start)
                for k in range(turn - start):
                    out[row, start + k] = spectra[row, low + np.uint64(k)] * (ramp[start + k] * (block * table[k]))
                high = np.uint64(max(turn - centre, 0))
                for k in range(stop - turn):
                    rotor = block * table[turn - start + k]
                    out[row, turn + k] = spectra[row, high + np.uint64(k)] * (ramp[turn + k] * rotor)
            start = stop


@kernel("void(complex64[:,::1], float32[:,::1], int64[::1], complex64[:,::1])", fast=True)
def spread(grid: Any, weights: Any, first: Any, out: Any) -> None:
    """out[s, k] = sum over t of weights[kind k, t] grid[s, first[k] + t].

    Carriers of the inner part share three rows of weights (k mod 3); the outer ones, whose neighbours lie to one
    side, have a row each: rows 3.. serve the left edge, then the right edge, in the order of the carriers.
    """
    taps = weights.shape[1]
    n_carriers = out.shape[1]
    edge = (weights.shape[0] - 3) // 2
    for row in range(out.shape[0]):
        for k in range(n_carriers):
            kind = k % 3
            if k < edge:
                kind = 3 + k
            elif k >= n_carriers - edge:
                kind = 3 + edge + k - (n_carriers - edge)
            base = first[k]
            total_r = np.float32(0.0)
            total_i = np.float32(0.0)
            for tap in range(taps):
                value = grid[row, base + tap]
                total_r += weights[kind, tap] * value.real
                total_i += weights[kind, tap] * value.imag
            out[row, k] = complex(total_r, total_i)
