"""The one formatter of a finding for people: a number never stands without its doubt, nor shows more than it knows.

Theory  The doubt is rounded to two significant digits and the value to the same decimal place. A bound is rounded
        away from what it excludes, so that the shown statement stays true. An interval that is lopsided by more
        than a tenth is shown by its ends.
Source  [GUM] 7.2.6: uncertainties to at most two significant digits, the estimate consistent with them. [SI9] 3:
        the prefixes. The tenth is our own choice.
Holds   Numbers as Finding holds them; prefixes from pico to tera, for the units in ``PREFIXED`` only.
"""

import math
from dataclasses import dataclass

from tepui.ground.findings import Finding, Value

PREFIXED = ("Hz", "bit/s", "s", "m", "W", "V", "A", "F", "H")
PREFIXES = {-12: "p", -9: "n", -6: "µ", -3: "m", 0: "", 3: "k", 6: "M", 9: "G", 12: "T"}
STANDING_WORDS = {
    "measured": "measured",
    "computed": "computed",
    "given": "given, not checked",
    "at_most": "bound",
    "at_least": "bound",
    "unknown": "unknown",
}
DOUBT_DIGITS = 2
EXACT_DIGITS = 9
BOUND_DIGITS = 3
LOPSIDED = 0.1
SMALL, LARGE = 1e-3, 1e6
UNITS = "hz s db dbm dbc dbi dbchz m m2 ppm bps w v a deg degc ohm k wm2 dbuvm h f"
CAPITALS = "mer ber fft snr rms iq dc ts pcr tps cn evm eirp pep icnirp cfr ccdf lo if vco pfd"
UNIT_PARTS = tuple(UNITS.split())
WORDS = {
    **{word: word.upper() for word in CAPITALS.split()},
    "dvbt": "DVB-T",
    "viterbi": "Viterbi",
    "q": "Q",
    "3db": "3 dB",
}
LABELS = {"worst_m": "Worst m", "occupied_width_99_hz": "99 % occupied width", "crest_0_01pct_db": "Crest at 0.01 %"}


@dataclass(frozen=True, kw_only=True)
class Scale:
    """How numbers of one unit are shown: divided by 10**exponent, followed by ``unit``."""

    exponent: int
    unit: str


NO_SCALE = Scale(exponent=0, unit="")


def label_text(key: str) -> str:
    """A key in words, without the unit it ends in.

    >>> label_text("mer_without_lines_db"), label_text("ber_before_viterbi")
    ('MER without lines', 'BER before Viterbi')
    """
    if key in LABELS:
        return LABELS[key]
    parts = key.split("_")
    if len(parts) > 1 and parts[-1] in UNIT_PARTS:
        parts = parts[:-1]
    words = " ".join(WORDS.get(part, part) for part in parts)
    return words[:1].upper() + words[1:]


def value_text(finding: Finding) -> str:
    """The value with its doubt and unit, or the bound in words.

    ``21.40 ± 0.12 dB``, ``at most 1.3e-07``, ``5.0 µs (4.0 to 9.0)``, ``yes``, ``unknown``
    """
    value, doubt, scale = _shown(finding)
    if doubt.startswith("±"):
        return _spaced(f"{value} {doubt}", scale)
    return f"{_spaced(value, scale)} {doubt}".rstrip()


def value_parts(finding: Finding) -> tuple[str, str, str]:
    """The words of ``value_text`` apart, for a page that sets them in different sizes: value, doubt, unit.

    A bound keeps "at most" or "at least" with its value; a lopsided interval is the doubt, in brackets. A power of
    ten stays with each number.
    """
    value, doubt, scale = _shown(finding)
    if scale.unit.startswith("e"):
        return value + scale.unit, f"{doubt}{scale.unit}" if doubt.startswith("±") else doubt, ""
    return value, doubt, scale.unit


def _shown(finding: Finding) -> tuple[str, str, Scale]:
    """Value and doubt as numbers in words, and the scale both are shown in."""
    if finding.standing == "unknown":
        return "unknown", "", NO_SCALE
    if not finding.is_number:
        return cell_text(finding.value), "", NO_SCALE
    value = float(finding.value)  # type: ignore[arg-type]
    if finding.standing in ("at_most", "at_least"):
        up = finding.standing == "at_most"
        scale = scale_for(value, finding.unit)
        return f"at {'most' if up else 'least'} {_bound(value, scale, up=up)}", "", scale
    assert finding.low is not None
    assert finding.high is not None
    below, above = value - finding.low, finding.high - value
    doubt = max(below, above)
    scale = scale_for(value if abs(value) >= doubt else doubt, finding.unit)
    if doubt == 0.0:
        return _exact(finding.value, scale), "", scale
    if abs(below - above) <= LOPSIDED * doubt:
        decimals = _decimals(_shrunk(doubt, scale))
        return _fixed(value, decimals, scale), f"± {_fixed(doubt, decimals, scale)}", scale
    decimals = _decimals(_shrunk((below + above) / 2, scale))
    power = scale.unit if scale.unit.startswith("e") else ""
    ends = " to ".join(_fixed(end, decimals, scale) + power for end in (finding.low, finding.high))
    return _fixed(value, decimals, scale), f"({ends})", scale


