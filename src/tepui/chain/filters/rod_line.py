"""The trace of the dimensions: rods as coupled lines, with taps, open ends, screws and loss.

Theory  TEM on n conductors in air: a stretch of length l has the nodal admittance -j [Y cot t, -Y csc t; -Y csc t,
        Y cot t], Y = C c0 with the static capacitance matrix C, t = 2 pi f l / c0. The box is cut where a rod begins,
        ends or is tapped; in each stretch only the rods that are there take part, their mutual terms multiplied by what
        the waves of the box add (rod_wave). Open ends carry a capacitance to the box in series with the inductance of
        gap and screw, taps the inductance of their post. Loss: the frequency in the rods becomes f (1 - j / 2 Qu),
        which gives every resonator the stated unloaded Q.
Source  multiconductor line theory, G. Matthaei, L. Young, E. Jones 1964, from memory; post inductance by image theory
        as tap_inductance_h says. Against fields on a grid (benchmarks/check_filter_fields.py): see docs/filter.md.
Holds   Plates less than half a wave apart (no other wave goes through); rods near a quarter wave.
"""

import math
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.constants import epsilon_0, mu_0, speed_of_light

from tepui.chain.filters.rod_box import POST_M, RodBox
from tepui.chain.filters.rod_capacitance import rod_capacitance
from tepui.chain.filters.rod_wave import wave_factors
from tepui.signals.twoport import TwoPort

Floats = npt.NDArray[np.float64]
Complex = npt.NDArray[np.complex128]
PORT_OHM = 50.0
SAME_M = 1e-7


def tap_inductance_h(box: RodBox, tap_m: float) -> float:
    """Inductance of the post from plate to rod: a straight wire, its image in the plate, and that in the shorted end.

    Half of the partial inductance of a wire twice as long, less half of its mutual with the wire as far behind the
    shorted end's wall (F. Grover 1946, straight filaments, from memory).
    """
    twice = 2 * box.post_length_m

    def filaments(apart: float) -> float:
        ratio = apart / twice
        return math.asinh(1 / ratio) - math.hypot(1, ratio) + ratio

    per_length = float(mu_0) / (2 * math.pi)
    return per_length * box.post_length_m * (filaments(POST_M / 2) - filaments(max(2 * tap_m, POST_M)))


def gap_inductance_h(box: RodBox) -> float:
    """Inductance of what the end's current goes on through, gap and screw: that of as much more rod. [H]"""
    impedance = 59.952 * math.log(4 * box.plates_m / (math.pi * box.diameter_m))
    return impedance * box.gap_m / float(speed_of_light)


def box_capacitance(box: RodBox, rods: npt.NDArray[np.bool_] | None = None) -> Floats:
    """Capacitance per length over eps0 of the rods chosen, the others absent. (n, n)"""
    centres = box.centres_m if rods is None else box.centres_m[rods]
    return rod_capacitance(centres, diameter_m=box.diameter_m, plates_m=box.plates_m, walls_m=(0.0, box.width_m))


def end_admittance(load_f: float, frequency_hz: npt.NDArray[Any], *, inductance_h: float) -> Complex:
    """Capacitance and inductance of an open end in series, as an admittance. [S]"""
    omega = 2 * np.pi * frequency_hz
    return np.asarray(1j * omega * load_f / (1 - omega**2 * inductance_h * load_f), dtype=np.complex128)


def _mutual_factors(box: RodBox, frequency_hz: Floats) -> Floats:
    """What multiplies the capacitance matrix: 1 on its diagonal, the waves' part between rods. (n_f, n, n)"""
    factors = np.ones((len(frequency_hz), box.poles, box.poles))
    if box.poles > 1:
        near = wave_factors(box, frequency_hz)
        at = np.arange(box.poles - 1)
        factors[:, at, at + 1] = factors[:, at + 1, at] = near
    return factors


def _cuts(box: RodBox) -> Floats:
    """Heights at which the box is cut, rising from the bottom to the top."""
    top = box.box_length_m
    bottom = box.from_bottom
    heights = [0.0, top]
    for standing in set(bottom.tolist()):
        heights.append(box.length_m if standing else box.gap_m)
    for rod, tap in ((0, box.taps_m[0]), (box.poles - 1, box.taps_m[1])):
        heights.append(tap if bottom[rod] else top - tap)
    ordered = np.sort(np.array(heights))
    return np.asarray(ordered[np.append(np.diff(ordered) > SAME_M, True)])


