"""One and two rods in a box by finite differences in time: the coupled-line model against Maxwell's equations.

    python benchmarks/full_wave_rods.py [CELL_MM]

Rods of 8 mm between plates 25 mm apart, 51 mm long, 7 mm from the open end to the wall, side walls 19 mm away, no
screws: the resonances of an interdigital and of a comb-line pair 35 mm apart (as even and odd modes), of one rod
alone, of one with its post shorted to the plate 5 mm up, and the Q of one loaded with 50 ohm there. Round metal by
partly filled cells (areas below 0.35 of a cell are taken as 0.35, for stability). Minutes at 1 mm, an hour at 0.5 mm.
"""

import sys
import time

import numba
import numpy as np
from scipy.linalg import hankel
from scipy.signal.windows import hann

C0 = 299792458.0
EPS0 = 8.8541878128e-12
ROD, PLATES, LENGTH, GAP, WALL, APART, POST = 8e-3, 25e-3, 51e-3, 7e-3, 19e-3, 35e-3, 0.65e-3
CENTRE_HZ = 1.3e9


@numba.njit(fastmath=True)
def march(e, h, lengths, areas, step, steps, sources, signs, wave, probe, port, port_old, port_new, seen):  # noqa: PLR0917
    ex, ey, ez = e
    hx, hy, hz = h
    lx, ly, lz = lengths
    ax, ay, az = areas
    nx, ny, nz = ex.shape[0], ey.shape[1], ez.shape[2]
    kept = np.zeros(port.shape[0], np.float32)
    for t in range(steps):
        for i in range(nx + 1):
            for j in range(ny):
                for k in range(nz):
                    turn = ez[i, j + 1, k] * lz[i, j + 1, k] - ez[i, j, k] * lz[i, j, k]
                    turn -= ey[i, j, k + 1] * ly[i, j, k + 1] - ey[i, j, k] * ly[i, j, k]
                    hx[i, j, k] -= step * turn * ax[i, j, k]
        for i in range(nx):
            for j in range(ny + 1):
                for k in range(nz):
                    turn = ex[i, j, k + 1] * lx[i, j, k + 1] - ex[i, j, k] * lx[i, j, k]
                    turn -= ez[i + 1, j, k] * lz[i + 1, j, k] - ez[i, j, k] * lz[i, j, k]
                    hy[i, j, k] -= step * turn * ay[i, j, k]
        for i in range(nx):
            for j in range(ny):
                for k in range(nz + 1):
                    turn = ey[i + 1, j, k] * ly[i + 1, j, k] - ey[i, j, k] * ly[i, j, k]
                    turn -= ex[i, j + 1, k] * lx[i, j + 1, k] - ex[i, j, k] * lx[i, j, k]
                    hz[i, j, k] -= step * turn * az[i, j, k]
        for p in range(port.shape[0]):
            kept[p] = ey[port[p, 0], port[p, 1], port[p, 2]]
        for i in range(nx):
            for j in range(1, ny):
                for k in range(1, nz):
                    if lx[i, j, k] > 0:
                        ex[i, j, k] += step * ((hz[i, j, k] - hz[i, j - 1, k]) - (hy[i, j, k] - hy[i, j, k - 1]))
        for i in range(1, nx):
            for j in range(ny):
                for k in range(1, nz):
                    if ly[i, j, k] > 0:
                        ey[i, j, k] += step * ((hx[i, j, k] - hx[i, j, k - 1]) - (hz[i, j, k] - hz[i - 1, j, k]))
        for i in range(1, nx):
            for j in range(1, ny):
                for k in range(nz):
                    if lz[i, j, k] > 0:
                        ez[i, j, k] += step * ((hy[i, j, k] - hy[i - 1, j, k]) - (hx[i, j, k] - hx[i, j - 1, k]))
        for p in range(port.shape[0]):
            grown = ey[port[p, 0], port[p, 1], port[p, 2]] - kept[p]
            ey[port[p, 0], port[p, 1], port[p, 2]] = kept[p] * port_old + grown * port_new
        if t < wave.shape[0]:
            for p in range(sources.shape[0]):
                ey[sources[p, 0], sources[p, 1], sources[p, 2]] += signs[p] * wave[t]
        seen[t] = ey[probe[0], probe[1], probe[2]]


