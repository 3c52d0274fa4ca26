"""Data, pilots and signalling on their carriers, symbol by symbol.

Theory  The scattered pilots' pattern repeats every four symbols; TPS carriers turn over with every bit that is 1,
        starting each frame from the reference sequence.
Source  [EN300744] V1.6.2 clauses 4.4, 4.5 and 4.6.
Holds   Symbols are numbered from the start of a super-frame; 68 a frame, four frames a super-frame.
"""

from functools import lru_cache

import numpy as np
import numpy.typing as npt

from tepui.signals.dvbt.carriers import (
    PILOT_AMPLITUDE,
    data_carriers,
    pilot_carriers,
    pilot_values,
    reference_sequence,
    tps_carriers,
)
from tepui.signals.dvbt.mode import FRAMES_PER_SUPERFRAME, SYMBOLS_PER_SUPERFRAME, Mode
from tepui.signals.dvbt.tps import tps_word

Cells = npt.NDArray[np.complex64]
N_PHASES = 4


@lru_cache(maxsize=8)
def tps_signs(mode: Mode) -> npt.NDArray[np.float32]:
    """Turn of the TPS carriers against the reference sequence: (272,), +1 or -1, one a symbol. Read-only."""
    words = np.stack([tps_word(mode, frame) for frame in range(FRAMES_PER_SUPERFRAME)])
    turned = np.cumsum(words, axis=1, dtype=np.int64).ravel() % 2
    signs = (1 - 2 * turned).astype(np.float32)
    signs.setflags(write=False)
    return signs


def place_cells(data: Cells, *, mode: Mode, first_symbol: int) -> Cells:
    """All carriers of whole symbols.

    data          (n_symbols, n_data), mean power 1, in the order of ``data_carriers``
    first_symbol  number of the first of them, counted from the start of a super-frame
    returns       (n_symbols, K)
    """
    n_fft = mode.n_fft
    carriers = np.empty((len(data), mode.n_carriers), np.complex64)
    for start in range(min(N_PHASES, len(data))):
        phase = (first_symbol + start) % N_PHASES  # 68 symbols a frame: the pattern runs on over frames
        rows = carriers[start::N_PHASES]
        rows[:, data_carriers(n_fft, phase)] = data[start::N_PHASES]
        pilots = pilot_carriers(n_fft, phase)
        rows[:, pilots] = pilot_values(n_fft)[pilots].astype(np.complex64)
    turns = tps_signs(mode)[(first_symbol + np.arange(len(data))) % SYMBOLS_PER_SUPERFRAME]
    signalling = tps_carriers(n_fft)
    starts = 1 - 2 * reference_sequence(n_fft)[signalling].astype(np.float32)
    carriers[:, signalling] = turns[:, None] * starts[None, :]
    return carriers


def mean_symbol_power(mode: Mode) -> float:
    """Mean sum of |cell|^2 over a symbol's carriers, the data uniformly random. [1]

    A data or TPS cell counts 1, a pilot 16/9; the mean is over the four scattered phases.
    """
    n_pilots = sum(len(pilot_carriers(mode.n_fft, phase)) for phase in range(N_PHASES)) / N_PHASES
    return mode.n_carriers + n_pilots * (PILOT_AMPLITUDE**2 - 1)
