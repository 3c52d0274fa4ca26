"""Required C/N of all fifteen modes, by simulation: the float reference, and the receiver's own demapper and decoder.

    python benchmarks/required_cn.py [--mbit 8] [--keep required_cn.txt]

Ideal channel, white noise. Es/N0 of the data cells at a bit error rate of 2e-4 after Viterbi, interpolated between
two points 0.3 dB apart; C/N of the whole signal is 0.335 dB higher, since pilots are sent 2.5 dB stronger than data.
The simulated table that tepui keeps (``dvbt_cn_simulated``) fits coded bits sent in random order, which is another link
than the standard's, where the bits of a cell differ in worth and neighbours of the code are set apart on purpose: the
column "shuffled" is the same decoder on such a link and may be compared with that table; all others are the standard's.
"""

import argparse
import math
import sys
from pathlib import Path

import numpy as np

from tepui.chain.reception.demap import SoftDemapper
from tepui.chain.reception.inner_decoder import InnerDecoder
from tepui.signals.dvbt.mode import CODE_RATES, CONSTELLATIONS, Mode
from tepui.tables.load import load_table

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))
from ideal_link import Link, float_soft_values, ideal_link, plain_mode, reference_errors

TARGET_BER = 2e-4
HALF_STEP_DB = 0.15
PILOT_DB = 0.335
OLD, NEW = "V1.1.2 to V1.5.1", "V1.6.1"


def float_ber(link: Link) -> float:
    wrong, decided, _ = reference_errors(float_soft_values(link), link.bits, link.mode.code_rate)
    return wrong / len(decided)


def fast_ber(link: Link) -> float:
    n_carriers = link.mode.n_carriers
    ones, weight = np.ones((1, n_carriers), np.complex64), np.full(n_carriers, 1 / link.noise, np.float32)
    soft = SoftDemapper(link.mode)(link.on_carriers(), ones, weight, phase=0, parity=0)
    bits = np.unpackbits(InnerDecoder(link.mode.code_rate).decode(soft.ravel()))
    return np.count_nonzero(bits != link.bits[: len(bits)]) / len(bits)


def required_es_n0_db(mode: Mode, start_db: float, n_bits: int) -> tuple[float, float, float]:
    """Of the reference on shuffled bits, of the reference, and of the fast path; the last two see the same noise."""
    points = (start_db - HALF_STEP_DB, start_db + HALF_STEP_DB)
    found = []
    for ber, shuffled in ((float_ber, True), (float_ber, False), (fast_ber, False)):
        logs = []
        for i, point in enumerate(points):
            link = ideal_link(mode, es_n0_db=point, n_bits=n_bits, seed=7 + i, shuffled=shuffled)
            logs.append(math.log(max(ber(link), 1e-9)))
        slope = (logs[1] - logs[0]) / (points[1] - points[0])
        found.append(points[0] + (math.log(TARGET_BER) - logs[0]) / slope)
    return found[0], found[1], found[2]


def table(n_bits: int) -> str:
    ours, published = load_table("dvbt_cn_simulated"), load_table("dvbt_required_cn")
    lines = [
        f"Required C/N, Gaussian channel, BER {TARGET_BER:g} after Viterbi, {n_bits / 1e6:g} Mbit a point. All in dB.",
        "Es/N0: of the data cells. C/N: mean power of the whole signal, pilots included, over noise in the same width,",
        f"Es/N0 + {PILOT_DB}. Annex A: EN 300 744 Table A.1, C/N; editions before V1.6.1 and from it on.",
        "",
        "Shuffled: the reference on coded bits sent in random order, as the simulated table fits.",
        "                 Es/N0     Es/N0     Es/N0     Es/N0     loss of     C/N     C/N     Annex A   Annex A",
        "mode             simulated shuffled  reference fast path fast path   ref.    fast    -V1.5.1   V1.6.1",
    ]
    for constellation in CONSTELLATIONS:
        for rate in CODE_RATES:
            where = {"constellation": constellation, "code_rate": str(rate)}
            start_db = float(ours.cell("es_n0_data_cells_db", **where))
            shuffled, reference, fast = required_es_n0_db(plain_mode(constellation, rate), start_db, n_bits)
            annex = [
                published.cell("required_cn_db", channel_model="Gaussian", edition=edition, **where)
                for edition in (OLD, NEW)
            ]
            lines.append(
                f"{constellation:>6} {rate!s:<9} {start_db:9.2f} {shuffled:9.2f} {reference:9.2f} {fast:9.2f}"
                f" {fast - reference:9.2f} {reference + PILOT_DB:9.2f} {fast + PILOT_DB:7.2f}"
                f" {annex[0]:>9} {annex[1]:>9}"
            )
            print(lines[-1], flush=True)
    return "\n".join(lines) + "\n"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--mbit", type=float, default=8.0, help="information bits per point, in millions")
    parser.add_argument("--keep", type=Path, help="write the table to this file")
    options = parser.parse_args()
    text = table(int(options.mbit * 1e6))
    print(text)
    if options.keep:
        options.keep.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
