"""``mode``: every mode of a channel width, one recommended, the picture's rate, what to type into the modulator.

Theory  prediction/mode_choice.py; rates are exact fractions of signals/dvbt/mode.py.
Source  [EN300744] as each finding says; table common_practice.
Holds   One width at a time; below 5 MHz the clock is scaled by custom.
"""

from dataclasses import dataclass
from fractions import Fraction

from scipy.constants import speed_of_light

from tepui.ground.errors import RangeError
from tepui.ground.findings import Finding, Outcome, Table, Value
from tepui.jobs.statements import bound, exact
from tepui.prediction.mode_choice import LOSS_DB, ModeRow, ModeWish, all_modes, recommended
from tepui.signals.dvbt.mode import FFT_NAMES

STANDARD = "[EN300744] 4.4"
RATES = "[EN300744] 4.7 and annexes E to G"
COLUMNS = (
    ("fft_size", "1"), ("constellation", ""), ("code_rate", ""), ("guard_fraction", ""), ("net_bit_rate_bps", "bit/s"),
    ("net_bit_rate_exact", ""), ("packets_per_superframe", "1"), ("superframe_s", "s"), ("required_cn_db", "dB"),
    ("guard_s", "s"), ("guard_path_m", "m"), ("carriers", "1"), ("carrier_spacing_hz", "Hz"),
    ("occupied_width_hz", "Hz"), ("doppler_max_hz", "Hz"), ("interference_max_db", "dB"), ("latency_s", "s"),
    ("video_rate_max_bps", "bit/s"), ("inside_standard", ""), ("pareto", ""), ("receiver_support", ""),
)  # fmt: skip
CHOICE_COLUMNS = (
    ("constellation", ""), ("code_rate", ""), ("guard_fraction", ""), ("net_bit_rate_bps", "bit/s"),
    ("required_cn_db", "dB"), ("guard_path_m", "m"), ("pareto", ""), ("recommended", ""),
)  # fmt: skip
CARD_COLUMNS = (("setting", ""), ("enter", ""))


@dataclass(frozen=True, kw_only=True)
class ModeQuestion:
    """What was asked.

    edition, channel   of the required carrier to noise ratio
    audio_bps, tables_bps, headroom   what the picture does not get
    centre_hz          of the channel on the air, for speeds; None where unknown
    signal_hz          what the modulator is tuned to; None where unknown
    inverted           whether the modulator has to mirror its spectrum; None where unknown
    assumed            words for what was assumed
    """

    width_hz: float
    edition: str
    channel: str
    wish: ModeWish
    audio_bps: float
    tables_bps: float
    headroom: float
    centre_hz: float | None = None
    signal_hz: float | None = None
    inverted: bool | None = None
    assumed: tuple[str, ...] = ()


def choose_mode(question: ModeQuestion) -> Outcome:
    """All modes, one recommended, the card.

    raises  RangeError, ChoiceError
    """
    rows = all_modes(question.width_hz, edition=question.edition, channel=question.channel)
    best, why = recommended(rows, question.wish)
    tables = [Table(name="modes", columns=COLUMNS, rows=tuple(_row(row, question) for row in rows))]
    if best is None:
        return Outcome(findings=(_none(why),), tables=tuple(tables))
    tables.append(_choices(rows, best))
    tables.append(Table(name="settings_card", columns=CARD_COLUMNS, rows=tuple(_card(best, question))))
    findings = [*_findings(best, why, question), *_tolerances(best, question), *_cautions(best, question)]
    return Outcome(findings=tuple(findings), tables=tuple(tables))


def _choices(rows: tuple[ModeRow, ...], best: ModeRow) -> Table:
    """The Pareto list of the recommended FFT size, the most robust first; the recommended one is always in it."""
    chosen = [row for row in rows if row.mode.n_fft == best.mode.n_fft and (row.pareto or row.mode == best.mode)]
    chosen.sort(key=lambda row: (row.required_cn_db, -row.mode.guard, -row.mode.net_bit_rate_bps))
    listed = tuple(
        (row.mode.constellation, str(row.mode.code_rate), str(row.mode.guard), float(row.mode.net_bit_rate_bps),
         row.required_cn_db, row.guard_path_m, row.pareto, row.mode == best.mode)
        for row in chosen
    )  # fmt: skip
    return Table(name="mode_choices", columns=CHOICE_COLUMNS, rows=listed)


