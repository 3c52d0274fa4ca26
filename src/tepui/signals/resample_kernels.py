"""Kernels of the one resampler: turn the carrier back, and read a band-limited signal between its samples.

Theory  A rotor table of 1024 steps times one exact phase per block keeps the phase true over any length. Between
        samples the signal is the sum of its neighbours weighted by a windowed sinc; the weights are tabulated and
        interpolated linearly.
Source  as resample.py.
Holds   Rows lie inside the block given; resample.py sees to that.
"""

import math
from typing import Any

import numpy as np

from tepui.ground.kernels import kernel


@kernel("void(complex64[::1], float64, int64, boolean, float32[::1], float32[::1])", fast=True)
def derotate(samples: Any, cycles_per_sample: float, first: int, conjugate: bool, real: Any, imag: Any) -> None:
    """Shift down by a frequency into planar arrays; ``first`` is the absolute number of the first sample."""
    size = 1024
    table_r = np.empty(size, np.float32)
    table_i = np.empty(size, np.float32)
    for n in range(size):
        angle = -2.0 * math.pi * ((cycles_per_sample * n) % 1.0)
        table_r[n] = math.cos(angle)
        table_i[n] = math.sin(angle)
    sign = np.float32(-1.0 if conjugate else 1.0)
    total = samples.shape[0]
    start = 0
    while start < total:
        stop = min(total, start + size)
        angle = -2.0 * math.pi * ((cycles_per_sample * (first + start)) % 1.0)
        block_r = np.float32(math.cos(angle))
        block_i = np.float32(math.sin(angle))
        for n in range(stop - start):
            rotor_r = table_r[n] * block_r - table_i[n] * block_i
            rotor_i = table_r[n] * block_i + table_i[n] * block_r
            x_r = samples[start + n].real
            x_i = sign * samples[start + n].imag
            real[start + n] = x_r * rotor_r - x_i * rotor_i
            imag[start + n] = x_r * rotor_i + x_i * rotor_r
        start = stop


@kernel("void(float32[::1], float32[::1], float64[::1], float64, float32[:,::1], complex64[:,::1])", fast=True)
def resample_rows(real: Any, imag: Any, starts: Any, step: float, table: Any, out: Any) -> None:
    """Read row r at times starts[r] + n step (in samples of the block); table is (phases + 1, taps)."""
    taps = table.shape[1]
    phases = table.shape[0] - 1
    before = taps // 2 - 1
    for row in range(out.shape[0]):
        for n in range(out.shape[1]):
            time = starts[row] + n * step
            whole = math.floor(time)
            position = (time - whole) * phases
            phase = int(position)
            weight = np.float32(position - phase)
            base = np.uint64(int(whole) - before)
            sum_r = np.float32(0.0)
            sum_i = np.float32(0.0)
            for tap in range(taps):
                left = table[phase, tap]
                value = left + weight * (table[phase + 1, tap] - left)
                sum_r += value * real[base + np.uint64(tap)]
                sum_i += value * imag[base + np.uint64(tap)]
            out[row, n] = complex(sum_r, sum_i)


@kernel("void(complex64[::1], float64, int64, int64[::1], complex64[:,::1])", fast=True)
def derotate_rows(samples: Any, cycles_per_sample: float, first: int, starts: Any, out: Any) -> None:
    """Rows that begin at whole samples of the block, shifted down by a frequency."""
    size = 1024
    table = np.empty(size, np.complex64)
    for n in range(size):
        angle = -2.0 * math.pi * ((cycles_per_sample * n) % 1.0)
        table[n] = complex(math.cos(angle), math.sin(angle))
    count = out.shape[1]
    for row in range(out.shape[0]):
        begin = 0
        while begin < count:
            stop = min(count, begin + size)
            base = starts[row] + begin
            angle = -2.0 * math.pi * ((cycles_per_sample * (first + base)) % 1.0)
            block = np.complex64(complex(math.cos(angle), math.sin(angle)))
            at = np.uint64(base)
            for n in range(stop - begin):
                out[row, begin + n] = samples[at + np.uint64(n)] * (block * table[n])
            begin = stop


@kernel("void(int16[:,::1], float32, float64, int64, float32[::1], float32[::1])", fast=True)
def derotate_codes(codes: Any, scale: float, cycles_per_sample: float, first: int, real: Any, imag: Any) -> None:
    """As ``derotate``, from stored codes."""
    size = 1024
    table_r = np.empty(size, np.float32)
    table_i = np.empty(size, np.float32)
    for n in range(size):
        angle = -2.0 * math.pi * ((cycles_per_sample * n) % 1.0)
        table_r[n] = math.cos(angle)
        table_i[n] = math.sin(angle)
    total = codes.shape[0]
    start = 0
    while start < total:
        stop = min(total, start + size)
        angle = -2.0 * math.pi * ((cycles_per_sample * (first + start)) % 1.0)
        block_r = np.float32(math.cos(angle)) * scale
        block_i = np.float32(math.sin(angle)) * scale
        for n in range(stop - start):
            rotor_r = table_r[n] * block_r - table_i[n] * block_i
            rotor_i = table_r[n] * block_i + table_i[n] * block_r
            x_r = np.float32(codes[start + n, 0])
            x_i = np.float32(codes[start + n, 1])
            real[start + n] = x_r * rotor_r - x_i * rotor_i
            imag[start + n] = x_r * rotor_i + x_i * rotor_r
        start = stop


@kernel("void(int16[:,::1], float32, float64, int64, int64[::1], complex64[:,::1])", fast=True)
def derotate_code_rows(codes: Any, scale: float, cycles_per_sample: float, first: int, starts: Any, out: Any) -> None:
    """As ``derotate_rows``, from stored codes."""
    size = 1024
    table = np.empty(size, np.complex64)
    for n in range(size):
        angle = -2.0 * math.pi * ((cycles_per_sample * n) % 1.0)
        table[n] = complex(math.cos(angle), math.sin(angle))
    count = out.shape[1]
    for row in range(out.shape[0]):
        begin = 0
        while begin < count:
            stop = min(count, begin + size)
            base = starts[row] + begin
            angle = -2.0 * math.pi * ((cycles_per_sample * (first + base)) % 1.0)
            block = np.complex64(complex(scale * math.cos(angle), scale * math.sin(angle)))
            at = np.uint64(base)
            for n in range(stop - begin):
                place = at + np.uint64(n)
                value = complex(np.float32(codes[place, 0]), np.float32(codes[place, 1]))
                out[row, begin + n] = np.complex64(value) * (block * table[n])
            begin = stop
