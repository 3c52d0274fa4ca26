"""The mode of a DVB-T signal: every choice that fixes its rates, and the rates that follow.

Theory  All durations are multiples of the elementary period T = 7/(8 B); the useful part has N T, the guard g N T.
        Net rate = (188/204) n_data v r / (N T (1 + g)).
Source  [EN300744] V1.6.2 clauses 4.4 and 4.7, Annex E (6 and 7 MHz), Annex F (4K), Annex G (5 MHz).
Holds   B of 5 to 8 MHz. Narrower channels scale T with B by custom; the source is silent, and ``remarks`` says so.
"""

from dataclasses import dataclass
from fractions import Fraction

from tepui.ground.checks import require_between, require_one_of
from tepui.ground.errors import ChoiceError

FFT_SIZES = (2048, 4096, 8192)
FFT_NAMES = {2048: "2K", 4096: "4K", 8192: "8K"}
GUARDS = tuple(Fraction(1, n) for n in (32, 16, 8, 4))
CODE_RATES = tuple(Fraction(k, k + 1) for k in (1, 2, 3, 5, 7))
CONSTELLATIONS = ("QPSK", "16QAM", "64QAM")
BITS_PER_CELL = {"QPSK": 2, "16QAM": 4, "64QAM": 6}
N_CARRIERS = {2048: 1705, 4096: 3409, 8192: 6817}
N_DATA = {2048: 1512, 4096: 3024, 8192: 6048}
SYMBOLS_PER_FRAME = 68
FRAMES_PER_SUPERFRAME = 4
SYMBOLS_PER_SUPERFRAME = SYMBOLS_PER_FRAME * FRAMES_PER_SUPERFRAME
WIDTH_MIN_HZ, WIDTH_MAX_HZ = 0.3e6, 8e6
WIDTH_STANDARD_MIN_HZ = 5e6
_SOURCE = "EN 300 744"


