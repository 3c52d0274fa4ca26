"""Sending the modulator's own signal without a mixer: no products but its harmonics, if it tunes to the channel.

Theory  Harmonic n stands at n times the channel and is n times as wide; there is no image and no oscillator's line.
Source  Arithmetic; levels of the harmonics as in the mixer's drive, a guess unless given.
Holds   Amplifiers make harmonics of their own; the filter behind them is another question.
"""

from tepui.chain.conversion.mixer import HARMONIC_STEP_DB
from tepui.ground.findings import Finding, Value
from tepui.jobs.frequencies_reasons import mhz
from tepui.jobs.statements import exact
from tepui.prediction.plan_question import PlanQuestion

SOURCE = "no mixer: arithmetic on harmonics"
HARMONICS = (2, 3, 4, 5)


def direct_reaches(question: PlanQuestion) -> bool:
    """Whether the modulator is known to tune to the wanted channel."""
    return question.modulator_hz is not None and any(
        low <= question.wanted_hz <= high for low, high in question.modulator_hz
    )


def direct_reason(question: PlanQuestion) -> str:
    """One sentence."""
    wanted = mhz(question.wanted_hz)
    if direct_reaches(question):
        return f"The modulator tunes to {wanted} MHz itself: no mixer, no image, no oscillator's line, only harmonics."
    if question.modulator_hz is None:
        return f"Whether the modulator tunes to {wanted} MHz is not known; say what it tunes with --modulator."
    ranges = ", ".join(f"{mhz(low)} to {mhz(high)}" for low, high in question.modulator_hz)
    return f"The modulator tunes {ranges} MHz, not the wanted {wanted} MHz."


def direct_plan_row(question: PlanQuestion, rank: int) -> tuple[Value, ...]:
    """Its row in the table of plans; it has no oscillator and no side."""
    verdict = "clean" if direct_reaches(question) else "rejected"
    return (rank, question.wanted_hz, None, "direct", False, None, None, None, None, None, None, verdict,
            direct_reason(question))  # fmt: skip


def direct_product_rows(question: PlanQuestion, rank: int) -> list[tuple[Value, ...]]:
    """Its harmonics as rows of the table of products."""
    rows: list[tuple[Value, ...]] = []
    for n in HARMONICS:
        centre, width = n * question.wanted_hz, n * question.signal_width_hz
        level = question.drive.harmonic_db - HARMONIC_STEP_DB * (n - 2)
        doubt = question.drive.harmonic_doubt_db
        rows.append(
            (rank, 0, n, centre, centre - width / 2, centre + width / 2, width, level - doubt, level + doubt, False)
        )
    return rows


def direct_findings(question: PlanQuestion, *, rank: int) -> list[Finding]:
    """What is said of it when it is the plan stated."""
    verdict = "clean" if direct_reaches(question) else "rejected"
    half = question.signal_width_hz / 2
    places = {"wanted_hz": question.wanted_hz, "if_hz": question.wanted_hz,
              "channel_low_hz": question.wanted_hz - half, "channel_high_hz": question.wanted_hz + half}  # fmt: skip
    return [
        Finding(about="station", key="plan_verdict", value=verdict, standing="computed", source=SOURCE,
                remark=direct_reason(question)),
        exact("station", "plan_rank", rank, "1", source=SOURCE, standing="computed"),
        *(exact("station", key, value, "Hz", source=SOURCE, standing="computed") for key, value in places.items()),
        Finding(about="station", key="inverted", value=False, standing="computed", source=SOURCE),
    ]  # fmt: skip