def _none(why: str) -> Finding:
    return Finding(about="station", key="mode_recommended", value=None, standing="unknown",
                   source="the operator's wishes against all modes", remark=why)  # fmt: skip


def video_rate_bps(row: ModeRow, question: ModeQuestion) -> float:
    """Rate left for the picture, 0 where nothing is. [bit/s]"""
    left = float(row.mode.net_bit_rate_bps) * (1 - question.headroom) - question.audio_bps - question.tables_bps
    return max(left, 0.0)


def _row(row: ModeRow, question: ModeQuestion) -> tuple[Value, ...]:
    mode = row.mode
    rate = mode.net_bit_rate_bps
    return (
        mode.n_fft, mode.constellation, str(mode.code_rate), str(mode.guard), float(rate), exact_text(rate),
        int(mode.packets_per_superframe), float(mode.superframe_s), row.required_cn_db, mode.guard_s, row.guard_path_m,
        mode.n_carriers, mode.carrier_spacing_hz, mode.occupied_width_hz, row.doppler_max_hz, row.interference_max_db,
        row.latency_s, video_rate_bps(row, question), mode.inside_standard, row.pareto, row.support,
    )  # fmt: skip


def _video_text(rate_bps: float) -> str:
    """Whole bits, never above what there is."""
    return f"{int(rate_bps)} bit/s" if rate_bps > 0 else "none is left"


def exact_text(rate: Fraction) -> str:
    """An exact rate as it is: "1316000000/187".

    >>> exact_text(Fraction(1316000000, 187))
    '1316000000/187'
    """
    return str(rate)


def _exact(key: str, value: float, unit: str, source: str, remark: str = "") -> Finding:
    return exact("station", key, value, unit, source=source, standing="computed", remark=remark)


def _text(key: str, value: str | bool, source: str, remark: str = "") -> Finding:
    return Finding(about="station", key=key, value=value, standing="computed", source=source, remark=remark)


def _findings(best: ModeRow, why: str, question: ModeQuestion) -> list[Finding]:
    mode = best.mode
    rate = mode.net_bit_rate_bps
    video = video_rate_bps(best, question)
    return [
        _text("mode_recommended", mode.text(), "table common_practice" if question.wish.cn_db is None else
              "the operator's wishes against all modes", f"{why[:1].upper()}{why[1:]}."),
        _exact("channel_width_hz", mode.width_hz, "Hz", STANDARD),
        _exact("fft_size", mode.n_fft, "1", STANDARD, FFT_NAMES[mode.n_fft]),
        _text("constellation", mode.constellation, STANDARD),
        _text("code_rate", str(mode.code_rate), STANDARD),
        _text("guard_fraction", str(mode.guard), STANDARD),
        _exact("net_bit_rate_bps", float(rate), "bit/s", RATES, f"Exactly {exact_text(rate)} bit/s: run the stream at "
               "this rate, with null packets."),
        _exact("packets_per_superframe", int(mode.packets_per_superframe), "1", "[EN300744] 4.7",
               f"In {float(mode.superframe_s) * 1e3:.3f} ms."),
        bound("station", "video_rate_max_bps", video, "bit/s", sense="at_most",
              source="net rate less headroom, sound and tables",
              remark=f"{question.headroom * 100:g} % headroom, {question.audio_bps / 1e6:g} Mbit/s sound, "
              f"{question.tables_bps / 1e6:g} Mbit/s tables."
              + ("" if video > 0 else " They alone take more than this mode carries: a faster mode, or less sound.")),
        _exact("required_cn_db", best.required_cn_db, "dB",
               f"[EN300744] Annex A, edition {question.edition}, {question.channel}",
               "Without implementation loss: a receiver needs 1.5 to 3 dB more (common practice)."),
        _exact("guard_s", mode.guard_s, "s", STANDARD),
        _exact("guard_path_m", best.guard_path_m, "m", STANDARD, "Longest path difference the guard interval bears."),
        _exact("carriers", mode.n_carriers, "1", STANDARD),
        _exact("carrier_spacing_hz", mode.carrier_spacing_hz, "Hz", STANDARD),
        _exact("occupied_width_hz", mode.occupied_width_hz, "Hz", STANDARD, "Between the outermost carriers."),
    ]  # fmt: skip


