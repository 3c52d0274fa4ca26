"""The impulse response seen by the pilots, where the FFT window should stand, and the echoes.

Theory  Carriers three apart see delays without ambiguity over a third of the useful symbol. The window may start
        anywhere between the last path's beginning and the first path's guard's end.
Source  [EN300744] clause 4.4 (guard interval); F. J. Harris 1978 for the window's side-lobes.
Holds   Delay spread below N/3. Spread over more than the guard is placed to lose the least power.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy.fft

LEAST_PATH_DB = -35.0
ABOVE_NOISE = 20.0


@dataclass(frozen=True, kw_only=True)
class Response:
    """Power over delay from the channel on a comb of carriers.

    delay    (n,) delays counted from the timebase's centre, ascending, elementary periods
    power    (n,) power at each, the strongest being 1
    noise    level that only noise reaches, on the same scale
    span     delays beyond which it repeats
    """

    delay: npt.NDArray[np.float64]
    power: npt.NDArray[np.float64]
    noise: float
    span: float

    def paths(self) -> npt.NDArray[np.bool_]:
        """Where a path's power stands above noise and above -35 dB of the strongest."""
        return np.asarray(self.power > max(self.noise * ABOVE_NOISE, 10 ** (LEAST_PATH_DB / 10)))


def response_of_grid(channel: npt.NDArray[np.complex128], *, n_fft: int, comb: int = 3) -> Response:
    """Impulse response from the channel on every ``comb``-th carrier, Hann-weighted.

    channel  (n_grid,) from the lowest carrier up
    """
    n = channel.size
    size = 1 << int(np.ceil(np.log2(n * 1.5)))
    weights = np.hanning(n + 2)[1:-1]
    taps = scipy.fft.fftshift(scipy.fft.ifft(channel * weights, size))
    power = np.abs(taps) ** 2
    peak = float(power.max()) or 1.0
    span = n_fft / comb
    delay = (np.arange(size) - size // 2) * (span / size)
    return Response(delay=delay, power=power / peak, noise=float(np.median(power)) / peak / np.log(2), span=span)


def place_window(response: Response, *, n_guard: int, n_fft: int, centre: float) -> tuple[float, float]:
    """Start of the FFT window, and the delay to centre on, both after the beginning of the guard.

    centre   the delay the response was counted from
    returns  (window, centre): the window midway between its limits; the centre midway between first and last path
    """
    first, last = support(response)
    first, last = first + centre, last + centre
    if last - first > n_guard:
        first, last = _heaviest(response, n_guard=n_guard, centre=centre)
    window = (first + last + n_guard) / 2
    return float(np.clip(window, last, first + n_guard)), 0.5 * (first + last)


def support(response: Response) -> tuple[float, float]:
    """First and last delay of the paths: the shortest arc of the repeating response that holds them all."""
    places = np.flatnonzero(response.paths())
    size = response.delay.size
    gaps = np.diff(np.concatenate([places, [places[0] + size]]))
    widest = int(np.argmax(gaps))
    begin = places[(widest + 1) % places.size]
    length = size - int(gaps[widest])
    step = response.span / size
    first = response.delay[begin]
    last = first + length * step
    middle = 0.5 * (first + last)
    turn = np.round(middle / response.span) * response.span
    return float(first - turn), float(last - turn)


def _heaviest(response: Response, *, n_guard: int, centre: float) -> tuple[float, float]:
    power = np.where(response.paths(), response.power, 0.0)
    step = response.span / response.delay.size
    width = max(1, int(n_guard / step))
    ring = np.concatenate([power, power[:width]])
    sums = np.concatenate([[0.0], np.cumsum(ring)])
    inside = sums[width : width + power.size] - sums[: power.size]
    begin = int(np.argmax(inside))
    held = np.flatnonzero(ring[begin : begin + width])
    first = response.delay[begin] + held[0] * step + centre
    last = response.delay[begin] + held[-1] * step + centre
    turn = np.round((0.5 * (first + last) - centre) / response.span) * response.span
    return float(first - turn), float(last - turn)
