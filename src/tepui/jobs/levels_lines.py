"""Harmonics of the last amplifier, image and oscillator of the last mixer, against the limit the operator entered.

Theory  Each line's level at the antenna's terminals is the signal's there, plus what the stage states relative to it,
        less what filters behind take more of it than of the signal.
Source  Figures of the station file; curves of filters, of which a prototype is held to 65 dB (common practice).
Holds   Amplifiers behind a mixer are taken to have the same gain for image and oscillator as for the signal.
"""

import math

from tepui.ground.findings import Finding
from tepui.jobs.levels_chain import Chain
from tepui.jobs.plan_statements import computed, not_known
from tepui.station.curves import loss_at_db
from tepui.station.figures import Figure


def limit_owner(chain: Chain) -> str:
    """Whose limits these are, in words."""
    return chain.station.licence.source or "entered by the operator"


def line_findings(chain: Chain) -> list[Finding]:
    """Harmonics of the last amplifier, image and oscillator at the antenna's terminals, against the entered limit."""
    limit = chain.station.licence.spurious_max
    n = chain.output
    if n is None:
        return []
    found: list[Finding] = []
    stage, level = chain.assembled.stages[n], chain.levels[n]
    about = f"stage:{stage.name}"
    missing = [key for key, one in (("harmonic_2", stage.harmonic_2), ("harmonic_3", stage.harmonic_3)) if one is None]
    centre = chain.station.channel.centre.value
    for order, figure in ((2, stage.harmonic_2), (3, stage.harmonic_3)):
        if figure is None:
            continue
        after = _loss_behind(chain, n, order * centre)
        std = math.hypot(level.std, figure.std or 0.0)
        value = level.value + figure.value - after
        found.append(
            _line(
                chain,
                about,
                f"harmonic_{order}_dbm",
                value,
                std,
                limit,
                f"At the antenna's terminals; filters behind it take {after:.0f} dB.",
            )
        )
    if missing:
        found.append(
            not_known(
                about,
                "harmonics_dbm",
                "dBm",
                f"{' and '.join(missing)} not stated; a data sheet, or a receiver with "
                "rated pads tuned to the harmonic, would settle it. A low-pass filter behind the amplifier is cheap.",
            )
        )
    found += _mixer_lines(chain, n, limit)
    if limit is None:
        found.append(
            not_known(
                "station",
                "spurious_met",
                "",
                "no limit on harmonics, image and other lines is entered; write "
                "spurious_max in [licence] from your own papers.",
            )
        )
    return found


def _line(  # noqa: PLR0917 - as long as a finding
    chain: Chain, about: str, key: str, value: float, std: float, limit: Figure | None, remark: str
) -> Finding:
    return computed(
        about,
        key,
        value,
        "dBm",
        low=value - 2 * std,
        high=value + 2 * std,
        source="level of the signal, figure stated, loss behind",
        remark=remark,
        limit=None if limit is None else limit.value,
        limit_source=None if limit is None else limit_owner(chain),
    )


def _loss_behind(chain: Chain, n: int, frequency_hz: float) -> float:
    """Loss of filters and feeders between stage ``n`` and the antenna, at a frequency. [dB]"""
    total = 0.0
    for stage, link in zip(chain.assembled.stages[n + 1 :], chain.assembled.links[n + 1 :], strict=True):
        if stage.curve is not None and len(stage.curve.frequency_hz) > 1:
            total += float(loss_at_db(stage.curve, frequency_hz))
        elif link.kind not in ("antenna", "amplifier"):
            total -= link.gain_db
    return total


def _mixer_lines(chain: Chain, last: int, limit: Figure | None) -> list[Finding]:
    """Image and oscillator of the last mixer, through the filters, with the gain of the signal elsewhere."""
    mixers = [n for n, stage in enumerate(chain.assembled.stages[:last]) if stage.kind == "mixer"]
    if not mixers:
        return []
    n = mixers[-1]
    stage, centre = chain.assembled.stages[n], chain.station.channel.centre.value
    if stage.frequency is None:
        return []
    about, lo = f"stage:{stage.name}", stage.frequency.value
    image = 2 * lo - centre if centre < 2 * lo else None
    found: list[Finding] = []
    terminals = last if chain.antenna is None else chain.antenna - 1
    behind = chain.levels[terminals].value - chain.levels[n].value
    filters = [
        (one.curve, link.gain_db)
        for one, link in zip(chain.assembled.stages[n + 1 :], chain.assembled.links[n + 1 :], strict=True)
        if one.curve is not None
    ]
    if not filters:
        return [
            not_known(
                about,
                "lo_leak_dbm",
                "dBm",
                "no filter with a response stands behind the mixer: oscillator and image "
                "reach the antenna as the amplifiers pass them. State a response, or width and poles.",
            )
        ]
    for key, frequency, start in (
        ("image_dbm", abs(image) if image is not None else abs(centre - 2 * lo), chain.levels[n].value),
        (
            "lo_leak_dbm",
            lo,
            None
            if stage.lo_level is None or stage.lo_isolation is None
            else stage.lo_level.value - stage.lo_isolation.value,
        ),
    ):
        if start is None:
            found.append(not_known(about, key, "dBm", "lo_level and lo_isolation of the mixer would make it knowable."))
            continue
        extra = sum(float(loss_at_db(curve, frequency)) + gain for curve, gain in filters)
        std = math.hypot(chain.levels[terminals].std, 3.0)
        value = start + behind - extra
        remark = (
            f"At {frequency / 1e6:.1f} MHz, filters take {extra:.0f} dB more than of the signal; amplifiers as "
            "at the channel."
        )
        if any(curve.assumed for curve, _ in filters):
            remark += " From a prototype held to 65 dB: unmeasured metal is not better (common practice)."
        found.append(_line(chain, about, key, value, std, limit, remark))
    return found
