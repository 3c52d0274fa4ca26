"""What each point should show on each instrument, with the band to accept and what to mind first.

Theory  Shown = level at the point - pads + the detector's factor. The band holds 95 %: level, the instrument's own
        offset and scatter, and the detector's. Peaks, not the mean, must stay below what a connector bears.
Source  prediction.detectors; peaks 9.64 dB above the mean for 1e-4 of the time.
Holds   Points before the antenna.
"""

import math
from dataclasses import dataclass

from tepui.ground.decibels import watts_from_dbm
from tepui.ground.findings import Finding, Table, Value
from tepui.jobs.levels_chain import Chain, offset_std_db
from tepui.jobs.plan_statements import caution, words
from tepui.prediction.detectors import crest_db
from tepui.station.instruments import Instrument
from tepui.station.order import stage_inputs_hz
from tepui.station.reading_text import pads_db, shown_by

PAD_STEP_DB = 10.0
SPARE_DB = 3.0  # kept below a connector's limit


@dataclass(frozen=True, kw_only=True)
class Expected:
    """One point on one instrument.

    shown       what it should show through ``pads_db``, with the ends of the band to accept [dBm]
    pads_needed more attenuation than stated, for the peaks [dB]
    minds       what to mind before connecting
    """

    point: str
    instrument: Instrument
    shown: float
    low: float
    high: float
    pads_db: float
    pads_needed_db: float
    minds: tuple[str, ...]
    why: str
    usable: bool = True


def expected_readings(chain: Chain) -> list[Expected]:
    """Every point before the antenna on every instrument."""
    found = []
    for n, link in enumerate(chain.assembled.links):
        if link.kind != "antenna":
            found += [expected_on(chain, n, one) for one in chain.station.instruments]
    return found


def expected_on(chain: Chain, n: int, instrument: Instrument) -> Expected:
    """One point on one instrument."""
    level, name = chain.levels[n], chain.assembled.links[n].name
    pads = pads_to_use_db(level.high, instrument)
    at = level.value - pads
    shown = shown_by(instrument, input_dbm=at, occupied_hz=chain.mode.occupied_width_hz)
    scatter = 0.0 if instrument.repeat is None else instrument.repeat.value / 2
    std = math.sqrt(level.std**2 + offset_std_db(instrument) ** 2 + scatter**2 + shown.std_db**2)
    minds, needed, usable = _minds(chain, n, instrument, pads)
    return Expected(
        point=name,
        instrument=instrument,
        shown=at + shown.offset_db,
        low=at + shown.offset_db - 2 * std,
        high=at + shown.offset_db + 2 * std,
        pads_db=pads,
        pads_needed_db=needed,
        minds=tuple(minds),
        why=shown.why,
        usable=usable,
    )


def pads_to_use_db(level_high_dbm: float, instrument: Instrument) -> float:
    """As many of an instrument's pads, in tens, as its connector needs for the peaks; all if its limit is unknown."""
    stated = pads_db(instrument)
    if instrument.max_input is None or stated == 0:
        return stated
    over = level_high_dbm + crest_db() + SPARE_DB - instrument.max_input.value
    return min(max(PAD_STEP_DB * math.ceil(over / PAD_STEP_DB), 0.0), stated)


def _minds(chain: Chain, n: int, instrument: Instrument, pads: float) -> tuple[list[str], float, bool]:
    """What to mind before connecting, pads that are missing, and whether it may be connected as it is."""
    level, link = chain.levels[n], chain.assembled.links[n]
    minds: list[str] = []
    needed, usable = 0.0, True
    peak = level.high + crest_db() - pads
    if instrument.max_input is not None and peak > instrument.max_input.value:
        needed = PAD_STEP_DB * math.ceil((peak + SPARE_DB - instrument.max_input.value) / PAD_STEP_DB)
        usable = False
        minds.append(
            f"peaks may reach {peak:.0f} dBm at its connector and it bears {instrument.max_input.text}: add "
            f"{needed:.0f} dB"
        )
    if instrument.max_input is None and instrument.is_receiver:
        minds.append("its highest input is not stated: begin with all pads you have")
    mean_w = watts_from_dbm(level.high)
    if instrument.pad_power is not None and mean_w > instrument.pad_power.value:
        usable = False
        minds.append(f"the first pad must bear {watts_text(mean_w)} and is rated {instrument.pad_power.text}")
    elif instrument.pad_power is None and mean_w > 0.2:
        minds.append(f"the first pad must be rated for {watts_text(mean_w)} mean")
    frequency = _frequency_behind(chain, n)
    if (
        instrument.tunes
        and frequency is not None
        and not any((one.low or one.value) <= frequency <= (one.high or one.value) for one in instrument.tunes)
    ):
        usable = False
        minds.append(f"it does not work at {frequency / 1e6:.0f} MHz")
    if instrument.min_input is not None and level.low - pads < instrument.min_input.value:
        usable = False
        minds.append(f"it shows no less than {instrument.min_input.text}")
    if link.kind == "amplifier" and level.high > 20:
        minds.append("never run the amplifier without its load")
    return minds, needed, usable


def watts_text(power_w: float) -> str:
    """A rating in watts, to two digits.

    >>> watts_text(112.3), watts_text(0.503)
    ('110 W', '0.5 W')
    """
    return f"{float(f'{power_w:.2g}'):g} W"


def _frequency_behind(chain: Chain, n: int) -> float | None:
    """Centre of the signal behind a stage. [Hz]"""
    inputs = stage_inputs_hz(chain.station)
    names = [stage.name for stage in chain.station.stages]
    return inputs[names[n + 1]] if n + 1 < len(names) else chain.station.channel.centre.value


def expected_table(chain: Chain) -> Table:
    """All of them."""
    columns = (
        ("point", ""),
        ("instrument", ""),
        ("shown_dbm", "dBm"),
        ("shown_low_dbm", "dBm"),
        ("shown_high_dbm", "dBm"),
        ("pads_db", "dB"),
        ("pads_needed_db", "dB"),
        ("before_connecting", ""),
        ("why", ""),
    )
    rows: list[tuple[Value, ...]] = []
    for one in expected_readings(chain):
        before = "; ".join(one.minds)
        name = one.instrument.name
        rows.append(
            (f"after {one.point}", name, one.shown, one.low, one.high, one.pads_db, one.pads_needed_db, before, one.why)
        )
    return Table(name="expected_readings", columns=columns, rows=tuple(rows))


def expected_findings(chain: Chain) -> list[Finding]:
    """Cautions before connecting, and what to buy first where the station has no instrument."""
    found: list[Finding] = []
    for one in expected_readings(chain):
        if one.pads_needed_db:
            found.append(
                caution(
                    f"point:after {one.point}",
                    "pads_needed",
                    f"{one.instrument.name}: {one.minds[0]}.",
                    source="peaks 9.64 dB above the mean, and the doubt of the level",
                )
            )
    seen: set[str] = set()
    unique = []
    for finding in found:
        if finding.about not in seen:
            seen.add(finding.about)
            unique.append(finding)
    if not any(one.is_receiver for one in chain.station.instruments):
        unique.append(
            words(
                "station",
                "instrument_first",
                "a narrow receiver and rated pads",
                source="common practice",
                remark="No instrument of the station shows a shoulder or an MER: this one cheapest buy reads "
                "shoulders, MER "
                "and lines, and levels to some decibels.",
            )
        )
    return unique
