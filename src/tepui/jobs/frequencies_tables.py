"""Tables of a frequency plan: all plans, the products of those shown, and what moves each product.

Theory  ``plans`` and ``products`` have the published columns; what needs more columns stands in tables of its own.
Source  docs/machine-interface.md, docs/nomenclature.md.
Holds   A multiplied oscillator's other harmonics are no whole multiple of the LO: they stand in oscillator_products.
"""

from collections.abc import Sequence

from tepui.ground.findings import Table, Value
from tepui.jobs.frequencies_reasons import reason_for
from tepui.prediction.plan import VERDICTS, Plans
from tepui.prediction.plan_lines import PlanLine
from tepui.prediction.plan_question import PlanQuestion
from tepui.prediction.plan_search import Worst

PLAN_COLUMNS = (
    ("rank", "1"), ("if_hz", "Hz"), ("lo_hz", "Hz"), ("side", ""), ("inverted", ""), ("worst_m", "1"),
    ("worst_n", "1"), ("worst_in_channel_db", "dB"), ("worst_near_db", "dB"), ("rejection_lo_db", "dB"),
    ("rejection_image_db", "dB"), ("verdict", ""), ("reason", ""),
)  # fmt: skip
PRODUCT_COLUMNS = (
    ("plan", "1"), ("m", "1"), ("n", "1"), ("centre_hz", "Hz"), ("low_hz", "Hz"), ("high_hz", "Hz"),
    ("width_hz", "Hz"), ("level_db_low", "dB"), ("level_db_high", "dB"), ("in_channel", ""),
)  # fmt: skip
BEHIND_COLUMNS = (
    ("plan", "1"), ("product", ""), ("centre_hz", "Hz"), ("width_hz", "Hz"), ("place", ""), ("level_db", "dB"),
    ("behind_filter_db", "dB"), ("behind_filter_db_high", "dB"), ("share_in_channel", "1"),
)  # fmt: skip
WHICH_COLUMNS = (
    ("plan", "1"), ("product", ""), ("centre_hz", "Hz"), ("width_hz", "Hz"), ("lo_up_hz", "Hz"), ("if_down_hz", "Hz"),
    ("both_hz", "Hz"),
)  # fmt: skip
OTHER_COLUMNS = (
    ("plan", "1"), ("product", ""), ("centre_hz", "Hz"), ("low_hz", "Hz"), ("high_hz", "Hz"), ("width_hz", "Hz"),
    ("level_db_low", "dB"), ("level_db_high", "dB"), ("in_channel", ""),
)  # fmt: skip
CASCADE_COLUMNS = (("plan", "1"), ("if_hz", "Hz"), ("lo1_hz", "Hz"), ("second_if_hz", "Hz"), ("lo2_hz", "Hz"))


def plans_table(plans: Plans, question: PlanQuestion, *, shift: int = 0) -> Table:
    """Every plan, best first; ``shift`` leaves room for plans before them."""
    return Table(
        name="plans",
        columns=PLAN_COLUMNS,
        rows=tuple(_plan_row(plans, number, question, number + 1 + shift) for number in range(len(plans))),
    )


def _plan_row(plans: Plans, number: int, question: PlanQuestion, rank: int) -> tuple[Value, ...]:
    worst = plans.in_channel if plans.in_channel.row[number] >= 0 else plans.beside
    row = int(worst.row[number])
    m, n = (None, None) if row < 0 else _multiples(plans, number, row)
    return (
        rank,
        float(plans.if_hz[number]),
        float(plans.lo_hz[number]),
        "high" if plans.high_side[number] else "low",
        bool(plans.inverted[number]),
        m,
        n,
        _level(plans.in_channel, number),
        _level(plans.beside, number),
        float(plans.lo_needed_db),
        float(plans.image_needed_db),
        VERDICTS[int(plans.verdict[number])],
        reason_for(plans, number, question),
    )


def _multiples(plans: Plans, number: int, row: int) -> tuple[Value, Value]:
    """m and n with the signs that leave the sum above zero; m may be a fraction behind a multiplier."""
    signed = plans.signed_hz[number]
    table = plans.rows.multiples[row]
    sign = 1 if float(table @ signed) >= 0 else -1
    m = float(table[-2]) * sign * (1 if signed[-2] >= 0 else -1)
    n = int(table[-1]) * sign * (1 if signed[-1] >= 0 else -1)
    return (int(m) if m == int(m) else m), n


def _level(worst: Worst, number: int) -> float | None:
    return None if worst.row[number] < 0 else float(worst.level_db[number])


def worth_showing(lines: Sequence[PlanLine]) -> list[PlanLine]:
    """Products near the channel or in protected spectrum, and those that bear a name."""
    return [one for one in lines if one.place != "far" or one.name]


def product_tables(shown: Sequence[tuple[int, Sequence[PlanLine]]]) -> list[Table]:
    """Products of the plans shown: where they stand, what the filter leaves of them, what moves them.

    shown  (rank, products) of each
    """
    products: list[tuple[Value, ...]] = []
    others: list[tuple[Value, ...]] = []
    behind: list[tuple[Value, ...]] = []
    which: list[tuple[Value, ...]] = []
    for rank, lines in shown:
        for one in worth_showing(lines):
            line = one.line
            place = (line.centre_hz, line.low_hz, line.high_hz, line.width_hz)
            rest = (one.level_db - one.doubt_db, one.level_db + one.doubt_db, one.share_in_channel > 0)
            whole = len(line.multiples) == 2 and line.m.denominator == 1
            if whole:
                products.append((rank, int(line.m), line.n, *place, *rest))
            else:
                others.append((rank, line.text(), *place, *rest))
            behind.append((rank, line.text(), line.centre_hz, line.width_hz, one.place, one.level_db, one.behind_db,
                           one.behind_db + one.doubt_db, one.share_in_channel))  # fmt: skip
            which.append((rank, line.text(), line.centre_hz, line.width_hz, one.moves.lo_up_hz, one.moves.if_down_hz,
                          one.moves.both_hz))  # fmt: skip
    tables = [
        Table(name="products", columns=PRODUCT_COLUMNS, rows=tuple(products)),
        Table(name="products_behind_filter", columns=BEHIND_COLUMNS, rows=tuple(behind)),
        Table(name="which_line", columns=WHICH_COLUMNS, rows=tuple(which)),
    ]
    if others:
        tables.insert(1, Table(name="oscillator_products", columns=OTHER_COLUMNS, rows=tuple(others)))
    return tables


def cascade_table(plans: Plans, numbers: Sequence[int], *, shift: int) -> Table:
    """Both oscillators and the second IF of plans with two mixers."""
    rows = []
    for number in numbers:
        lo1, lo2, signal = (float(one) for one in plans.signed_hz[number])
        rows.append((number + 1 + shift, abs(signal), abs(lo1), abs(lo1 + signal), abs(lo2)))
    return Table(name="cascades", columns=CASCADE_COLUMNS, rows=tuple(rows))
