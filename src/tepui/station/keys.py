"""The keys of the station file as a page of words, made from the rules: what docs/station.md repeats.

Theory  One row a key: the key, what it may hold, its meaning.
Source  station.rules.
Holds   Format 1.
"""

from tepui.ground.units import KINDS
from tepui.station.nouns import LISTED, SINGLE
from tepui.station.rules import Rule, rules_of
from tepui.station.stages import STAGE_KINDS


def keys_text() -> str:
    """Every table with its keys, as Markdown."""
    blocks = []
    for table, (noun, _) in {**SINGLE, **LISTED}.items():
        title = f"[{table}]" if table in SINGLE else f"[[{table}]]"
        staged = table == "stage"
        head = (
            "| key | of | holds | meaning |\n|---|---|---|---|"
            if staged
            else "| key | holds | meaning |\n|---|---|---|"
        )
        rows = []
        for key, rule in rules_of(noun).items():
            needed = " (needed)" if rule.required else ""
            kinds = f" {_kinds(rule)} |" if staged else ""
            rows.append(f"| `{key}`{needed} |{kinds} {_holds(rule)} | {rule.meaning} |")
        blocks.append(f"### `{title}`\n\n{head}\n" + "\n".join(rows))
    return "\n\n".join(blocks) + "\n"


def _kinds(rule: Rule) -> str:
    if not rule.stages:
        return "all"
    missing = [kind for kind in STAGE_KINDS if kind not in rule.stages]
    return f"all but {', '.join(missing)}" if 0 < len(missing) <= 3 else ", ".join(rule.stages)


def _holds(rule: Rule) -> str:
    """What a key holds, with an example where there is one."""
    if rule.form == "choice":
        return ", ".join(f'"{one}"' for one in rule.choices)
    if rule.form in ("figure", "ranges"):
        kind = KINDS[rule.kind]
        noun = kind.noun.partition(" ")[2]
        units = ", ".join(kind.units) or "no unit"
        several = "ranges of " if rule.form == "ranges" else ""
        example = f', such as "{rule.example}"' if rule.example else ""
        return f"{several}{noun} ({units}){example}"
    words = {
        "text": "text",
        "locator": "Maidenhead locator",
        "coordinates": f'place, such as "{rule.example}"',
        "count": "whole number",
        "number": "number",
        "flag": "true or false",
        "points": "list of rows",
        "file": '"amplifier.csv"',
        "response": '"0.7 dB", "filter.s2p", "loss.csv" or [[MHz, dB], ...]',
        "exposure": '"6.4 W/m2" or "f/200 W/m2"',
    }
    example = f", such as {rule.example}" if rule.example and rule.form == "points" else ""
    return words[rule.form] + example
