"""All modes of a channel width, what each tolerates, and which are worth choosing between.

Theory  Doppler: an OFDM symbol in fading of maximum shift f makes interference of (2 pi f Tu)^2 / 24 of the signal
        (classical spectrum); scattered pilots see the channel every fourth symbol, so f stays below 1 / (8 Ts).
        Phase noise: the interference that costs 1 dB at the required ratio. Outer interleaver: 11 packets of delay
        from end to end, the inner one a symbol. A mode is worth choosing between (Pareto) where no other of the same
        FFT size has at least its rate, its robustness and its guard with one of them better.
Source  [EN300744] 4.3.1 (I = 12, M = 17), 4.3.4 and 4.5.3, Annex A; Y. Li, L. Cimini, IEEE Trans. Commun. 49 (2001) for
        Doppler, from memory; recommendation: table common_practice.
Holds   Required ratios of the edition named, Gaussian or fixed reception, without a receiver's implementation loss.
"""

import math
from dataclasses import dataclass, replace
from fractions import Fraction

from scipy.constants import speed_of_light

from tepui.ground.checks import require_one_of
from tepui.signals.dvbt.mode import CODE_RATES, CONSTELLATIONS, FFT_NAMES, FFT_SIZES, GUARDS, Mode
from tepui.tables.load import load_table

CHANNELS = ("Gaussian", "Ricean F1", "Rayleigh P1")
EDITIONS = ("V1.6.1", "V1.1.2 to V1.5.1")
INTERLEAVER_PACKETS = 11
LOSS_DB = 1.0  # what Doppler or phase noise may cost in the required ratio
LEAST_SPACING_HZ = 690.0  # of 8K at 5 MHz, the narrowest the standard has
RECEIVED_WIDTHS_HZ = (6e6, 7e6, 8e6)


@dataclass(frozen=True, kw_only=True)
class ModeRow:
    """One mode with what it needs and bears.

    required_cn_db          of ``edition`` and ``channel``, without implementation loss
    doppler_max_hz          that costs 1 dB, or that the pilots can follow
    interference_max_db     phase-noise interference that costs 1 dB
    latency_s               of both interleavers
    pareto                  worth choosing between
    """

    mode: Mode
    required_cn_db: float
    doppler_max_hz: float
    interference_max_db: float
    latency_s: float
    pareto: bool = False

    @property
    def guard_path_m(self) -> float:
        """Path difference that the guard interval bears. [m]"""
        return float(self.mode.guard_s * speed_of_light)

    @property
    def support(self) -> str:
        """What may be expected of a receiver somebody else already has."""
        if not self.mode.inside_standard:
            return "only receivers made for narrow channels"
        if self.mode.n_fft == 4096:
            return "few receivers have 4K"
        if self.mode.width_hz not in RECEIVED_WIDTHS_HZ:
            return "few consumer receivers have this width"
        return "consumer receivers, where their tuner reaches"


def required_cn_db(constellation: str, code_rate: Fraction, *, edition: str, channel: str) -> float:
    """Carrier to noise ratio a mode requires. [dB]

    raises  ChoiceError
    """
    require_one_of("edition", edition, EDITIONS, source="table dvbt_required_cn")
    require_one_of("channel", channel, CHANNELS, source="[EN300744] Annex A")
    return float(
        load_table("dvbt_required_cn").cell(
            "required_cn_db",
            constellation=constellation,
            code_rate=str(code_rate),
            channel_model=channel,
            edition=edition,
        )
    )


def interference_allowance_db(required_db: float) -> float:
    """Interference that costs LOSS_DB when the ratio is just what is required. [dB]"""
    return -required_db + 10 * math.log10(1 - 10 ** (-LOSS_DB / 10))


def doppler_max_hz(mode: Mode, *, interference_max_db: float) -> float:
    """Largest Doppler shift: interference as allowed, and slow enough for the scattered pilots. [Hz]"""
    by_interference = math.sqrt(24 * 10 ** (interference_max_db / 10)) / (2 * math.pi * mode.useful_s)
    return min(by_interference, 1 / (8 * mode.symbol_s))


def interleaver_latency_s(mode: Mode) -> float:
    """End to end delay of the outer and the inner interleaver. [s]"""
    return float(INTERLEAVER_PACKETS * 188 * 8 / mode.net_bit_rate_bps) + mode.symbol_s


def all_modes(width_hz: float, *, edition: str = EDITIONS[0], channel: str = "Gaussian") -> tuple[ModeRow, ...]:
    """All 180 modes of a width, by FFT size, constellation, code rate and guard.

    raises  RangeError, ChoiceError
    """
    rows = []
    for n_fft in FFT_SIZES:
        for constellation in CONSTELLATIONS:
            for rate in CODE_RATES:
                needed = required_cn_db(constellation, rate, edition=edition, channel=channel)
                allowed = interference_allowance_db(needed)
                for guard in GUARDS:
                    mode = Mode(
                        width_hz=width_hz, n_fft=n_fft, guard=guard, constellation=constellation, code_rate=rate
                    )
                    rows.append(
                        ModeRow(
                            mode=mode,
                            required_cn_db=needed,
                            doppler_max_hz=doppler_max_hz(mode, interference_max_db=allowed),
                            interference_max_db=allowed,
                            latency_s=interleaver_latency_s(mode),
                        )
                    )
    return _marked(tuple(rows))


