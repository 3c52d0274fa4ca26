"""The link over the path: levels, C/N, MER, every mode's margin, the one to take, and what misleads."""

import math

from tepui.ground.doubt import Estimate, estimate
from tepui.ground.findings import Finding, Table
from tepui.jobs.path_question import LinkQuestion, PathQuestion
from tepui.jobs.statements import estimated, exact, unknown
from tepui.prediction.link import LinkBudget, link_budget, margin_with_errors_db, pad_margin_db, wind_down
from tepui.prediction.mode_margins import ModeMargin, best_mode, channel_for_path, mode_margins

BUDGET = "[P.341] and [P.525-4]"
NOISE = "[Friis1944], [P.372]"
RULE = "the operator's rule"
QUIET = " The surroundings are taken at 290 K, for nothing else was told."
PEAK_SHARE = 1e-4
PEAK_DB = 10 * math.log10(-math.log(PEAK_SHARE))


def link_findings(question: PathQuestion) -> tuple[list[Finding], list[Table]]:
    """Findings and tables of the link; empty where none was asked."""
    link = question.link
    if link is None:
        return [], []
    about = f"path:{question.name}"
    budget = link_budget(
        radiated=link.radiated,
        loss=question.link_loss,
        receiving=link.receiving,
        width_hz=link.mode.occupied_width_hz,
        transmitter_mer_db=link.transmitter_mer_db,
    )
    channel, reason = _channel(question, link)
    margins = mode_margins(
        like=link.mode,
        cn_db=budget.cn.value,
        channel=channel,
        edition=link.edition,
        implementation_loss_db=link.implementation_loss_db,
        transmitter_mer_db=link.transmitter_mer_db,
    )
    chosen = best_mode(margins, margin_db=link.margin_db)
    found = _levels(about, link, budget)
    found.append(Finding(about=about, key="channel_model", value=channel, standing="computed",
                         source="[EN300744] annex A", remark=f"Because {reason}."))  # fmt: skip
    found += _choice(about, link, budget, chosen)
    found += _preamplifier(about, link, budget, chosen)
    tables = [_modes_table(margins)]
    if chosen is not None:
        tables.append(_wind_down_table(link, budget, chosen))
    return found, tables


def _channel(question: PathQuestion, link: LinkQuestion) -> tuple[str, str]:
    if link.channel != "auto":
        return link.channel, "the operator said so"
    return channel_for_path(
        visible=question.view.visible,
        clearance_share=question.view.clearance_share,
        scattered=question.scattered,
        rx_gain_dbi=link.receiving.gain_dbi,
    )


def _levels(about: str, link: LinkQuestion, budget: LinkBudget) -> list[Finding]:
    power = link.radiated.power
    half = link.mode.occupied_width_hz / 2
    pep = Estimate(value=power.value + PEAK_DB, std=power.std, contributions=power.contributions)

    def said(key: str, value: Estimate, unit: str, source: str, remark: str = "") -> Finding:
        return estimated(about, key, value, unit, source=source, standing="computed", remark=remark)

    return [
        said("eirp_dbm", budget.eirp, "dBm", BUDGET, "Mean."),
        said("pep_dbm", pep, "dBm", "complex Gaussian envelope", f"Exceeded for 1e-4 of the time; {PEAK_DB:.1f} dB "
             "above the mean, so a limit in PEP and one in mean power are not the same."),
        said("receive_level_dbm", budget.level, "dBm", BUDGET, "At the terminals of the receive antenna."),
        exact(about, "system_noise_db", budget.system_noise_db, "dB", source=NOISE, standing="computed",
              remark="Over k T0, external noise included, at the terminals of the receive antenna."
              + (QUIET if link.receiving.external_noise_db == 0 else "")),
        exact(about, "noise_power_dbm", budget.noise_dbm, "dBm", source=NOISE, standing="computed",
              remark=f"In {2 * half / 1e6:.3f} MHz."),
        said("cn_db", budget.cn, "dB", BUDGET),
        said("mer_expected_db", budget.mer, "dB", "[EN300744] 4.5", "Of the data cells; 0.33 dB below C/N for the "
             "boosted pilots" + (", joined by the transmitter's own errors." if link.transmitter_mer_db else ".")),
    ]  # fmt: skip


