"""A link with an ideal channel: random bits, inner coder, cells, white noise. What decoders are judged on."""

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from tepui.chain.reception.inner_reference import decode_reference
from tepui.chain.waveform.inner import encode_inner
from tepui.chain.waveform.mapping import map_cells
from tepui.signals.dvbt.carriers import data_carriers
from tepui.signals.dvbt.interleavers import coded_bit_order
from tepui.signals.dvbt.mapping import constellation_points
from tepui.signals.dvbt.mode import Mode

MARGIN_STEPS = 210  # dropped at both ends of each stretch the reference decodes: a whole number of all periods


@dataclass(frozen=True, kw_only=True)
class Link:
    """Sent bits (n,), coded bits (n_symbols, n_coded), data cells as sent and as received (n_symbols, n_data).

    order  (n_coded of all,) which coded bit was sent in each place, where they were shuffled; None as the source has it
    """

    mode: Mode
    bits: npt.NDArray[np.uint8]
    coded: npt.NDArray[np.uint8]
    sent: npt.NDArray[np.complex64]
    received: npt.NDArray[np.complex64]
    noise: float
    order: npt.NDArray[np.intp] | None = None

    def on_carriers(self) -> npt.NDArray[np.complex64]:
        """The received data cells on all carriers, zero elsewhere: (n_symbols, K)."""
        cells = np.zeros((len(self.received), self.mode.n_carriers), np.complex64)
        for phase in range(4):
            cells[phase::4, data_carriers(self.mode.n_fft, phase)] = self.received[phase::4]
        return cells


def plain_mode(constellation: str, code_rate: Fraction | str) -> Mode:
    return Mode(width_hz=8e6, n_fft=2048, guard=Fraction(1, 32), constellation=constellation,
                code_rate=Fraction(code_rate))  # fmt: skip


def ideal_link(mode: Mode, *, es_n0_db: float, n_bits: int, seed: int, shuffled: bool = False) -> Link:
    """Symbols enough for n_bits, every cell with noise of variance 10^(-es_n0/10).

    shuffled  coded bits are sent in random order instead of the source's: what a table made so must be compared with
    """
    rng = np.random.default_rng(seed)
    per_symbol = mode.n_data * mode.bits_per_cell
    bits_per_symbol = int(per_symbol * mode.code_rate)
    n_symbols = -(-n_bits // bits_per_symbol)
    bits = rng.integers(0, 2, n_symbols * bits_per_symbol, dtype=np.uint8)
    coded, _ = encode_inner(bits, np.zeros(6, np.uint8), code_rate=mode.code_rate)
    coded = coded.reshape(n_symbols, per_symbol)
    order = rng.permutation(coded.size) if shuffled else None
    placed = coded if order is None else coded.ravel()[order].reshape(coded.shape)
    sent = map_cells(placed, None, mode=mode, first_symbol=0)
    noise = 10 ** (-es_n0_db / 10)
    parts = rng.standard_normal((2, *sent.shape), dtype=np.float32) * np.float32(np.sqrt(noise / 2))
    received = (sent + (parts[0] + 1j * parts[1])).astype(np.complex64)
    return Link(mode=mode, bits=bits, coded=coded, sent=sent, received=received, noise=noise, order=order)


def float_soft_values(link: Link) -> npt.NDArray[np.float32]:
    """Max-log ratios by measuring the distance to every point, in the order the bits were sent: (n_coded,)."""
    mode, v = link.mode, link.mode.bits_per_cell
    points = constellation_points(mode.constellation, mode.alpha)
    nearest = np.full((v, 2, *link.received.shape), np.inf, np.float32)
    for label, point in enumerate(points):
        error = link.received - point
        distance = error.real**2 + error.imag**2
        for e in range(v):
            bit = (label >> (v - 1 - e)) & 1
            np.minimum(nearest[e, bit], distance, out=nearest[e, bit])
    ratios = (nearest[:, 1] - nearest[:, 0]) / np.float32(link.noise)
    soft = np.empty((len(link.received), mode.n_data * v), np.float32)
    for parity in (0, 1):
        order = coded_bit_order(mode.n_fft, v, parity)
        soft[parity::2, order.T.ravel()] = ratios[:, parity::2].transpose(1, 0, 2).reshape(-1, order.size)
    if link.order is None:
        return soft.ravel()
    back = np.empty(soft.size, np.float32)
    back[link.order] = soft.ravel()
    return back


def reference_errors(
    soft: npt.NDArray[np.floating], bits: npt.NDArray[np.uint8], code_rate: Fraction, *, stretch_bits: int = 2100
) -> tuple[int, npt.NDArray[np.uint8], npt.NDArray[np.intp]]:
    """The reference decoder on overlapped stretches, of which only the middles count.

    returns  wrong bits; the decoded bits of all middles (n,), and their places in ``bits``
    """
    k, n = code_rate.numerator, code_rate.denominator
    total = stretch_bits + 2 * MARGIN_STEPS
    starts = np.arange(0, len(bits) - total + 1, stretch_bits)
    taken = np.stack([soft[start // k * n : (start + total) // k * n] for start in starts])
    decided = decode_reference(taken, code_rate)[:, MARGIN_STEPS:-MARGIN_STEPS].ravel()
    places = (starts[:, None] + MARGIN_STEPS + np.arange(stretch_bits)).ravel()
    return int(np.count_nonzero(decided != bits[places])), decided, places


# [EN300744] V1.6.2 Table 2, the order sent
SENT = {"1/2": "X1 Y1", "2/3": "X1 Y1 Y2", "3/4": "X1 Y1 Y2 X3", "5/6": "X1 Y1 Y2 X3 Y4 X5",
        "7/8": "X1 Y1 Y2 Y3 Y4 X5 Y6 X7"}  # fmt: skip
# komm writes the newest bit last: 171 and 133 octal mirrored within seven bits
MIRRORED = [int(f"{generator:07b}"[::-1], 2) for generator in (0o171, 0o133)]


def coded_by_komm(bits: npt.NDArray[np.uint8], rate: Fraction) -> npt.NDArray[np.uint8]:
    """Coded by komm's ConvolutionalCode and punctured here: (n_coded,)."""
    import komm

    pairs = np.asarray(komm.ConvolutionalCode([MIRRORED]).encode(bits)).reshape(-1, 2)[: len(bits)]
    words = SENT[str(rate)].split()
    columns = [pairs[int(word[1:]) - 1 :: rate.numerator, "XY".index(word[0])] for word in words]
    return np.stack(columns, axis=1).ravel().astype(np.uint8)