class Box:
    def __init__(self, cell_m, size_m, metal):
        self.cell_m = cell_m
        nx, ny, nz = (round(length / cell_m) for length in size_m)
        self.n = (nx, ny, nz)
        inner = (np.arange(8) + 0.5) / 8

        def outside(shape, kinds):
            share = np.empty(shape, np.float32)
            offsets = [inner if kind == "e" else np.zeros(1) for kind in kinds]
            x = (np.arange(shape[0])[:, None] + offsets[0]).ravel() * cell_m
            y = (np.arange(shape[1])[:, None] + offsets[1]).ravel() * cell_m
            for k in range(shape[2]):
                layers = [~metal(x[:, None], y[None, :], z) for z in (k + offsets[2]) * cell_m]
                folded = [one.reshape(shape[0], len(offsets[0]), shape[1], -1).mean(axis=(1, 3)) for one in layers]
                share[:, :, k] = np.mean(folded, axis=0)
            return share

        def inverse(share):
            return np.where(share > 0.02, 1 / np.maximum(share, 0.35), 0).astype(np.float32)

        self.lengths = (
            outside((nx, ny + 1, nz + 1), "enn"), outside((nx + 1, ny, nz + 1), "nen"),
            outside((nx + 1, ny + 1, nz), "nne"),
        )  # fmt: skip
        self.areas = (
            inverse(outside((nx + 1, ny, nz), "nee")), inverse(outside((nx, ny + 1, nz), "ene")),
            inverse(outside((nx, ny, nz + 1), "een")),
        )  # fmt: skip
        self.step = np.float32(0.5 / np.sqrt(3))
        self.dt_s = float(self.step) * cell_m / C0

    def ring(self, sources, signs, *, port=(), ohm=50.0, duration_s=25e-9):
        time_s = np.arange(int(3e-9 / self.dt_s)) * self.dt_s - 1.5e-9
        wave = (np.sin(2 * np.pi * CENTRE_HZ * time_s) * np.exp(-((time_s / 0.5e-9) ** 2))).astype(np.float32)
        steps = int(duration_s / self.dt_s)
        seen = np.zeros(steps, np.float32)
        ports = np.array(port, np.int64).reshape(-1, 3)
        damping = self.dt_s / (2 * ohm * max(len(ports), 1) * EPS0 * self.cell_m)
        march(
            tuple(np.zeros_like(one) for one in self.lengths), tuple(np.zeros_like(one) for one in self.areas),
            self.lengths, self.areas, self.step, steps, np.array(sources, np.int64), np.array(signs, np.float32), wave,
            np.array(sources[0], np.int64), ports, np.float32((1 - damping) / (1 + damping)),
            np.float32(1 / (1 + damping)), seen,
        )  # fmt: skip
        return strongest_mode(seen[len(wave) :].astype(float), self.dt_s)


def strongest_mode(signal, dt_s):
    """Frequency and Q of the strongest ringing near CENTRE_HZ, by a matrix pencil."""
    shifted = signal * np.exp(-2j * np.pi * CENTRE_HZ * np.arange(len(signal)) * dt_s)
    every = max(1, int(1 / (2.5 * CENTRE_HZ) / dt_s))
    window = hann(8 * every + 1)
    slow = np.convolve(shifted, window / window.sum(), "valid")[::every]
    pencil = len(slow) // 3
    table = hankel(slow[: len(slow) - pencil], slow[len(slow) - pencil - 1 :])
    _, size, right = np.linalg.svd(table, full_matrices=False)
    order = min(4, int((size > 1e-3 * size[0]).sum()))
    basis = right[:order].T
    poles = np.linalg.eigvals(np.linalg.pinv(basis[:-1]) @ basis[1:])
    amplitude = np.linalg.lstsq(np.vander(poles, len(slow), increasing=True).T, slow, rcond=None)[0]
    pole = poles[int(np.argmax(np.abs(amplitude)))]
    frequency = CENTRE_HZ + np.angle(pole) / (2 * np.pi * every * dt_s)
    return frequency, -np.pi * frequency * every * dt_s / np.log(abs(pole))


def rod(x0, low, high):
    return lambda x, y, z: ((x - x0) ** 2 + (y - PLATES / 2) ** 2 <= (ROD / 2) ** 2) & (low - 1e-9 <= z <= high + 1e-9)


def main():
    cell = float(sys.argv[1]) * 1e-3 if len(sys.argv) > 1 else 1e-3
    top = LENGTH + GAP
    begin = time.time()

    def node(*place):
        return tuple(round(length / cell) for length in place)

    above = PLATES / 2 + ROD / 2 + 3e-3
    for name, second in (("interdigital", rod(WALL + APART, GAP, top)), ("comb-line", rod(WALL + APART, 0, LENGTH))):
        first = rod(WALL, 0, LENGTH)
        box = Box(cell, (2 * WALL + APART, PLATES, top), lambda x, y, z, a=first, b=second: a(x, y, z) | b(x, y, z))
        far = top - 30e-3 if name == "interdigital" else 30e-3
        places = [node(WALL, above, 30e-3), node(WALL + APART, above, far)]
        modes = [box.ring(places, (1, sign))[0] for sign in (1, -1)]
        k = 2 * abs(modes[0] - modes[1]) / sum(modes)
        told = f"modes {modes[0] / 1e6:.1f} and {modes[1] / 1e6:.1f} MHz, k {k:.5f}"
        print(f"{name} pair, cell {cell * 1e3:g} mm: {told} ({time.time() - begin:.0f} s)", flush=True)
    alone = rod(WALL, 0, LENGTH)

    def post(x, y, z, start):
        return ((x - WALL) ** 2 + (z - 5e-3) ** 2 <= POST**2) & (start <= y) & (y <= PLATES / 2)

    for name, metal, load in (
        ("alone", alone, None),
        ("shorted post", lambda x, y, z: alone(x, y, z) | post(x, y, z, -1.0), None),
        ("50 ohm", lambda x, y, z: alone(x, y, z) | post(x, y, z, 1.01 * cell), 50.0),
    ):
        box = Box(cell, (2 * WALL, PLATES, top), metal)
        nodes = [(i, 0, k) for i in range(box.n[0] + 1) for k in range(box.n[2] + 1)]
        port = [p for p in nodes if (p[0] * cell - WALL) ** 2 + (p[2] * cell - 5e-3) ** 2 <= POST**2] if load else []
        frequency, q = box.ring([node(WALL, above, 30e-3)], (1,), port=port)
        told = f"{frequency / 1e6:.1f} MHz" + (f", Q {q:.1f}" if load else "")
        print(f"one rod, {name}, cell {cell * 1e3:g} mm: {told} ({time.time() - begin:.0f} s)", flush=True)


if __name__ == "__main__":
    main()
