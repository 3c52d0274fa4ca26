"""Required C/N of the whole receiver, its own channel estimate included, beside the float decoder on an ideal channel.

For each of the fifteen modes a signal is made at the float decoder's Es/N0 (benchmarks/required_cn.txt) plus a few
steps, received, and the error rate after Viterbi is interpolated to 2e-4 [EN300744, annex A].
Run: .venv/bin/python benchmarks/fast_path_cn.py [SYMBOLS]
"""

import sys
from fractions import Fraction
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))

from signals_made import made_recording
from tepui.chain.reception.receive import receive
from tepui.signals.dvbt.mode import Mode
from tepui.tables.load import load_table

TARGET = 2e-4
PILOT_TERM_DB = 0.335
RATES = tuple(Fraction(k, k + 1) for k in (1, 2, 3, 5, 7))


def error_rate(mode: Mode, es_n0_db: float, *, symbols: int, seed: int) -> float:
    """Bit errors after Viterbi, as far as the Reed-Solomon decoder could count them."""
    recording, _ = made_recording(
        mode, symbols=symbols, rate_hz=mode.sample_rate_hz, cn_db=es_n0_db + PILOT_TERM_DB, seed=seed
    )
    counts = receive(recording).runs[0].counts
    lost = 10 * counts.uncorrectable  # a packet past correction holds nine wrong bytes or more
    return (counts.bit_errors + lost) / max(counts.packets * 1632, 1)


def main() -> None:
    """Print one line a mode."""
    symbols = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    table = load_table("dvbt_cn_simulated")
    for constellation in ("QPSK", "16QAM", "64QAM"):
        for rate in RATES:
            mode = Mode(width_hz=8e6, n_fft=8192, guard=Fraction(1, 32), constellation=constellation, code_rate=rate)
            ideal = float(table.cell("es_n0_data_cells_db", constellation=constellation, code_rate=str(rate)))
            steps = ideal + np.array([-0.3, -0.1, 0.1, 0.3, 0.5])
            rates = np.array([error_rate(mode, step, symbols=symbols // 4, seed=n) for n, step in enumerate(steps)])
            logs = np.log10(np.maximum(rates, 1e-7))
            found = float(np.interp(-np.log10(TARGET), -logs, steps))
            print(
                f"{constellation:5} {rate}  table{ideal:5.2f} dB whole receiver {found:5.2f} dB  {found - ideal:+.2f}  "
                f"{' '.join(f'{value:.1e}' for value in rates)}",
                flush=True,
            )


if __name__ == "__main__":
    main()