def _tolerances(best: ModeRow, question: ModeQuestion) -> list[Finding]:
    speed = ""
    if question.centre_hz is not None:
        fastest = best.doppler_max_hz * speed_of_light / question.centre_hz
        speed = f" That is {fastest * 3.6:.0f} km/h at {question.centre_hz / 1e6:g} MHz, straight towards."
    findings = [
        bound("station", "doppler_max_hz", best.doppler_max_hz, "Hz", sense="at_most",
              source="Y. Li and L. Cimini 2001; scattered pilots, [EN300744] 4.5.3",
              remark=f"Costs {LOSS_DB:g} dB at the required ratio, or outruns the pilots.{speed}"),
        bound("station", "interference_max_db", best.interference_max_db, "dB", sense="at_most",
              source="sum of powers of independent errors",
              remark=f"Phase-noise interference that costs {LOSS_DB:g} dB at the required ratio."),
        _exact("latency_s", best.latency_s, "s", "[EN300744] 4.3.1, I = 12, M = 17",
               "Of the interleavers; the encoder and the receiver's buffer add far more."),
        _text("receiver_support", best.support, "common practice"),
    ]  # fmt: skip
    if question.wish.cn_db is not None:
        margin = question.wish.cn_db - best.required_cn_db
        findings.append(_exact("cn_over_required_db", round(margin, 2), "dB", "the operator's ratio less the required",
                               "Take the receiver's implementation loss off."))  # fmt: skip
    return findings


def _cautions(best: ModeRow, question: ModeQuestion) -> list[Finding]:
    said = []
    if not best.mode.inside_standard:
        said.append(("outside_standard", "[EN300744] 4.4", "This width is outside the standard, which ends at 5 MHz: "
                     "clock is scaled by custom, and only receivers made for it follow."))  # fmt: skip
    if best.mode.n_fft == 4096:
        said.append(("unverified_4k", "[EN300744] Annex F", " ".join(best.mode.remarks)))
    if question.assumed:
        said.append(("plan_assumed", "defaults of this program", "Not said, so assumed: "
                     + "; ".join(question.assumed) + "."))  # fmt: skip
    return [
        Finding(about="station", key=key, value=True, kind="caution", standing="given", source=source, remark=remark)
        for key, source, remark in said
    ]


def _card(best: ModeRow, question: ModeQuestion) -> list[tuple[Value, ...]]:
    """What to type into the modulator, in the order its menus usually ask."""
    mode = best.mode
    if question.width_hz != mode.width_hz:
        raise RangeError("the card's width is not the question's")
    frequency = "the IF of the frequency plan" if question.signal_hz is None else f"{question.signal_hz / 1e6:.6g} MHz"
    mirrored = {None: "as the frequency plan says", True: "inverted", False: "normal"}[question.inverted]
    return [
        ("frequency", frequency),
        ("channel width", f"{mode.width_hz / 1e6:.6g} MHz"),
        ("FFT size", FFT_NAMES[mode.n_fft]),
        ("guard interval", str(mode.guard)),
        ("constellation", mode.constellation),
        ("code rate", str(mode.code_rate)),
        ("hierarchy", "none"),
        ("inner interleaver", "native"),
        ("cell identifier", "0, or none"),
        ("spectrum", mirrored),
        ("transport stream rate", f"{float(mode.net_bit_rate_bps):.3f} bit/s ({exact_text(mode.net_bit_rate_bps)})"),
        ("video rate, at most", _video_text(video_rate_bps(best, question))),
    ]
