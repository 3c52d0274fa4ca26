"""Lines of a fractional-N synthesiser in a plan: where boundary and reference put copies of the signal.

Theory  A line beside the oscillator mixes as the oscillator does: it leaves a copy of the whole signal beside the
        wanted one, as far away as the line from the oscillator, and as far below.
Source  chain/conversion/synthesiser.py; its levels are guesses for ranking.
Holds   The best setting of each plan. The doubt is that of the guess.
"""

from collections.abc import Sequence
from fractions import Fraction

from tepui.chain.conversion.synthesiser import (
    IN_LOOP_DOUBT_DB,
    BoundaryLine,
    Setting,
    SynthesiserLimits,
    setting_lines,
    settings_for,
)
from tepui.ground.errors import RangeError
from tepui.ground.findings import Finding, Table, Value
from tepui.prediction.plan import Plans
from tepui.prediction.plan_question import PlanQuestion

SOURCE = "chain/conversion/synthesiser.py, levels guessed"
LINE_COLUMNS = (
    ("line", ""), ("offset_hz", "Hz"), ("centre_hz", "Hz"), ("low_hz", "Hz"), ("high_hz", "Hz"), ("width_hz", "Hz"),
    ("level_db_low", "dB"), ("level_db_high", "dB"), ("in_channel", ""),
)  # fmt: skip
PLAN_COLUMNS = (
    ("plan", "1"), ("lo_hz", "Hz"), ("integer", "1"), ("frac", "1"), ("mod", "1"), ("r_divider", "1"),
    ("output_divider", "1"), ("frequency_error_hz", "Hz"), ("riskiest_fraction", ""), ("riskiest_offset_hz", "Hz"),
    ("line_risk_dbc", "dB"),
)  # fmt: skip


def line_findings(
    setting: Setting, limits: SynthesiserLimits, question: PlanQuestion
) -> tuple[list[Finding], list[Table]]:
    """The worst line in the channel, and a table of all."""
    width = question.signal_width_hz
    rows: list[tuple[Value, ...]] = []
    for line in setting_lines(setting, limits, multiplied=question.multiplied):
        low, high = line.level_dbc - IN_LOOP_DOUBT_DB, line.level_dbc + IN_LOOP_DOUBT_DB
        for sign in (-1, 1):
            centre = question.wanted_hz + sign * line.offset_hz
            rows.append((_name(line), sign * line.offset_hz, centre, centre - width / 2, centre + width / 2, width, low,
                         high, line.offset_hz < width))  # fmt: skip
    inside = [line for line in setting_lines(setting, limits, multiplied=question.multiplied) if line.offset_hz < width]
    findings = []
    if inside:
        worst = max(inside, key=lambda one: one.level_dbc)
        findings.append(
            Finding(
                about="stage:oscillator",
                key="worst_line_db",
                value=worst.level_dbc,
                unit="dB",
                low=worst.level_dbc - IN_LOOP_DOUBT_DB,
                high=worst.level_dbc + IN_LOOP_DOUBT_DB,
                standing="computed",
                source=SOURCE,
                remark=f"{_name(worst).capitalize()}, {worst.offset_hz / 1e3:.3f} kHz off: a copy of the signal so far "
                "below it lies in the channel. A guess for ranking; look for it at the bench.",
            )
        )
    return findings, [Table(name="oscillator_lines", columns=LINE_COLUMNS, rows=tuple(rows))]


def _name(line: BoundaryLine) -> str:
    return "reference line" if line.fraction == "reference" else f"boundary line at {line.fraction}"


def plan_oscillators_table(
    plans: Plans, numbers: Sequence[int], limits: SynthesiserLimits, question: PlanQuestion, *, shift: int
) -> Table:
    """The best setting of each plan shown, so that plans can be told apart by their lines."""
    rows: list[tuple[Value, ...]] = []
    for number in numbers:
        lo_hz = float(plans.lo_hz[number])
        try:
            best = settings_for(Fraction(round(lo_hz)) / question.multiplied, limits, multiplied=question.multiplied)[0]
        except RangeError:
            rows.append((number + 1 + shift, lo_hz, *(None for _ in PLAN_COLUMNS[2:])))
            continue
        riskiest = (None, None) if best.riskiest is None else (best.riskiest.fraction, best.riskiest.offset_hz)
        rows.append((number + 1 + shift, lo_hz, best.integer, best.frac, best.mod, best.r, best.divider,
                     best.error_hz * question.multiplied, *riskiest, best.risk_dbc))  # fmt: skip
    return Table(name="plan_oscillators", columns=PLAN_COLUMNS, rows=tuple(rows))
