"""The modes of a channel as a page draws them: bit rate over the C/N each needs, and the C/N that is to be expected.

Theory  What lies left of the expected ratio can be seen; how far left is its margin. The doubt of that ratio is a
        dimension line over all of them.
Source  our own design: docs/look.md; the table mode_margins of the verb path, or modes of the verb mode.
Holds   Modes of one channel width, FFT size and guard interval.
"""

from collections.abc import Mapping, Sequence
from typing import Any

from markupsafe import Markup

from tepui.web.marks import number
from tepui.web.rulers import nice_steps

LEFT = 6.0


def mode_drawing(rows: Sequence[Mapping[str, Any]], *, cn: Mapping[str, Any] | None, chosen: str) -> Markup:
    """Bit rate over the C/N each mode needs; the C/N that is expected as a dimension line with its doubt."""
    if not rows:
        return Markup("")
    needs = [float(row["required_cn_db"]) for row in rows]
    rates = [float(row["net_bit_rate_bps"]) / 1e6 for row in rows]
    ends = [needs[0], needs[-1]] if cn is None else [*needs, cn["low"], cn["high"]]
    low, high = min(*needs, *ends) - 2, max(*needs, *ends) + 2
    most = 1.12 * max(rates)

    def place(db: float) -> float:
        return LEFT + (100 - LEFT) * (db - low) / (high - low)

    def down(rate: float) -> float:
        return 100 - 86 * rate / most

    parts = [Markup('<line class="rule" x1="{0}%" x2="{0}%" y1="8%" y2="100%"/>').format(LEFT)]
    parts.append(Markup('<line class="rule" x1="{}%" x2="100%" y1="100%" y2="100%"/>').format(LEFT))
    for db in nice_steps(low, high, 6):
        parts.append(Markup('<svg x="{:.2f}%" y="100%" overflow="visible"><path class="rule" d="M0 0V6"/><text '
                            'class="t-soft" y="20" text-anchor="middle">{}</text></svg>').format(
            place(db), number(f"{db:g}")))  # fmt: skip
    for rate in nice_steps(0, most, 4):
        parts.append(Markup('<svg x="{}%" y="{:.2f}%" overflow="visible"><path class="rule" d="M0 0H-6"/><text '
                            'class="t-soft" x="-9" y="4" text-anchor="end">{}</text></svg>').format(
            LEFT, down(rate), f"{rate:g}"))  # fmt: skip
    if cn is not None:
        a, b, middle = place(cn["low"]), place(cn["high"]), place(cn["value"])
        parts.append(Markup('<line class="thin" x1="{:.2f}%" x2="{:.2f}%" y1="4%" y2="4%"/>').format(a, b))
        for end in (a, b):
            parts.append(
                Markup('<svg x="{:.2f}%" y="4%" overflow="visible"><path class="thin" d="M0-6V6"/></svg>').format(end)
            )
        parts.append(Markup('<line class="chainline" x1="{0:.2f}%" x2="{0:.2f}%" y1="4%" y2="100%"/>').format(middle))
        parts.append(Markup('<circle class="pen f-sheet" cx="{:.2f}%" cy="4%" r="4"/>').format(middle))
    for place_in, (row, need, rate) in enumerate(sorted(zip(rows, needs, rates, strict=True), key=lambda one: one[1])):
        left = place(need) > 75 or place_in % 2 == 1
        words = f"{row['constellation']} {row['code_rate']}"
        taken = words == chosen
        parts.append(Markup('<circle class="{}" cx="{:.2f}%" cy="{:.2f}%" r="{}"/>').format(
            "f-ink" if taken else "pen f-sheet", place(need), down(rate), 6 if taken else 4))  # fmt: skip
        label = Markup(
            '<text class="{}knock wide-only" x="{:.2f}%" y="{:.2f}%" dx="{}" dy="4" text-anchor="{}">{}</text>'
        )
        side = (-9, "end") if left else (9, "start")
        parts.append(label.format("t-firm " if taken else "t-soft ", place(need), down(rate), *side, words))
    spoken = f"{len(rows)} modes from {min(rates):.2f} to {max(rates):.2f} Mbit/s over the C/N they need"
    if cn is not None:
        spoken += number(f"; {cn['value']:.1f} dB are expected, {cn['low']:.1f} to {cn['high']:.1f}")
    return Markup('<svg class="d-modes" role="img" aria-label="{}">{}</svg>').format(spoken, Markup("").join(parts))
