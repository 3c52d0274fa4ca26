"""Long signals in overlapping blocks: each is faded in and out, transformed, and kept where it is undisturbed.

Theory  A filter or delay of finite memory gives the same inside a block as on the whole signal, once the block's
        faded edges are longer than that memory. Fading keeps the block's ends from leaking across the spectrum.
Source  overlap-save, common practice (any text on the discrete Fourier transform).
Holds   Memory below ``EDGE`` samples. A smooth roll-off of width d (cycles a sample) is down 90 dB after 15/d samples.
"""

import numpy as np
import numpy.typing as npt

Samples = npt.NDArray[np.complex64]
EDGE = 1024  # samples on either side that are read but not kept
FADE = 256  # of these, the outermost are faded


def cut(samples: Samples, *, start: int, count: int) -> Samples:
    """Samples start to start + count, zeros outside what exists. (count,)"""
    piece = np.zeros(count, np.complex64)
    first, last = max(start, 0), min(start + count, len(samples))
    if last > first:
        piece[first - start : last - start] = samples[first:last]
    return piece


def faded(piece: Samples, *, fade: int = FADE) -> Samples:
    """The same with raised-cosine ends of ``fade`` samples. (n,)"""
    rise = (0.5 - 0.5 * np.cos(np.pi * (np.arange(fade) + 0.5) / fade)).astype(np.float32)
    soft = piece.copy()
    soft[:fade] *= rise
    soft[-fade:] *= rise[::-1]
    return soft


def roll_off(frequency: npt.NDArray[np.float64], *, pass_edge: float, stop_edge: float) -> npt.NDArray[np.float64]:
    """Amplitude of a low-pass that is 1 to the pass edge and 0 from the stop edge on, a raised cosine between.

    frequency, edges  in one unit, any; the sign of ``frequency`` does not matter
    """
    share = np.clip((np.abs(frequency) - pass_edge) / (stop_edge - pass_edge), 0.0, 1.0)
    return np.asarray(0.5 + 0.5 * np.cos(np.pi * share))