def limit_text(finding: Finding) -> str:
    """The limit, whose it is and whether it is met; empty where there is none."""
    if finding.limit is None:
        return ""
    sense = {"at_most": "at most ", "at_least": "at least "}.get(finding.limit_sense or "", "")
    whose = f" ({finding.limit_source})" if finding.limit_source else ""
    text = f"limit {sense}{cell_text(finding.limit, scale_for(finding.limit, finding.unit))}{whose}"
    if finding.margin is None:
        return text
    scale = scale_for(finding.margin, finding.unit)
    margin = _spaced(_bound(abs(finding.margin), scale, up=finding.margin < 0), scale)
    if finding.margin == 0:
        return f"{text}: just met"
    inside = [end for end in (finding.low, finding.high) if end is not None]
    unsure = len(inside) == 2 and min(inside) < finding.limit < max(inside)
    if finding.margin < 0 and finding.standing == finding.limit_sense:
        return f"{text}: not shown to be met, {margin} are lacking"
    verdict = f"{'met' if finding.margin > 0 else 'missed'} by {margin}"
    return f"{text}: {verdict}{', which is less than the doubt' if unsure else ''}"


def cell_text(value: Value, scale: Scale | None = None) -> str:
    """A value without a doubt: yes or no, text, a whole number, or up to nine digits; a dash for what is not known."""
    if value is None:
        return "-"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return value
    if scale is None:
        return f"{value:.{EXACT_DIGITS}g}" if isinstance(value, float) else str(value)
    return _spaced(_exact(value, scale), scale)


def scale_for(size: float, unit: str) -> Scale:
    """The prefix under which ``size`` reads between 1 and 1000, or a power of ten for a bare ratio."""
    magnitude = abs(size)
    if magnitude == 0.0 or not math.isfinite(magnitude):
        return Scale(exponent=0, unit="" if unit == "1" else unit)
    if unit in PREFIXED:
        exponent = min(max(3 * math.floor(math.log10(magnitude) / 3 + 1e-12), min(PREFIXES)), max(PREFIXES))
        return Scale(exponent=exponent, unit=PREFIXES[exponent] + unit)
    if unit == "1" and not (SMALL <= magnitude < LARGE or magnitude == int(magnitude)):
        exponent = math.floor(math.log10(magnitude))
        return Scale(exponent=exponent, unit=f"e{exponent:+03d}")
    return Scale(exponent=0, unit="" if unit == "1" else unit)


def _exact(value: Value, scale: Scale) -> str:
    if isinstance(value, int) and scale.exponent == 0:
        return str(value)
    return f"{_shrunk(float(value), scale):.{EXACT_DIGITS}g}"  # type: ignore[arg-type]


def _bound(value: float, scale: Scale, *, up: bool) -> str:
    shown = _shrunk(value, scale)
    if shown == 0.0:
        return "0"
    decimals = max(0, BOUND_DIGITS - 1 - math.floor(math.log10(abs(shown))))
    steps = shown * 10.0**decimals
    whole = round(steps)
    if not math.isclose(steps, whole, rel_tol=1e-12):
        whole = math.ceil(steps) if up else math.floor(steps)
    return f"{whole / 10.0**decimals:.{decimals}f}"


def _shrunk(value: float, scale: Scale) -> float:
    return value / 10.0**scale.exponent if scale.exponent >= 0 else value * 10.0**-scale.exponent


def _decimals(doubt: float) -> int:
    """Decimal places that leave a doubt two significant digits; negative before the decimal point."""
    place = math.floor(math.log10(doubt))
    if round(doubt / 10.0**place, DOUBT_DIGITS - 1) >= 10.0:
        place += 1
    return DOUBT_DIGITS - 1 - place


def _fixed(value: float, decimals: int, scale: Scale) -> str:
    rounded = round(_shrunk(value, scale), decimals) + 0.0  # + 0.0 turns -0.0 into 0.0
    return f"{rounded:.{max(decimals, 0)}f}"


def _spaced(number: str, scale: Scale) -> str:
    if not scale.unit:
        return number
    if scale.unit.startswith("e"):
        return f"({number}){scale.unit}" if " ± " in number else f"{number}{scale.unit}"
    return f"{number} {scale.unit}"