def _marked(rows: tuple[ModeRow, ...]) -> tuple[ModeRow, ...]:
    """The same rows with the Pareto ones marked, each FFT size by itself."""
    keys = [(float(row.mode.net_bit_rate_bps), -row.required_cn_db, float(row.mode.guard)) for row in rows]
    sizes = [row.mode.n_fft for row in rows]

    def beaten(number: int) -> bool:
        mine = keys[number]
        return any(
            size == sizes[number] and other != mine and all(b >= a for a, b in zip(mine, other, strict=True))
            for size, other in zip(sizes, keys, strict=True)
        )

    return tuple(replace(row, pareto=not beaten(number)) for number, row in enumerate(rows))


@dataclass(frozen=True, kw_only=True)
class ModeWish:
    """What the choice of a mode has to meet; None and empty leave it open.

    cn_db       carrier to noise ratio the path gives, as total power in the occupied width
    margin_db   to keep above the required ratio, implementation loss included
    echo_s      longest echo
    doppler_hz  largest shift
    rate_bps    least net rate
    """

    n_fft: int | None = None
    constellation: str | None = None
    code_rate: Fraction | None = None
    guard: Fraction | None = None
    cn_db: float | None = None
    margin_db: float = 8.0
    echo_s: float | None = None
    doppler_hz: float | None = None
    rate_bps: float | None = None


def recommended(rows: tuple[ModeRow, ...], wish: ModeWish) -> tuple[ModeRow | None, str]:
    """One mode and why; None where no mode meets the wish.

    Without a word on the path: common practice, QPSK 3/4 with a guard of 1/16, in the largest FFT whose carriers
    stand no closer than the standard's closest, 4K left out because few receivers have it.
    """
    fitting = [row for row in rows if _fits(row, wish)]
    if not fitting:
        return None, _refusal(rows, wish)
    width = rows[0].mode.width_hz
    sizes = [n for n in (8192, 2048) if 8 * width / 7 / n >= LEAST_SPACING_HZ] or [2048]
    usual = {"n_fft": wish.n_fft or sizes[0], "guard": wish.guard or _guard(fitting, wish)}
    if wish.cn_db is not None:
        pool = [row for row in fitting if row.mode.n_fft == usual["n_fft"] and row.mode.guard == usual["guard"]]
        best = max(pool or fitting, key=lambda row: (row.mode.net_bit_rate_bps, -row.required_cn_db))
        why = f"the highest rate that leaves {wish.margin_db:g} dB of margin at {wish.cn_db:g} dB"
    elif wish.rate_bps is not None:
        pool = [row for row in fitting if row.mode.n_fft == usual["n_fft"] and row.mode.guard == usual["guard"]]
        best = min(pool or fitting, key=lambda row: (row.required_cn_db, -row.mode.net_bit_rate_bps))
        why = f"the most robust that carries {wish.rate_bps / 1e6:g} Mbit/s"
    else:
        wanted = (wish.constellation or "QPSK", wish.code_rate or Fraction(3, 4))

        def far(row: ModeRow) -> tuple[bool, bool, bool, bool]:
            mode = row.mode
            return (mode.n_fft != usual["n_fft"], mode.guard != usual["guard"], mode.constellation != wanted[0],
                    mode.code_rate != wanted[1])  # fmt: skip

        best = min(fitting, key=lambda row: (far(row), row.required_cn_db))
        why = "common practice, as nothing is known of the path: a good compromise to begin with"
        if None not in {wish.n_fft, wish.guard, wish.constellation, wish.code_rate}:
            why = "as it was asked for, nothing was left to choose"
    return best, f"{why}; {_why_size(best)}; {_why_guard(best, wish)}"


def _fits(row: ModeRow, wish: ModeWish) -> bool:
    mode = row.mode
    asked = (
        (wish.n_fft, mode.n_fft), (wish.constellation, mode.constellation), (wish.code_rate, mode.code_rate),
        (wish.guard, mode.guard),
    )  # fmt: skip
    if any(want is not None and want != has for want, has in asked):
        return False
    return (
        (wish.cn_db is None or wish.cn_db - row.required_cn_db >= wish.margin_db)
        and (wish.echo_s is None or mode.guard_s >= wish.echo_s)
        and (wish.doppler_hz is None or row.doppler_max_hz >= wish.doppler_hz)
        and (wish.rate_bps is None or mode.net_bit_rate_bps >= wish.rate_bps)
    )


def _guard(fitting: list[ModeRow], wish: ModeWish) -> Fraction:
    """1/16 by custom; where the longest echo is known, the shortest that holds it."""
    guards = {row.mode.guard for row in fitting}
    if wish.echo_s is not None:
        return min(guards)
    return Fraction(1, 16) if Fraction(1, 16) in guards else min(guards)


def _why_size(row: ModeRow) -> str:
    name = FFT_NAMES[row.mode.n_fft]
    return f"{name} puts the carriers {row.mode.carrier_spacing_hz:.0f} Hz apart"


def _why_guard(row: ModeRow, wish: ModeWish) -> str:
    reach = f"guard {row.mode.guard} bears {row.guard_path_m / 1e3:.3g} km of path difference"
    if wish.echo_s is None:
        return reach
    return f"{reach} for echoes of {wish.echo_s * speed_of_light / 1e3:.3g} km"


def _refusal(rows: tuple[ModeRow, ...], wish: ModeWish) -> str:
    """What stands in the way, one wish at a time."""
    lone = {
        "the path's ratio less the margin": ModeWish(cn_db=wish.cn_db, margin_db=wish.margin_db),
        "the longest echo": ModeWish(echo_s=wish.echo_s),
        "the Doppler shift": ModeWish(doppler_hz=wish.doppler_hz),
        "the rate": ModeWish(rate_bps=wish.rate_bps),
    }
    alone = [name for name, one in lone.items() if not any(_fits(row, one) for row in rows)]
    if alone:
        return f"No mode of this width meets {' nor '.join(alone)}."
    return "No mode of this width meets all that was asked at once; give up one wish."
