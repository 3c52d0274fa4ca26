"""A ring of four diodes between two balanced transformers: every mixing product from one solution in time.

Theory  Port voltages v (oscillator, output, input) give the diodes M v; each port's current is M^T i, because ideal
        transformers pass on power. (e - v) / R = M^T i(M v), i = Is (exp(u / n Vt) - 1), is the gradient of a convex
        function: Newton's method with halved steps always arrives. Solved over a grid of both phases, its Fourier
        coefficient at (m, n) is the product m LO + n IF at the output port.
Source  Own quasi-static model after the exponential diode law [Shockley 1949]; Is 5 nA, ideality 1.08 as measured on
        small-signal Schottky diodes, from memory. Imbalance: spread of Is among the diodes and unequal halves of the
        transformers.
Holds   50 ohm at every frequency, no capacitance, no delay: real parts are worse at gigahertz. A model, never a
        measurement; the doubt in ``mixer.py`` says how far to trust it.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.constants import Boltzmann, elementary_charge

from tepui.ground.checks import require_between

Floats = npt.NDArray[np.float64]
SATURATION_A, IDEALITY, TEMPERATURE_K, PORT_OHM = 5e-9, 1.08, 300.0, 50.0
LO_PHASES, IF_PHASES = 256, 32
MOST_STEPS, ENOUGH = 120, 1e-12
SPREAD = (1.0, -0.6, 0.5, -0.9)  # how one draw of four diodes departs from their mean, in units of the spread
STEP_V = 0.2  # most a diode's voltage may move in one step: beyond it the exponential is another function


@dataclass(frozen=True, kw_only=True)
class RingMixer:
    """A diode ring.

    diode_spread  relative spread of the diodes' saturation currents
    balun_error   relative difference of a transformer's halves
    """

    diode_spread: float = 0.10
    balun_error: float = 0.03

    def __post_init__(self) -> None:
        require_between("diode spread", self.diode_spread, 0, 0.9, unit="", source="this program's limit")
        require_between("balun error", self.balun_error, 0, 0.5, unit="", source="this program's limit")

    def coupling(self) -> Floats:
        """M: diode voltages from the port voltages (oscillator, output, input). (4, 3)"""
        up, down = 1 + self.balun_error / 2, 1 - self.balun_error / 2
        a, c = np.array([up, 0, 0]), np.array([-down, 0, 0])
        b, d = np.array([0, up, 1]), np.array([0, -down, 1])
        return np.array([a - b, b - c, c - d, d - a])


@lru_cache(maxsize=8)
def ring_products_dbm(mixer: RingMixer, *, lo_dbm: float, signal_dbm: float, reach: int = 9) -> Floats:
    """Power of each product at the output port. [dBm]

    returns  (reach + 1, 2 reach + 1): row |m| of the oscillator, column n + reach of the signal; m LO + n IF
    """
    require_between("oscillator drive", lo_dbm, -10, 30, unit="dBm", source="the range of diode rings")
    require_between("signal drive", signal_dbm, -60, 20, unit="dBm", source="the range of diode rings")
    source_v = [2 * np.sqrt(2 * PORT_OHM * 1e-3 * 10 ** (level / 10)) for level in (lo_dbm, signal_dbm)]
    lo_phase = 2 * np.pi * np.arange(LO_PHASES) / LO_PHASES
    if_phase = 2 * np.pi * np.arange(IF_PHASES) / IF_PHASES
    drive = np.zeros((LO_PHASES, IF_PHASES, 3))
    drive[:, :, 0] = source_v[0] * np.cos(lo_phase)[:, None]
    drive[:, :, 2] = source_v[1] * np.cos(if_phase)[None, :]
    voltage = _solve(mixer, drive.reshape(-1, 3))[:, 1].reshape(LO_PHASES, IF_PHASES)
    spectrum = np.fft.fft2(voltage) / voltage.size
    m, n = np.arange(reach + 1)[:, None], np.arange(-reach, reach + 1)[None, :]
    amplitude = 2 * np.abs(spectrum[m % LO_PHASES, n % IF_PHASES])
    level = 10 * np.log10(np.maximum(amplitude**2 / (2 * PORT_OHM) / 1e-3, 1e-25))
    level.flags.writeable = False
    return np.asarray(level)


def _solve(mixer: RingMixer, drive: Floats) -> Floats:
    """Port voltages at every moment. (k, 3) -> (k, 3)"""
    coupling = mixer.coupling()
    thermal_v = IDEALITY * Boltzmann * TEMPERATURE_K / elementary_charge
    saturation = SATURATION_A * (1 + mixer.diode_spread * np.array(SPREAD))
    voltage = np.zeros_like(drive)
    for _ in range(MOST_STEPS):
        across = voltage @ coupling.T
        growth = saturation * np.exp(across / thermal_v)
        force = (drive - voltage) / PORT_OHM - (growth - saturation) @ coupling
        conductance = growth / thermal_v
        matrix = np.einsum("ik,ka,kb->iab", conductance, coupling, coupling)
        matrix[:, range(3), range(3)] += 1 / PORT_OHM
        step = np.linalg.solve(matrix, force[:, :, None])[:, :, 0]
        largest = np.abs(step @ coupling.T).max(axis=1)
        voltage += step * np.minimum(1.0, STEP_V / np.maximum(largest, 1e-30))[:, None]
        if largest.max() < ENOUGH:
            break
    return voltage
