"""Windows for spectra: weights, noise bandwidth, and how many independent averages overlapped segments give.

Theory  A cosine sum a_0 - a_1 cos + a_2 cos 2 - ... tapers a segment so that a strong signal does not spill over the
        whole spectrum. Its noise bandwidth is n sum w^2 / (sum w)^2 bins. Overlapped segments are correlated by
        rho_j = (sum w_i w_{i+jD})^2 / (sum w^2)^2, and K of them are worth K / (1 + 2 sum (1 - j/K) rho_j).
Source  Harris 1978, Proc. IEEE 66, 51-83 (Hann, four-term Blackman-Harris at -92 dB); five-term flat top "FTSRS" of
        Heinzel, Rüdiger and Schilling 2002, appendix D; Welch 1967, IEEE Trans. Audio Electroacoust. AU-15, 70-73.
        Coefficients from memory, checked against an independent library and the papers' noise bandwidths.
Holds   Periodic windows (as for a DFT) of any length.
"""

from functools import lru_cache

import numpy as np
import numpy.typing as npt

from tepui.ground.checks import require_one_of

Floats = npt.NDArray[np.float64]

WINDOWS: dict[str, tuple[float, ...]] = {
    "rectangular": (1.0,),
    "hann": (0.5, 0.5),
    "blackman-harris": (0.35875, 0.48829, 0.14128, 0.01168),
    "flat-top": (1.0, 1.93, 1.29, 0.388, 0.028),
}
"""The coefficients a_0, a_1, ... by name; their scale does not matter."""


@lru_cache(maxsize=8)
def window_weights(name: str, n_fft: int) -> Floats:
    """Weights of one window, periodic (as for a DFT), its highest value 1.

    returns  (n_fft,), read-only
    raises   ChoiceError for a name that is not in ``WINDOWS``
    """
    require_one_of("window", name, WINDOWS, source="this program's list")
    turn = 2 * np.pi * np.arange(n_fft) / n_fft
    terms = [(-1) ** k * a * np.cos(k * turn) for k, a in enumerate(WINDOWS[name])]
    weights = np.asarray(np.sum(terms, axis=0) / sum(WINDOWS[name]))
    weights.flags.writeable = False
    return weights


def noise_bandwidth_bins(weights: Floats) -> float:
    """Noise bandwidth of a window in DFT bins, n sum w^2 / (sum w)^2. [1]

    >>> round(noise_bandwidth_bins(window_weights("hann", 1024)), 6)
    1.5
    """
    return float(len(weights) * np.sum(weights**2) / np.sum(weights) ** 2)


def effective_averages(weights: Floats, *, hop: int, n_segments: int) -> float:
    """How many independent averages ``n_segments`` overlapped ones are worth. [1]"""
    energy = float(np.sum(weights**2))
    total = 1.0
    for j in range(1, min(n_segments, -(-len(weights) // hop))):
        shared = float(np.sum(weights[: len(weights) - j * hop] * weights[j * hop :])) / energy
        total += 2 * (1 - j / n_segments) * shared**2
    return n_segments / total
