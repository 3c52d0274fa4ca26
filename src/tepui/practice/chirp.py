"""A band-limited block read at any evenly spaced times: the exact way to turn one sample clock into another.

Theory  x(t) = sum over k of X[k] exp(2 pi i k t / N) at t = t0 + m s is, with k m = (k^2 + m^2 - (m - k)^2) / 2, a
        convolution with a chirp, done by transforms of a length of one's choice. Any step s serves, to the ppm.
Source  L. I. Bluestein 1970; the chirp-z transform of Rabiner, Schafer and Rader 1969.
Holds   Single precision: errors near -120 dB of the block's level. Chirps are computed in double precision.
"""

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import scipy.fft

Samples = npt.NDArray[np.complex64]


def _chirp(n: npt.NDArray[np.int64], turn: float) -> npt.NDArray[np.complex128]:
    cycles = turn * (n.astype(np.float64) ** 2) / 2
    return np.asarray(np.exp(2j * np.pi * (cycles - np.floor(cycles))))


@dataclass(frozen=True, kw_only=True)
class ChirpReader:
    """Prepared for one shape of block.

    n_block  length N of the block whose transform is given
    n_bins   bins in use, an odd number, from -(n_bins - 1)/2 to +(n_bins - 1)/2
    step     distance of the times, in samples of the block
    n_out    how many times are read
    """

    n_block: int
    n_bins: int
    step: float
    n_out: int
    _size: int = field(init=False, repr=False)
    _before: Samples = field(init=False, repr=False)
    _kernel: Samples = field(init=False, repr=False)
    _after: Samples = field(init=False, repr=False)

    def __post_init__(self) -> None:
        turn = self.step / self.n_block
        half = (self.n_bins - 1) // 2
        size = scipy.fft.next_fast_len(self.n_bins + self.n_out - 1)
        kernel = np.zeros(size, np.complex128)
        places = np.arange(-half, self.n_out + half)  # m - k
        kernel[places - half] = np.conj(_chirp(places, turn))  # the bins start at -half, so everything sits half lower
        object.__setattr__(self, "_size", size)
        object.__setattr__(self, "_before", _chirp(np.arange(-half, half + 1), turn).astype(np.complex64))
        object.__setattr__(self, "_kernel", scipy.fft.fft(kernel).astype(np.complex64))
        object.__setattr__(self, "_after", _chirp(np.arange(self.n_out), turn).astype(np.complex64))

    def read(self, spectrum: Samples, *, first: float) -> Samples:
        """Values at first + m step, m = 0 .. n_out - 1, in samples of the block.

        spectrum  (n_bins,), transform of the block (not scaled), lowest frequency first
        returns   (n_out,)
        """
        half = (self.n_bins - 1) // 2
        bins = np.arange(-half, half + 1)
        shifted = spectrum * np.exp(2j * np.pi * bins * (first / self.n_block)).astype(np.complex64)
        padded = np.zeros(self._size, np.complex64)
        padded[: self.n_bins] = shifted * self._before
        turned = scipy.fft.ifft(scipy.fft.fft(padded) * self._kernel)
        return np.asarray(turned[: self.n_out] * self._after * np.float32(1 / self.n_block))