@dataclass(frozen=True, kw_only=True)
class Mode:
    """One DVB-T mode, valid once built.

    width_hz       channel width B, 0.3 to 8 MHz; below 5 MHz outside the standard
    n_fft          2048, 4096 or 8192
    guard          guard interval over useful part: 1/32, 1/16, 1/8 or 1/4
    constellation  "QPSK", "16QAM" or "64QAM"
    code_rate      inner code of the stream, of the high-priority one where there are two
    alpha          hierarchy: 0 none, else 1, 2 or 4
    code_rate_lp   inner code of the low-priority stream; only with alpha
    cell_id        16 bits, None where none is sent
    in_depth       inner interleaver over several symbols (2K and 4K)
    raises         ChoiceError or RangeError where the source does not know the value
    """

    width_hz: float
    n_fft: int
    guard: Fraction
    constellation: str
    code_rate: Fraction
    alpha: int = 0
    code_rate_lp: Fraction | None = None
    cell_id: int | None = None
    in_depth: bool = False

    def __post_init__(self) -> None:
        require_between("channel width", self.width_hz / 1e6, WIDTH_MIN_HZ / 1e6, WIDTH_MAX_HZ / 1e6,
                        unit="MHz", source="EN 300 744 ends at 8 MHz; narrower by custom")  # fmt: skip
        require_one_of("n_fft", self.n_fft, FFT_SIZES, source=f"{_SOURCE} 4.4")
        require_one_of("guard", self.guard, GUARDS, source=f"{_SOURCE} 4.4")
        require_one_of("constellation", self.constellation, CONSTELLATIONS, source=f"{_SOURCE} 4.3.5")
        require_one_of("code_rate", self.code_rate, CODE_RATES, source=f"{_SOURCE} 4.3.3")
        require_one_of("alpha", self.alpha, (0, 1, 2, 4), source=f"{_SOURCE} 4.3.5")
        if self.cell_id is not None:
            require_between("cell_id", self.cell_id, 0, 0xFFFF, unit="(16 bits)", source=f"{_SOURCE} 4.6.2")
        if self.in_depth:
            require_one_of("n_fft with in-depth interleaving", self.n_fft, (2048, 4096), source=f"{_SOURCE} Annex F")
        self._check_hierarchy()
        object.__setattr__(self, "guard", Fraction(self.guard))
        object.__setattr__(self, "code_rate", Fraction(self.code_rate))

    def _check_hierarchy(self) -> None:
        if not self.alpha:
            if self.code_rate_lp is not None:
                raise ChoiceError(f"code_rate_lp must be None without hierarchy (alpha 0), not {self.code_rate_lp}.")
            return
        require_one_of("constellation of a hierarchical mode", self.constellation, ("16QAM", "64QAM"),
                       source=f"{_SOURCE} 4.3.5")  # fmt: skip
        require_one_of("code_rate_lp", self.code_rate_lp, CODE_RATES, source=f"{_SOURCE} 4.3.3")

    @property
    def elementary_period_s(self) -> float:
        """T = 7/(8 B), the clock period. [s]"""
        return 7 / (8 * self.width_hz)

    @property
    def sample_rate_hz(self) -> float:
        """1/T. [Hz]"""
        return 8 * self.width_hz / 7

    @property
    def n_guard(self) -> int:
        """Guard interval in clock periods."""
        return int(self.n_fft * self.guard)

    @property
    def n_symbol(self) -> int:
        """Guard and useful part in clock periods."""
        return self.n_fft + self.n_guard

    @property
    def useful_s(self) -> float:
        """Useful part Tu = N T. [s]"""
        return self.n_fft * self.elementary_period_s

    @property
    def guard_s(self) -> float:
        """Guard interval Tg = g N T. [s]"""
        return self.n_guard * self.elementary_period_s

    @property
    def symbol_s(self) -> float:
        """Whole symbol Ts = Tu + Tg. [s]"""
        return self.n_symbol * self.elementary_period_s

    @property
    def carrier_spacing_hz(self) -> float:
        """1/Tu. [Hz]"""
        return self.sample_rate_hz / self.n_fft

    @property
    def n_carriers(self) -> int:
        """K, the carriers in use."""
        return N_CARRIERS[self.n_fft]

    @property
    def n_data(self) -> int:
        """Data cells in a symbol."""
        return N_DATA[self.n_fft]

    @property
    def occupied_width_hz(self) -> float:
        """Distance of the outermost carriers, (K - 1)/Tu. [Hz]"""
        return (self.n_carriers - 1) * self.carrier_spacing_hz

    @property
    def bits_per_cell(self) -> int:
        """v, coded bits on one data cell, both streams together."""
        return BITS_PER_CELL[self.constellation]

    @property
    def bits_per_cell_hp(self) -> int:
        """Coded bits on one data cell of the stream ``code_rate`` belongs to: 2 with hierarchy, else v."""
        return 2 if self.alpha else self.bits_per_cell

    @property
    def packets_per_superframe(self) -> Fraction:
        """Packets of the (high-priority) stream in 272 symbols; always whole."""
        return self._packets(self.bits_per_cell_hp, self.code_rate)

    @property
    def packets_per_superframe_lp(self) -> Fraction:
        """Packets of the low-priority stream in 272 symbols; 0 without hierarchy."""
        return self._packets(self.bits_per_cell - self.bits_per_cell_hp, self.code_rate_lp or Fraction(0))

    def _packets(self, bits: int, rate: Fraction) -> Fraction:
        return Fraction(SYMBOLS_PER_SUPERFRAME * self.n_data * bits, 204 * 8) * rate

    @property
    def superframe_s(self) -> Fraction:
        """Duration of 272 symbols, exact. [s]"""
        return SYMBOLS_PER_SUPERFRAME * self.n_symbol * Fraction(7, 8) / Fraction(self.width_hz)

    @property
    def net_bit_rate_bps(self) -> Fraction:
        """Rate of the (high-priority) stream's 188-byte packets, exact. [bit/s]"""
        return self.packets_per_superframe * 188 * 8 / self.superframe_s

    @property
    def net_bit_rate_lp_bps(self) -> Fraction:
        """Rate of the low-priority stream's 188-byte packets, exact; 0 without hierarchy. [bit/s]"""
        return self.packets_per_superframe_lp * 188 * 8 / self.superframe_s

    @property
    def inside_standard(self) -> bool:
        """Whether the channel width is one the standard covers (5 to 8 MHz)."""
        return self.width_hz >= WIDTH_STANDARD_MIN_HZ

    @property
    def remarks(self) -> tuple[str, ...]:
        """What the operator should know about this mode: parts no source at hand confirms."""
        said = []
        if not self.inside_standard:
            said.append("Channel narrower than 5 MHz: the clock is scaled by custom, EN 300 744 has no such channel.")
        if self.n_fft == 4096:
            said.append("4K is unverified: its interleaver is from memory and no independent recording was at hand.")
        if self.in_depth:
            said.append("In-depth interleaving is signalled; its interleaver is not built.")
        return tuple(said)

    def text(self) -> str:
        """The mode in words, for instance "7 MHz 8K QPSK 3/4 guard 1/16"."""
        words = f"{self.width_hz / 1e6:.6g} MHz {FFT_NAMES[self.n_fft]} {self.constellation} {self.code_rate}"
        if self.alpha:
            words += f" alpha {self.alpha} low priority {self.code_rate_lp}"
        return f"{words} guard {self.guard}" + (" in-depth" if self.in_depth else "")