def _present(box: RodBox, low: float, high: float) -> npt.NDArray[np.bool_]:
    """Rods that run through the stretch between two heights."""
    middle = (low + high) / 2
    return np.where(box.from_bottom, middle < box.length_m, middle > box.gap_m)


def rod_admittance(box: RodBox, frequency_hz: Floats) -> tuple[Complex, list[int]]:
    """Nodal admittance of rods and their loads, shorted ends left out, and the nodes of the two taps. (n_f, m, m)"""
    cuts = _cuts(box)
    f = np.asarray(frequency_hz, dtype=np.float64) * (1 - 0.5j / box.unloaded_q)
    top = box.box_length_m
    nodes: dict[tuple[int, int], int] = {}
    matrices: dict[bytes, Floats] = {}
    stretches = list(zip(range(len(cuts) - 1), cuts[:-1], cuts[1:], strict=True))
    shorted = {(rod, 0 if up else len(cuts) - 1) for rod, up in enumerate(box.from_bottom)}
    for cut, low, high in stretches:
        for rod in np.flatnonzero(_present(box, low, high)).tolist():
            for place in (cut, cut + 1):
                if (rod, place) not in shorted:
                    nodes.setdefault((rod, place), len(nodes))
    total = np.zeros((len(f), len(nodes), len(nodes)), dtype=complex)
    mutual = _mutual_factors(box, np.real(f))
    for cut, low, high in stretches:
        rods = _present(box, low, high)
        if not rods.any():
            continue
        key = rods.tobytes()
        if key not in matrices:
            matrices[key] = box_capacitance(box, rods) * epsilon_0 * speed_of_light
        angle = 2 * np.pi * f * (high - low) / speed_of_light
        own, cross = -1j / np.tan(angle), 1j / np.sin(angle)
        numbers = np.flatnonzero(rods).tolist()
        for a in (cut, cut + 1):
            for b in (cut, cut + 1):
                rows = [(k, nodes[(r, a)]) for k, r in enumerate(numbers) if (r, a) in nodes]
                columns = [(k, nodes[(r, b)]) for k, r in enumerate(numbers) if (r, b) in nodes]
                if rows and columns:
                    block = matrices[key][np.ix_([k for k, _ in rows], [k for k, _ in columns])]
                    waves = mutual[:, [numbers[k] for k, _ in rows]][:, :, [numbers[k] for k, _ in columns]]
                    block_rows, block_columns = np.ix_([n for _, n in rows], [n for _, n in columns])
                    total[:, block_rows, block_columns] += (own if a == b else cross)[:, None, None] * (block * waves)
    for rod, up in enumerate(box.from_bottom):
        height = box.length_m if up else box.gap_m
        node = nodes[(rod, int(np.argmin(np.abs(cuts - height))))]
        total[:, node, node] += end_admittance(float(box.load_f[rod]), f, inductance_h=gap_inductance_h(box))
    ports = []
    for rod, tap in ((0, box.taps_m[0]), (box.poles - 1, box.taps_m[1])):
        height = tap if box.from_bottom[rod] else top - tap
        ports.append(nodes[(rod, int(np.argmin(np.abs(cuts - height))))])
    return total, ports


def rod_response(box: RodBox, frequency_hz: npt.ArrayLike) -> TwoPort:
    """Scattering parameters at the connectors, 50 ohm."""
    f = np.asarray(frequency_hz, dtype=np.float64)
    return TwoPort(frequency_hz=f, s=rod_scattering(box, f), z0_ohm=PORT_OHM)


def rod_scattering(box: RodBox, f: Floats) -> Complex:
    """The same as a bare array. (n_f, 2, 2)"""
    admittance, ports = rod_admittance(box, f)
    sources = np.zeros((admittance.shape[1], 2))
    sources[ports[0], 0] = sources[ports[1], 1] = 1.0
    impedance = np.linalg.solve(admittance, np.broadcast_to(sources, (len(f), *sources.shape)))[:, ports, :]
    post = [2j * np.pi * f * tap_inductance_h(box, tap) for tap in box.taps_m]
    impedance[:, 0, 0] += post[0]
    impedance[:, 1, 1] += post[1]
    unit = np.eye(2)
    return np.asarray((impedance / PORT_OHM - unit) @ np.linalg.inv(impedance / PORT_OHM + unit))
