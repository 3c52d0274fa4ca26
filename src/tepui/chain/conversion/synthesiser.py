"""Settings of a fractional-N synthesiser: INT, FRAC, MOD, R and the output divider, ranked by the risk of lines.

Theory  f_out = f_PD (INT + FRAC / MOD) / D, f_PD = f_ref / R. The nearest whole multiple of f_PD beats with the
        oscillator at f_PD times the distance of N from a whole number: the integer-boundary line. Inside the loop's
        bandwidth it passes, outside it falls with 20 dB per decade and pole. Dividing by D lowers it by 20 lg D,
        multiplying by M raises it by 20 lg M; its offset stays. At simple fractions p / q the q-th harmonic of the
        divider's error does the same: a line at q f_PD times the distance of N from p / q, weaker as q grows.
Source  Table pll_integer_boundary for where it stands; the fall with the loop, the level inside it and the lines at
        simple fractions from memory.
Holds   Fractions up to 1/5. The levels inside the loop are guesses (``IN_LOOP_DBC``, ``FRACTION_STEP_DB``) good for
        ranking; the lines themselves have to be looked for at the bench.
"""

import math
from dataclasses import dataclass, replace
from fractions import Fraction

from tepui.ground.checks import require_between
from tepui.ground.errors import RangeError

IN_LOOP_DBC, IN_LOOP_DOUBT_DB = -45.0, 15.0
REFERENCE_DBC = -80.0  # lines at whole multiples of f_PD inside the loop's reach: a guess
FRACTION_STEP_DB = 10.0  # each further q below the one before: a guess
LARGEST_Q = 5
LOOP_POLES = 2
LARGEST_R = 1023
LEAST_PFD_LOOPS = 10  # comparison frequency over the loop's bandwidth for a quiet loop: common practice


@dataclass(frozen=True, kw_only=True)
class SynthesiserLimits:
    """What the part can do.

    pfd_max_hz    highest comparison frequency
    mod_max       largest MOD
    int_min       smallest INT
    dividers      output dividers there are
    vco_hz        range of the oscillator itself; None where any is taken
    loop_hz       bandwidth of the loop
    """

    reference_hz: Fraction
    pfd_max_hz: float
    mod_max: int
    int_min: int
    dividers: tuple[int, ...]
    vco_hz: tuple[float, float] | None
    loop_hz: float

    def __post_init__(self) -> None:
        require_between("reference", float(self.reference_hz) / 1e6, 0.1, 1000, unit="MHz", source="synthesisers")
        require_between("comparison frequency", self.pfd_max_hz / 1e6, 0.001, 1000, unit="MHz", source="synthesisers")
        require_between("MOD", self.mod_max, 1, 2**32, unit="", source="synthesisers")
        require_between("loop bandwidth", self.loop_hz / 1e3, 0.01, 1e4, unit="kHz", source="synthesisers")


@dataclass(frozen=True, kw_only=True)
class Setting:
    """One way to make the frequency.

    error_hz      made less wanted, at the synthesiser's output
    boundary_hz   offset of the integer-boundary line; None where N is whole
    risk_dbc      level guessed for the strongest of boundary and reference line at the output
    riskiest      of all boundary lines; None where there is none
    """

    integer: int
    frac: int
    mod: int
    r: int
    divider: int
    pfd_hz: float
    vco_hz: float
    output_hz: Fraction
    error_hz: float
    boundary_hz: float | None
    risk_dbc: float
    reference_line_hz: float
    riskiest: "BoundaryLine | None" = None


@dataclass(frozen=True, kw_only=True)
class BoundaryLine:
    """A line of a whole number (q = 1), of a simple fraction p / q, or of the reference.

    fraction  the boundary's fractional part: "0", "1/2", "2/3" ..., or "reference"
    """

    fraction: str
    offset_hz: float
    level_dbc: float


def boundary_lines(n: Fraction, pfd_hz: Fraction, *, loop_hz: float) -> tuple[BoundaryLine, ...]:
    """Lines of the nearest boundary of each q up to 5, as guessed inside and outside the loop, the strongest first."""
    found = []
    for q in range(1, LARGEST_Q + 1):
        p = round(q * n)
        away = abs(q * n - p)
        if not away or math.gcd(p, q) != 1:
            continue
        offset = float(pfd_hz * away)
        level = _through_loop(IN_LOOP_DBC - FRACTION_STEP_DB * (q - 1), offset, loop_hz)
        found.append(BoundaryLine(fraction=str(Fraction(p, q) % 1), offset_hz=offset, level_dbc=level))
    return tuple(sorted(found, key=lambda one: -one.level_dbc))