def _choice(about: str, link: LinkQuestion, budget: LinkBudget, chosen: ModeMargin | None) -> list[Finding]:
    source = f"[EN300744] {link.edition} annex A, table A.1"
    if chosen is None:
        remark = (
            f"No mode keeps {link.margin_db:g} dB at the expected C/N of {budget.cn.value:.1f} dB; more gain, height, "
            "a mast-head preamplifier or a narrower channel would be first."
        )
        return [unknown(about, "mode_choice", "", source=source, remark=remark)]
    margin = estimate(chosen.margin_db, **budget.cn.contributions)
    keeps = _chance(margin, 0.0)
    words = chosen.mode.text()
    return [
        Finding(
            about=about,
            key="mode_choice",
            value=words,
            standing="computed",
            source=source,
            remark=f"Highest bit rate that keeps {link.margin_db:g} dB after {link.implementation_loss_db:g} dB for "
            "the receiver. That is the expectation, not certainty: see the margin's interval.",
        ),
        exact(about, "net_bit_rate_bps", chosen.net_bit_rate_bps, "bit/s", source="[EN300744] 4.7",
              standing="computed"),
        estimated(
            about,
            "margin_db",
            margin,
            "dB",
            source=source,
            standing="computed",
            limit=link.margin_db,
            limit_source=RULE,
            margin=chosen.margin_db - link.margin_db,
            remark=f"After {link.implementation_loss_db:g} dB for the receiver. About {100 * keeps:.0f} in 100 such "
            "paths would show the picture.",
        ),
        exact(about, "wind_down_db", float(math.floor(max(chosen.margin_db, 0.0))), "dB", source="[EN300744] annex A",
              standing="computed", remark="Lowering the transmitter in 1 dB steps, the last step with a picture; the "
              "honest way to read the margin."),
    ]  # fmt: skip


def _chance(margin: Estimate, level: float) -> float:
    if margin.std == 0:
        return 1.0 if margin.value >= level else 0.0
    return 0.5 * math.erfc((level - margin.value) / (margin.std * math.sqrt(2)))


def _preamplifier(about: str, link: LinkQuestion, budget: LinkBudget, chosen: ModeMargin | None) -> list[Finding]:
    found = []
    for name, receiving in link.alternatives:
        gained = link.receiving.system_db - receiving.system_db
        found.append(exact(about, f"cn_{name}_db", budget.cn.value + gained, "dB", source=NOISE, standing="computed",
                           remark=f"C/N were the preamplifier {PLACES[name]}."))  # fmt: skip
    if chosen is None or link.n_before_pad == 0:
        return found
    pad = pad_margin_db(
        cn_db=budget.cn.value,
        required_cn_db=chosen.required_cn_db,
        receiving=link.receiving,
        after=link.n_before_pad,
    )
    true = margin_with_errors_db(
        budget.cn.value, required_cn_db=chosen.required_cn_db, transmitter_mer_db=link.transmitter_mer_db
    )
    if pad is None:
        return [*found, unknown(about, "pad_margin_db", "dB", source=NOISE, remark="No pad behind the preamplifier "
                                "up to 80 dB would stop the picture; it says nothing about the path.")]  # fmt: skip
    return [
        *found,
        Finding(
            about=about,
            key="pad_margin_db",
            value=pad,
            unit="dB",
            low=pad,
            high=pad,
            standing="computed",
            kind="caution",
            source=NOISE,
            remark=f"A pad behind the preamplifier would seem to show this margin, {pad - true:.1f} dB more than the "
            "true one: it weakens the preamplifier's noise with the signal. Lower the transmitter instead, or put the "
            "pad before the preamplifier.",
        ),
    ]


PLACES = {"mast": "at the mast head", "receiver": "at the receiver", "none": "left out"}


def _modes_table(margins: tuple[ModeMargin, ...]) -> Table:
    columns = (
        ("fft_size", "1"),
        ("constellation", ""),
        ("code_rate", ""),
        ("guard_fraction", ""),
        ("net_bit_rate_bps", "bit/s"),
        ("required_cn_db", "dB"),
        ("margin_db", "dB"),
    )
    rows = tuple(
        (
            one.mode.n_fft,
            one.mode.constellation,
            str(one.mode.code_rate),
            str(one.mode.guard),
            one.net_bit_rate_bps,
            one.required_cn_db,
            one.margin_db if math.isfinite(one.margin_db) else None,
        )
        for one in margins
    )
    return Table(name="mode_margins", columns=columns, rows=rows)


def _wind_down_table(link: LinkQuestion, budget: LinkBudget, chosen: ModeMargin) -> Table:
    last = max(3, math.ceil(chosen.margin_db) + 2)
    rows = wind_down(
        budget,
        required_cn_db=chosen.required_cn_db,
        transmitter_mer_db=link.transmitter_mer_db,
        steps=range(last + 1),
    )
    columns = (("reduction_db", "dB"), ("level_dbm", "dBm"), ("cn_db", "dB"), ("mer_db", "dB"), ("margin_db", "dB"))
    return Table(
        name="wind_down",
        columns=columns,
        rows=tuple((float(row.reduction_db), row.level_dbm, row.cn_db, row.mer_db, row.margin_db) for row in rows),
    )
