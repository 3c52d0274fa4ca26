"""The bring-up card: step by step from supplies to full drive, each with what to connect, expect and stop at.

Theory  Every step adds one unknown. A stage gets power only when what feeds it has been read, and drive only into a
        load that bears it. Amplifiers begin 20 dB down. Stop: outside the band, or above what the next stage bears.
Source  common practice; levels and bands by prediction.
Holds   Chains with a modulator first. The card replaces neither local codes nor licensed practice.
"""

import math

import scipy.constants

from tepui.ground.decibels import watts_from_dbm
from tepui.ground.findings import Finding, Table, Value
from tepui.jobs.levels_chain import Chain
from tepui.jobs.levels_expected import Expected, expected_on, watts_text
from tepui.jobs.plan_statements import caution
from tepui.prediction.bending import backoff_for_shoulder
from tepui.prediction.detectors import crest_db
from tepui.station.assemble import loads_of

DOWN_DB = 20.0
BOX = "[        ]"
SNR_KEPT_DB = 50.0  # thermal noise then costs nothing beside shoulders of 30 to 40 dB: own choice
COLUMNS = (
    ("step", "1"),
    ("what", ""),
    ("connection", ""),
    ("pad", ""),
    ("shown_dbm", "dBm"),
    ("shown_low_dbm", "dBm"),
    ("shown_high_dbm", "dBm"),
    ("stop_rule", ""),
    ("box", ""),
)
Row = tuple[str, str, str, float | None, float | None, float | None, str]


def card_table(chain: Chain) -> Table:
    """The card."""
    rows = [*_supply_rows(chain), *_stage_rows(chain)]
    return Table(name="card", columns=COLUMNS, rows=tuple((n, *row, BOX) for n, row in enumerate(rows, start=1)))


def _supply_rows(chain: Chain) -> list[Row]:
    loads = loads_of(chain.station)
    amplifiers = {stage.name for stage in chain.station.stages if stage.kind == "amplifier"}
    rails = sorted({load.voltage_v for load in loads})
    voltages = ", ".join(f"{rail:g} V" for rail in rails) or "each rail"
    rows: list[Row] = [
        (
            "supplies without RF",
            f"no stage connected; read {voltages} at its plug",
            "none",
            None,
            None,
            None,
            "stop if a rail is off by more than 5 %; switch off and discharge before reaching in",
        )
    ]
    small = [load for load in loads if load.name not in amplifiers]
    if small:
        words = ", ".join(f"{load.name} {load.current_a:.2g} A" for load in small)
        rows.append(
            (
                "supplies, small stages",
                f"amplifiers unplugged; currents: {words}",
                "none",
                None,
                None,
                None,
                "stop at half as much again",
            )
        )
    if any(stage.kind == "mixer" for stage in chain.station.stages):
        rows.append(
            (
                "oscillator",
                "oscillator alone into its load; frequency and lock",
                "none",
                None,
                None,
                None,
                "amplifiers stay off until it is locked",
            )
        )
    return rows


def _stage_rows(chain: Chain) -> list[Row]:
    rows: list[Row] = []
    for n, (link, stage) in enumerate(zip(chain.assembled.links, chain.assembled.stages, strict=True)):
        if link.kind == "antenna":
            rows.append(
                (
                    "antenna",
                    "only when all before is within its band: lock read, load replaced by the antenna",
                    "none",
                    None,
                    None,
                    None,
                    "nobody in the beam, at the feed or on the mast; identify, then raise the drive",
                )
            )
        elif link.kind == "amplifier":
            load_w = watts_from_dbm(chain.levels[n].high)
            load = f"into a load rated {watts_text(max(2 * load_w, 0.5))} or more"
            amp = f"{stage.name} {load}"
            rows.append(_row(chain, n, f"{amp}, drive {DOWN_DB:.0f} dB down", down_db=DOWN_DB))
            rows.append(_row(chain, n, f"{amp}, drive up in steps of 3 dB, currents watched"))
        else:
            rows.append(_row(chain, n, stage.name))
    return rows