def setting_lines(setting: Setting, limits: SynthesiserLimits, *, multiplied: int = 1) -> tuple[BoundaryLine, ...]:
    """All boundary lines of a setting and the reference's, at the output behind divider and multiplier."""
    n = setting.integer + Fraction(setting.frac, setting.mod)
    pfd = limits.reference_hz / setting.r
    scale_db = 20 * math.log10(multiplied / setting.divider)
    reference = BoundaryLine(
        fraction="reference", offset_hz=float(pfd), level_dbc=_through_loop(REFERENCE_DBC, float(pfd), limits.loop_hz)
    )
    return tuple(
        replace(one, level_dbc=one.level_dbc + scale_db)
        for one in (*boundary_lines(n, pfd, loop_hz=limits.loop_hz), reference)
    )


def boundary_offset_hz(n: Fraction, pfd_hz: Fraction) -> Fraction | None:
    """Offset of the integer-boundary line for a division ratio N; None where N is whole. [Hz]

    >>> boundary_offset_hz(Fraction(2001, 100), Fraction(100_000_000))
    Fraction(1000000, 1)
    """
    away = abs(n - round(n))
    return pfd_hz * away if away else None


def settings_for(output_hz: Fraction, limits: SynthesiserLimits, *, multiplied: int = 1) -> tuple[Setting, ...]:
    """Every R and divider that reach the frequency, best first: least error, then least risk of lines.

    multiplied  what follows multiplies the output by this
    raises      RangeError where nothing reaches it
    """
    found = []
    for divider in limits.dividers:
        vco = output_hz * divider
        if limits.vco_hz is not None and not limits.vco_hz[0] <= vco <= limits.vco_hz[1]:
            continue
        for r in range(1, LARGEST_R + 1):
            pfd = limits.reference_hz / r
            if pfd < LEAST_PFD_LOOPS * limits.loop_hz:
                break
            if pfd > limits.pfd_max_hz:
                continue
            n = (vco / pfd).limit_denominator(limits.mod_max)
            if math.floor(n) < limits.int_min:
                continue
            found.append(_setting(output_hz, n, pfd=pfd, r=r, divider=divider, limits=limits, multiplied=multiplied))
    if not found:
        raise RangeError(
            f"No setting of this synthesiser makes {float(output_hz) / 1e6:.6f} MHz: widen the oscillator's range, its "
            "dividers or the limit of the comparison frequency."
        )
    found.sort(key=lambda one: (round(abs(one.error_hz), 3), round(one.risk_dbc, 3), one.divider, one.r))
    return tuple(found)


def _setting(
    output_hz: Fraction, n: Fraction, *, pfd: Fraction, r: int, divider: int, limits: SynthesiserLimits, multiplied: int
) -> Setting:
    whole = math.floor(n)
    made = n * pfd / divider
    boundary = boundary_offset_hz(n, pfd)
    scale_db = 20 * math.log10(multiplied / divider)
    near = boundary_lines(n, pfd, loop_hz=limits.loop_hz)
    lines = [_through_loop(REFERENCE_DBC, float(pfd), limits.loop_hz), *(one.level_dbc for one in near)]
    return Setting(
        integer=whole,
        frac=(n - whole).numerator,
        mod=n.denominator,
        r=r,
        divider=divider,
        pfd_hz=float(pfd),
        vco_hz=float(n * pfd),
        output_hz=made,
        error_hz=float(made - output_hz),
        boundary_hz=None if boundary is None else float(boundary),
        risk_dbc=max(lines) + scale_db,
        reference_line_hz=float(pfd),
        riskiest=near[0] if near else None,
    )


def _through_loop(level_dbc: float, offset_hz: float, loop_hz: float) -> float:
    """A line's level behind the loop. [dBc]"""
    return level_dbc - LOOP_POLES * 20 * math.log10(max(offset_hz / loop_hz, 1.0))
