"""The signal's centre from the pilots of one stretch of symbols, without decoding any.

Theory  Against the settled channel the common phase of the pilots moves by 2 pi df T_S a symbol; a straight line
        through it is the error left in the carrier, its scatter the doubt.
Source  as tracking.py and runs.py.
Holds   The stretch looked at; a carrier that drifts later has its own value then.
"""

import numpy as np

from tepui.chain.reception.acquire import Acquired
from tepui.chain.reception.runs import turn_std
from tepui.chain.reception.symbols import SymbolReader, pilot_cells, pilot_sets, pilot_tables, ramp
from tepui.chain.reception.tracking import corrected, track
from tepui.ground.doubt import Estimate, estimate
from tepui.signals.recording import Recording

MOST_SYMBOLS = 272
PHASE_LEFT = 1e-3  # what single precision and the interpolation leave over the stretch; this program's own [rad]


def carrier_offset(recording: Recording, acquired: Acquired) -> tuple[Estimate, float]:
    """Centre of the signal less the tuned frequency, and the time over which it was looked at.

    returns  [Hz], [s]
    """
    settled = acquired.settled
    base, rate_hz = settled.base, recording.sample_rate_hz
    reader = SymbolReader(recording, width_hz=acquired.width_hz)
    low, high = reader.available(base, begin=0, end=recording.n_samples)
    count = min(high - low, MOST_SYMBOLS)
    sets = pilot_sets(base.n_fft, inverted=base.inverted)
    tables = pilot_tables(sets)
    spectra = reader.spectra(base, symbol=low, count=count)
    cells = pilot_cells(spectra, tables, base=base, symbol=low, turn=ramp(base))
    found = track(cells, settled.reference, sets, tables, first_phase=(base.phase + low) % 4, weight=settled.weight)
    seconds = base.period / rate_hz
    offset_hz = corrected(base, found, rate_hz=rate_hz, symbol=low).offset_hz
    std_hz = turn_std(np.unwrap(found.phase)) / (2 * np.pi * seconds)
    arithmetic_hz = PHASE_LEFT / (2 * np.pi * count * seconds)
    return estimate(offset_hz, noise=std_hz, arithmetic=arithmetic_hz), count * seconds