def _row(chain: Chain, n: int, what: str, *, down_db: float = 0.0) -> Row:
    """One reading behind a stage on the instrument that suits it best."""
    following = chain.assembled.stages[n + 1] if n + 1 < len(chain.assembled.stages) else None
    level = chain.levels[n]
    stop = "stop outside the band"
    if following is not None and following.max_input is not None and following.kind != "antenna":
        stop += f", or where {following.name} would get more than {following.max_input.text}"
    choices = [expected_on(chain, n, one) for one in chain.station.instruments]
    best = min(choices, key=lambda one: (not one.usable, one.high - one.low), default=None)
    if best is None:
        return (
            what,
            f"after {chain.assembled.links[n].name}, mean power",
            _pad_words(level.high),
            level.value - down_db,
            level.low - down_db,
            level.high - down_db,
            stop,
        )
    return (
        what,
        f"after {best.point} into {best.instrument.name}",
        _pads(best, level.high),
        best.shown - down_db,
        best.low - down_db,
        best.high - down_db,
        stop,
    )


def _pads(one: Expected, level_high_dbm: float) -> str:
    return f"{one.pads_db + one.pads_needed_db:.0f} dB, {_pad_words(level_high_dbm)}"


def _pad_words(level_high_dbm: float) -> str:
    """Rating of the first pad: mean power doubled, peaks named."""
    mean_w = watts_from_dbm(level_high_dbm)
    if mean_w < 0.1:
        return "any pad"
    return f"first pad {watts_text(2 * mean_w)} mean, {watts_text(watts_from_dbm(level_high_dbm + crest_db()))} peaks"


def card_findings() -> list[Finding]:
    """What stands at the head of the card."""
    return [
        caution(
            "station",
            "bring_up",
            "Loads and pads rated for the power; never an amplifier without its load; oscillator locked before any "
            "amplifier "
            "is fed; mains covered; local codes, the licence and licensed practice come first.",
            source="common practice",
        )
    ]


def shopping_table(chain: Chain) -> Table:
    """Every stage still wanted, with the properties any part must have."""
    columns = (
        ("stage", ""),
        ("kind", ""),
        ("gain_db", "dB"),
        ("input_high_dbm", "dBm"),
        ("mean_output_dbm", "dBm"),
        ("p1db_least_dbm", "dBm"),
        ("noise_figure_most_db", "dB"),
        ("rail_v", "V"),
        ("remark", ""),
    )
    rows: list[tuple[Value, ...]] = []
    main = chain.station.supply.voltage
    target = chain.station.target.shoulder
    for n, (link, stage) in enumerate(zip(chain.assembled.links, chain.assembled.stages, strict=True)):
        if not stage.wanted:
            continue
        level = chain.levels[n]
        before = chain.levels[n - 1].high if n else None
        active = link.kind == "amplifier"
        rail = stage.supply or main
        least = None if not active else level.value + _backoff_for(None if target is None else target.value)
        noise = None if not active or not n else _noise_figure_most_db(chain, n)
        words = f"bears peaks of {before + crest_db():.0f} dBm at its input" if before is not None else "first stage"
        rows.append(
            (
                stage.name,
                stage.kind,
                link.gain_db if n else None,
                before,
                level.value,
                least,
                noise,
                rail.value if active and rail is not None else None,
                words,
            )
        )
    return Table(name="to_buy", columns=columns, rows=tuple(rows))


def _noise_figure_most_db(chain: Chain, n: int) -> float:
    """Noise figure that leaves SNR_KEPT_DB at the lowest input foreseen, between 1 and 15 dB. [dB]"""
    floor_dbm = 10 * math.log10(scipy.constants.k * 290 * chain.mode.occupied_width_hz * 1e3)
    return min(max(chain.levels[n - 1].low - floor_dbm - SNR_KEPT_DB, 1.0), 15.0)


def _backoff_for(target_db: float | None) -> float:
    """Back-off from P1dB that a transistor in class AB needs for a shoulder; -32 dB where none is asked. [dB]"""
    return backoff_for_shoulder(-32.0 if target_db is None else target_db)
