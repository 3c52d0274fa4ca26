"""How fast the decoders are, against named references in the same run.

    python benchmarks/bench_decoder.py [--galois]

Best of several runs each. Figures in Mbit/s depend on the machine, ratios hardly; two threads
need two idle cores. --galois adds a Reed-Solomon decoder
of a general-purpose library (compiles for ten seconds).
"""

import argparse
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from fractions import Fraction

import numpy as np

from tepui.chain.reception.demap import SoftDemapper
from tepui.chain.reception.inner_decoder import UNIT_BITS, InnerDecoder
from tepui.chain.reception.inner_reference import decode_reference
from tepui.chain.reception.outer_decoder import OuterDecoder, correct_interleaved, interleaved_places
from tepui.chain.reception.reencode import count_differences, reencode
from tepui.chain.waveform.outer import with_parity
from tepui.signals.dvbt.mode import CODE_RATES, CONSTELLATIONS, Mode

N_PACKETS = 2000


def best_s(function: Callable[[], object], runs: int = 9) -> float:
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        function()
        times.append(time.perf_counter() - start)
    return min(times)


def line(name: str, mbit_s: float, reference: float | None = None, note: str = "") -> None:
    ratio = f"{mbit_s / reference:8.1f} x" if reference else " " * 10
    print(f"{name:<52}{mbit_s:10.1f} Mbit/s {ratio}  {note}")


def noisy_soft(rate: Fraction, n_coded: int) -> np.ndarray:
    rng = np.random.default_rng(1)
    packed = rng.integers(0, 256, n_coded * rate.numerator // rate.denominator // 8 + 8, np.uint8)
    sent = 1 - 2 * reencode(packed, rate)[:n_coded].astype(np.float32)
    return np.clip(np.rint(4 * (sent + 0.5 * rng.standard_normal(n_coded, np.float32))), -9, 9).astype(np.int8)


def inner() -> None:
    rate = Fraction(7, 8)
    soft = noisy_soft(rate, 8 * 12_000 // 7 // 8 * 8).astype(np.float32)
    one = len(soft) * 7 / 8 / best_s(lambda: decode_reference(soft[None, :4000], rate), 2) / 1e6 * 4000 / len(soft)
    wide = np.tile(soft[: 8 * 300], (512, 1))
    lanes = wide.size * 7 / 8 / best_s(lambda: decode_reference(wide, rate), 2) / 1e6
    line("Viterbi 7/8, numpy over states (reference)", one, one)
    line("Viterbi 7/8, numpy over states and 512 lanes", lanes, one)
    for rate in CODE_RATES:
        decoder = InnerDecoder(rate)
        window = noisy_soft(rate, decoder.window_coded)
        line(f"Viterbi {rate}, one thread", UNIT_BITS / best_s(lambda d=decoder, w=window: d.decode_unit(w)) / 1e6, one)
    with ThreadPoolExecutor(2) as pool:
        seconds = best_s(lambda: list(pool.map(decoder.decode_unit, [window] * 8)), 5)
    line("Viterbi 7/8, two threads", 8 * UNIT_BITS / seconds / 1e6, one)
    packed = np.random.default_rng(2).integers(0, 256, UNIT_BITS // 8, np.uint8)
    coded = reencode(packed, rate)
    line("encoding again 7/8", UNIT_BITS / best_s(lambda: reencode(packed, rate)) / 1e6)
    soft8 = (1 - 2 * coded.astype(np.int8)) * np.int8(5)
    line("comparing signs, coded bits", len(coded) / best_s(lambda: count_differences(coded, soft8)) / 1e6)


def outer(*, with_galois: bool) -> None:
    rng = np.random.default_rng(3)
    words = with_parity(rng.integers(0, 256, (N_PACKETS, 188), np.uint8))
    bits = N_PACKETS * 188 * 8
    reference = None
    if with_galois:
        import galois

        code = galois.ReedSolomon(255, 239, c=0)
        few = code.field(words[:200])
        code.decode(few)
        reference = 200 * 188 * 8 / best_s(lambda: code.decode(few), 3) / 1e6
        line("Reed-Solomon, galois, clean (reference)", reference, reference)
    for n_wrong in (0, 1, 4, 8, 12):
        stream = np.zeros((N_PACKETS + 11) * 204, np.uint8)
        for p, word in enumerate(words):
            bad = word.copy()
            bad[rng.choice(204, n_wrong, replace=False)] ^= rng.integers(1, 256, n_wrong, np.uint8)
            stream[204 * p + interleaved_places()] = bad
        copies = iter([stream.copy() for _ in range(5)])
        seconds = best_s(lambda c=copies: correct_interleaved(next(c), N_PACKETS), 5)
        line(f"deinterleaving and Reed-Solomon, {n_wrong} wrong bytes", bits / seconds / 1e6, reference)
    clean = np.zeros((N_PACKETS + 11) * 204, np.uint8)
    for p, word in enumerate(words):
        clean[204 * p + interleaved_places()] = word
    parts = np.split(clean, range(UNIT_BITS // 8, len(clean), UNIT_BITS // 8))

    def streamed() -> None:
        decoder = OuterDecoder()
        for part in parts:
            decoder.push(part)
        decoder.finish()

    line("whole outer decoder, clean, unit by unit", bits / best_s(streamed) / 1e6, reference)


def demapper() -> None:
    rng = np.random.default_rng(4)
    for constellation in CONSTELLATIONS:
        mode = Mode(
            width_hz=7e6, n_fft=8192, guard=Fraction(1, 32), constellation=constellation, code_rate=Fraction(7, 8)
        )
        cells = (rng.standard_normal((32, 6817)) + 1j * rng.standard_normal((32, 6817))).astype(np.complex64)
        channel, weight = np.ones((1, 6817), np.complex64), np.full(6817, 10, np.float32)
        soft = SoftDemapper(mode)
        seconds = best_s(lambda d=soft, c=cells, h=channel, w=weight: d(c, h, w, phase=0, parity=0)) / 32
        line(f"demapper 8K {constellation}, coded bits", mode.n_data * mode.bits_per_cell / seconds / 1e6,
             note=f"{1e2 * seconds / mode.symbol_s:.1f} % of real time at 7 MHz")  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--galois", action="store_true", help="also time galois' Reed-Solomon decoder")
    options = parser.parse_args()
    inner()
    outer(with_galois=options.galois)
    demapper()


if __name__ == "__main__":
    main()
