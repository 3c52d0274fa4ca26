"""MER of a reception: against what was sent where it decodes, from the pilots' scatter where it does not.

Theory  Decoded and encoded again, packets tell every point sent. Where most packets fail, points are guesses: nearest
        ones flatter. Pilots are known always; their scatter over the channel of each carrier is the error that data
        cells have, whether these can be read or not.
Source  [TR101290] 9.17; chain/reception/{follow,quality}.py.
Holds   The pilots' way sees what changes from symbol to symbol: noise, echoes beyond the guard, distortion. A discrete
        line is taken out of it.
"""

import numpy as np
import numpy.typing as npt

from tepui.chain.reception.quality import Quality
from tepui.chain.reception.runs import Run
from tepui.evidence.reception import mer, mer_of_pilots
from tepui.ground.doubt import Estimate
from tepui.ground.findings import Finding
from tepui.jobs.statements import bound, estimated, unknown

METHOD = "[TR101290] on data cells, tepui reception"
PILOTS = "scatter of the pilots, tepui reception"
LEAST_CLEAN = 0.9
# Below these, decisions to the nearest point are wrong often enough to flatter MER; from the uncoded error rate.
NEAREST_LIMIT_DB = {"QPSK": 12.0, "16QAM": 19.0, "64QAM": 25.0}


def mer_findings(about: str, runs: list[Run], quality: Quality, hits: npt.NDArray[np.bool_]) -> list[Finding]:
    """``mer_db`` and ``mer_without_lines_db`` of runs of one mode.

    hits  (K,) carriers hit by a line
    """
    mode = runs[0].mode
    if quality.symbols == 0 or mode is None:
        why = "No whole symbol could be judged: record more than a frame."
        return [unknown(about, key, "dB", source=METHOD, remark=why) for key in ("mer_db", "mer_without_lines_db")]
    found = []
    for key, left_out in (("mer_db", np.zeros_like(hits)), ("mer_without_lines_db", hits)):
        value = _over(quality, left_out)
        decoded = quality.clean_symbols >= LEAST_CLEAN * quality.pilot_symbols
        plain = value.value >= NEAREST_LIMIT_DB[mode.constellation] and quality.aided_symbols == 0
        remark = _hit_remark(hits) if key == "mer_without_lines_db" else ""
        if decoded:
            if not remark:
                remark = "Against re-encoded decisions, common phase removed." + _sampled(runs)
            found.append(estimated(about, key, value, "dB", source=METHOD, remark=remark))
        elif plain:
            remark = (remark + " Against the nearest points, which are hardly ever mistaken at this MER.").strip()
            found.append(estimated(about, key, value, "dB", source=METHOD, remark=remark))
        else:
            found.append(_by_pilots(about, key, quality, lined=bool(hits.any() and not left_out.any()), remark=remark))
    return found


def _over(quality: Quality, left_out: npt.NDArray[np.bool_]) -> Estimate:
    error = np.where(left_out, 0.0, quality.error_carrier)
    count = np.where(left_out, 0, quality.count_carrier)
    power = quality.power * count.sum() / max(quality.count_carrier.sum(), 1)
    return mer(power=power, error_carrier=error, count_carrier=count)


def _by_pilots(about: str, key: str, quality: Quality, *, lined: bool, remark: str) -> Finding:
    """What the pilots tell where decoding fails; with a line in the channel no more than that."""
    if not quality.pilot_symbols or quality.pilot_error <= 0:
        return unknown(about, key, "dB", source=PILOTS, remark="Neither data nor pilots tell: record more of it.")
    value = mer_of_pilots(quality.pilot_error / quality.pilot_symbols)
    why = "From the scatter of the pilots, since too much of it does not decode."
    if lined:
        return bound(
            about, key, value.value, "dB", sense="at_most", source=PILOTS, remark=f"{why} Lines are not counted in it."
        )
    return estimated(about, key, value, "dB", source=PILOTS, remark=f"{why} {remark}".strip())


def _sampled(runs: list[Run]) -> str:
    judged = sum(run.quality.symbols for run in runs if run.quality is not None)
    held = sum(run.symbols for run in runs)
    return f" Judged on {judged} of {held} symbols, spread over the time." if judged < 0.9 * held else ""


def _hit_remark(hits: npt.NDArray[np.bool_]) -> str:
    places = np.flatnonzero(hits)
    if places.size == 0:
        return "No carrier is hit by a line."
    edges = np.flatnonzero(np.diff(places) > 1)
    starts = places[np.concatenate([[0], edges + 1])]
    stops = places[np.concatenate([edges, [places.size - 1]])]
    names = [str(a) if a == b else f"{a}-{b}" for a, b in zip(starts, stops, strict=True)]
    more = f" and {len(names) - 12} more" if len(names) > 12 else ""
    return f"Left out {places.size} carriers: {', '.join(names[:12])}{more}."
