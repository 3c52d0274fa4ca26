"""The transmission parameter signalling: 68 bits a frame in which the signal says what it is.

Theory  One bit a symbol, differentially on all TPS carriers alike; BCH (67, 53) corrects two wrong bits.
Source  [EN300744] V1.6.2 clause 4.6, Tables 9 to 15 (table dvbt_tps_fields).
Holds   Bit s0 is the differential start and carries nothing. s48 to s53 are sent as zero; what is heard is kept.
"""

from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from itertools import combinations

import numpy as np
import numpy.typing as npt

from tepui.ground.checks import require_one_of
from tepui.ground.errors import ChoiceError, FormatError
from tepui.signals.dvbt.mode import CODE_RATES, CONSTELLATIONS, GUARDS, Mode

SYNC_WORDS = (0x35EE, 0xCA11)  # frames 1 and 3; frames 2 and 4
BCH_POLYNOMIAL = 0x4377
LENGTH_PLAIN, LENGTH_CELL_ID = 23, 31
_N_BITS, _N_INFORMATION = 67, 53
_MODE_FIELD = {2048: 0, 8192: 1, 4096: 2}
Bits = npt.NDArray[np.uint8]


@dataclass(frozen=True, kw_only=True)
class TpsFields:
    """What one TPS word says.

    frame         0 to 3 in the super-frame
    alpha         0 without hierarchy; code_rate_lp is then None
    length        23, or 31 where a cell id is sent; 33 with the two DVB-H bits
    cell_id_half  high byte in frames 0 and 2, low byte in 1 and 3; None where the length says there is none
    reserved      s48 to s53 as a number, s48 the most significant
    """

    frame: int
    constellation: str
    alpha: int
    in_depth: bool
    code_rate: Fraction
    code_rate_lp: Fraction | None
    guard: Fraction
    n_fft: int
    cell_id_half: int | None
    length: int
    reserved: int

    def mode(self, *, width_hz: float, cell_id: int | None) -> Mode:
        """The mode these fields describe, in a channel of the given width."""
        return Mode(
            width_hz=width_hz, n_fft=self.n_fft, guard=self.guard, constellation=self.constellation,
            code_rate=self.code_rate, alpha=self.alpha, code_rate_lp=self.code_rate_lp, cell_id=cell_id,
            in_depth=self.in_depth,
        )  # fmt: skip


def _bits(value: int, n_bits: int) -> list[int]:
    return [(value >> (n_bits - 1 - i)) & 1 for i in range(n_bits)]


def _number(bits: npt.NDArray[np.integer]) -> int:
    value = 0
    for bit in bits.tolist():
        value = 2 * value + bit
    return int(value)


def _remainder(word: int) -> int:
    for shift in range(_N_BITS - 1, 13, -1):
        if word >> shift & 1:
            word ^= BCH_POLYNOMIAL << (shift - 14)
    return word


def tps_word(mode: Mode, frame: int) -> Bits:
    """The 68 bits of one frame: (68,), s0 = 0 in place of the differential start.

    frame  0 to 3 in the super-frame
    """
    require_one_of("frame", frame, range(4), source="EN 300 744 4.6.2")
    cell_id = mode.cell_id or 0
    alpha_field = (0, 1, 2, 4).index(mode.alpha) + (4 if mode.in_depth else 0)
    rate_lp = 0 if mode.code_rate_lp is None else CODE_RATES.index(mode.code_rate_lp)
    information = (
        _bits(SYNC_WORDS[frame % 2], 16)
        + _bits(LENGTH_PLAIN if mode.cell_id is None else LENGTH_CELL_ID, 6)
        + _bits(frame, 2)
        + _bits(CONSTELLATIONS.index(mode.constellation), 2)
        + _bits(alpha_field, 3)
        + _bits(CODE_RATES.index(mode.code_rate), 3)
        + _bits(rate_lp, 3)
        + _bits(GUARDS.index(mode.guard), 2)
        + _bits(_MODE_FIELD[mode.n_fft], 2)
        + _bits(cell_id & 0xFF if frame % 2 else cell_id >> 8, 8)
        + [0] * 6
    )
    parity = _remainder(_number(np.array(information)) << 14)
    return np.array([0, *information, *_bits(parity, 14)], np.uint8)


@cache
def _error_patterns() -> dict[int, tuple[int, ...]]:
    """Remainder -> the one or two positions (0 = s1) whose inversion gives it."""
    single = [_remainder(1 << (_N_BITS - 1 - i)) for i in range(_N_BITS)]
    patterns: dict[int, tuple[int, ...]] = {remainder: (i,) for i, remainder in enumerate(single)}
    for i, j in combinations(range(_N_BITS), 2):
        patterns[single[i] ^ single[j]] = (i, j)
    return patterns


def _require_67(bits: npt.NDArray[np.integer]) -> None:
    if bits.shape != (_N_BITS,):
        raise ChoiceError(f"A TPS word without its start bit has 67 bits, s1 to s67, not shape {bits.shape}.")


def correct_bch(bits67: npt.NDArray[np.integer]) -> tuple[Bits, int]:
    """Correct up to two wrong bits.

    bits67   (67,) s1 to s67, 0 or 1
    returns  the corrected bits (67,) and how many were changed
    raises   FormatError with three or more wrong bits (as far as the code can tell)
    """
    _require_67(bits67)
    fixed = np.array(bits67, np.uint8)
    remainder = _remainder(_number(fixed))
    if remainder == 0:
        return fixed, 0
    wrong = _error_patterns().get(remainder)
    if wrong is None:
        raise FormatError("A TPS word has more than the two wrong bits its BCH code corrects (EN 300 744 4.6.2).")
    fixed[list(wrong)] ^= 1
    return fixed, len(wrong)


def read_tps(bits67: npt.NDArray[np.integer]) -> TpsFields:
    """What a corrected TPS word says.

    bits67  (67,) s1 to s67, as ``correct_bch`` returns them; the parity is not looked at again
    raises  FormatError if the sync word is wrong or a field holds a reserved value
    """
    _require_67(bits67)

    def field(first: int, last: int) -> int:
        return _number(bits67[first - 1 : last])

    frame, hierarchy, length = field(23, 24), field(27, 29), field(17, 22)
    if field(1, 16) != SYNC_WORDS[frame % 2]:
        raise FormatError(f"A TPS word of frame {frame + 1} starts with 0x{field(1, 16):04X}, not its sync word.")
    try:
        alpha = (0, 1, 2, 4)[hierarchy & 3]
        rate_lp = CODE_RATES[field(33, 35)] if alpha else None
        n_fft = {number: size for size, number in _MODE_FIELD.items()}[field(38, 39)]
        constellation, rate = CONSTELLATIONS[field(25, 26)], CODE_RATES[field(30, 32)]
    except (IndexError, KeyError):
        raise FormatError("A TPS word holds a reserved value; this is no mode of EN 300 744 4.6.2.") from None
    return TpsFields(
        frame=frame, constellation=constellation, alpha=alpha, in_depth=bool(hierarchy & 4), code_rate=rate,
        code_rate_lp=rate_lp, guard=GUARDS[field(36, 37)], n_fft=n_fft,
        cell_id_half=field(40, 47) if length >= LENGTH_CELL_ID else None, length=length, reserved=field(48, 53),
    )  # fmt: skip
