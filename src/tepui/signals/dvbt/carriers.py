"""Where pilots, TPS and data sit among the carriers, and what the pilots carry.

Theory  Scattered pilots on k = 3 (l mod 4) + 12 p; continual pilots and TPS on fixed carriers; the rest is data.
        Pilot amplitude 4/3 (boosted), sign from the reference sequence X^11 + X^2 + 1 started with ones.
Source  [EN300744] V1.6.2 clause 4.5, Tables 7 and 8 (table dvbt_pilots).
Holds   2K and 8K as checked against recordings of an independent modulator; 4K positions are the 8K ones up to 3408.
        Carriers count from Kmin = 0; k = (K - 1)/2 lies on the channel centre.
"""

from functools import cache

import numpy as np
import numpy.typing as npt

from tepui.ground.checks import require_one_of
from tepui.signals.dvbt.mode import FFT_NAMES, FFT_SIZES, N_CARRIERS
from tepui.signals.dvbt.sequences import locked, recurrence
from tepui.tables.load import load_table

PILOT_AMPLITUDE = 4 / 3
Carriers = npt.NDArray[np.int64]


def _check(n_fft: int, phase: int = 0) -> None:
    require_one_of("n_fft", n_fft, FFT_SIZES, source="EN 300 744 4.4")
    require_one_of("phase", phase, (0, 1, 2, 3), source="EN 300 744 4.5.3")


def _from_table(n_fft: int, kind: str) -> Carriers:
    texts = load_table("dvbt_pilots").column("carrier_k", mode=FFT_NAMES[n_fft], kind=kind)
    positions = np.array(sorted(int(text) for text in texts), np.int64)
    locked(positions)
    return positions


@cache
def continual_carriers(n_fft: int) -> Carriers:
    """Continual pilots, ascending: (45,), (89,) or (177,). Read-only."""
    _check(n_fft)
    return _from_table(n_fft, "continual")


@cache
def tps_carriers(n_fft: int) -> Carriers:
    """Carriers of the transmission parameters, ascending: (17,), (34,) or (68,). Read-only."""
    _check(n_fft)
    return _from_table(n_fft, "TPS")


@cache
def scattered_carriers(n_fft: int, phase: int) -> Carriers:
    """Scattered pilots of symbols with l mod 4 = phase, ascending. Read-only."""
    _check(n_fft, phase)
    positions = np.arange(3 * phase, N_CARRIERS[n_fft], 12, dtype=np.int64)
    locked(positions)
    return positions


@cache
def pilot_carriers(n_fft: int, phase: int) -> Carriers:
    """Scattered and continual pilots of symbols with l mod 4 = phase, ascending. Read-only."""
    _check(n_fft, phase)
    positions = np.union1d(scattered_carriers(n_fft, phase), continual_carriers(n_fft))
    locked(positions)
    return positions


@cache
def data_carriers(n_fft: int, phase: int) -> Carriers:
    """Data carriers of symbols with l mod 4 = phase, ascending: (n_data,). Read-only."""
    _check(n_fft, phase)
    taken = np.union1d(pilot_carriers(n_fft, phase), tps_carriers(n_fft))
    positions = np.setdiff1d(np.arange(N_CARRIERS[n_fft], dtype=np.int64), taken, assume_unique=True)
    locked(positions)
    return positions


@cache
def mean_powers(n_fft: int) -> npt.NDArray[np.float64]:
    """Mean power of each carrier over a data cell's, pilots boosted as often as they stand there: (K,). Read-only."""
    powers = np.ones(N_CARRIERS[n_fft])
    for phase in range(4):
        powers[pilot_carriers(n_fft, phase)] += (PILOT_AMPLITUDE**2 - 1) / 4
    locked(powers)
    return powers


@cache
def reference_sequence(n_fft: int) -> npt.NDArray[np.uint8]:
    """w_k, 0 or 1, for every carrier: (K,). Read-only."""
    _check(n_fft)
    bits = recurrence([1] * 11, (11, 9), N_CARRIERS[n_fft])
    locked(bits)
    return bits


@cache
def pilot_values(n_fft: int) -> npt.NDArray[np.float64]:
    """What a pilot on carrier k carries, 4/3 * 2 (1/2 - w_k), real: (K,). Read-only."""
    values = PILOT_AMPLITUDE * (1.0 - 2.0 * reference_sequence(n_fft).astype(np.float64))
    locked(values)
    return values
