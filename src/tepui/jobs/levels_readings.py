"""Readings against the plan: each judged, contradictions named, and the reading worth most next.

Theory  Within two standard uncertainties: carry on. Up to three: recheck. Beyond: stop; the reading is held back and
        its two explanations are named, the stage and the way it was read.
Source  prediction.readings.
Holds   Levels in dB.
"""

from tepui.ground.findings import Finding, Table, Value
from tepui.jobs.levels_chain import Chain
from tepui.jobs.levels_expected import expected_on
from tepui.jobs.plan_statements import caution, words
from tepui.prediction.detectors import crest_db
from tepui.prediction.readings import OUTLIER_SIGMA, RECHECK_SIGMA, Judged, LevelReading, NextReading, next_reading
from tepui.signals.detected import LINEAR_DB, LOG_DB
from tepui.station.assemble import is_outside, usual_doubt_db

SOURCE = "plan and readings together, Bayes' rule for Gaussian decibels"
LIKENESS_DB = 0.7
DRIVES_DOWN_DB = (6.0, 3.0, 0.0)
# How far a reading made so departs from the truth; pads slip either way.
_SLIPS = (
    *(
        (sign * size, f"a {what} of {size:g} dB {how}")
        for size, what in ((3.0, "pad or splitter"), (6.0, "pad"), (10.0, "pad"), (20.0, "pad"), (30.0, "pad"))
        for sign, how in ((-1, "forgotten"), (1, "counted that is not there"))
    ),
    (LOG_DB, "a logarithmic detector taken for a mean-power meter (2.5 dB)"),
    (LINEAR_DB, "a linear envelope detector taken for a mean-power meter (1.05 dB)"),
    (crest_db(), "peaks read in place of the mean (9.6 dB)"),
)


def verdict(judged: Judged) -> str:
    """Carry on, recheck or stop."""
    if not judged.accepted or judged.sigma > OUTLIER_SIGMA:
        return "stop"
    return "recheck" if judged.sigma > RECHECK_SIGMA else "carry on"


def explanations(chain: Chain, judged: Judged) -> str:
    """The two ways in which a reading may be beyond the plan: the stage, or the way it was read."""
    n = chain.index(judged.reading.point) or 0
    off = judged.departure_db
    parts = chain.nodes[n].level.contributions
    suspect = max(parts, key=lambda name: parts[name]) if parts else judged.reading.point
    name = judged.reading.point
    if off < 0:
        stage = f"{name} or a stage before it lacks {-off:.1f} dB (no supply, detuned, damaged, a bad joint"
    else:
        stage = f"{name} or a stage before it gives {off:.1f} dB more than stated (an oscillation, a stray signal"
    stage += f"; the largest doubt before it is that of {suspect})"
    slips = [text for size, text in _SLIPS if abs(off - size) <= LIKENESS_DB]
    way = f"the way it was read: {' or '.join(slips) if slips else 'pads, cable, range or detector'}"
    return f"Either {stage}; or {way}. It was not taken into the levels."


def reading_findings(chain: Chain) -> list[Finding]:
    """Each reading's verdict, contradictory pairs, and what to read next."""
    found: list[Finding] = []
    seen: set[str] = set()
    for judged in chain.updated.judged:
        about = f"point:after {judged.reading.point}"
        if about in seen:
            continue
        seen.add(about)
        same = [one for one in chain.updated.judged if one.reading.point == judged.reading.point]
        worst = max(same, key=lambda one: one.sigma if one.accepted else one.sigma + 100)
        said = (
            f"Read {worst.reading.level_dbm:.1f} dBm, expected {worst.expected.value:.1f} ± "
            f"{2 * worst.expected.std:.1f} dBm"
        )
        remark = f"{said}: {worst.sigma:.1f} standard uncertainties."
        if not worst.accepted:
            remark += f" {explanations(chain, worst)}"
        found.append(words(about, "reading_verdict", verdict(worst), source=SOURCE, remark=remark))
    pairs = [
        f'"{pair.first.text or pair.first.point}" and "{pair.second.text or pair.second.point}" cannot both be true: '
        f"{pair.difference_db:+.1f} dB lie between them and the stages there allow {pair.expected_db:+.1f} dB "
        f"({pair.sigma:.1f} standard uncertainties)."
        for pair in chain.updated.contradictions
    ]
    if pairs:
        remark = f"{' '.join(pairs)} Read them again with one instrument and the same pads."
        found.append(caution("station", "readings_contradict", remark, source=SOURCE))
    return [*found, *next_finding(chain)]


def limit_findings(chain: Chain) -> list[Finding]:
    """Stages whose stated highest input the level may pass."""
    found = []
    for n, stage in enumerate(chain.assembled.stages):
        if not n or stage.max_input is None:
            continue
        level = chain.levels[n - 1]
        if level.high > stage.max_input.value:
            found.append(
                caution(
                    f"stage:{stage.name}",
                    "input_above_limit",
                    f"may be given {level.high:.1f} dBm mean and bears {stage.max_input.text}: stop, and put a pad "
                    "before it.",
                )
            )
        elif level.high + crest_db() > stage.max_input.value:
            found.append(
                caution(
                    f"stage:{stage.name}",
                    "peaks_above_limit",
                    f"its mean input stays below {stage.max_input.text}, peaks of {level.high + crest_db():.1f} dBm "
                    "may not.",
                )
            )
    return found


def best_next(chain: Chain) -> NextReading | None:
    """The reading that takes away most doubt, among points not read yet and instruments that may be connected."""
    accepted = [one.reading for one in chain.updated.judged if one.accepted]
    read = {one.point for one in accepted}
    usual = usual_doubt_db("level", "measured") / 2
    candidates = []
    for n, link in enumerate(chain.assembled.links):
        if link.kind == "antenna" or link.name in read:
            continue
        fit = [one for one in chain.station.instruments if expected_on(chain, n, one).usable]
        if chain.station.instruments and not fit:
            continue
        for one in fit:
            std = usual if one.repeat is None else max(one.repeat.value / 2, 0.05)
            candidates.append(LevelReading(point=link.name, level_dbm=0.0, std_db=std, instrument=one.name))
        if not chain.station.instruments:
            candidates.append(LevelReading(point=link.name, level_dbm=0.0, std_db=usual))
    return next_reading(chain.model, accepted, candidates)


def _outside_first(chain: Chain) -> Finding | None:
    """The first stage used outside the frequencies its figures hold for that nobody has read yet."""
    read = {one.point for one in chain.readings}
    for n, stage in enumerate(chain.assembled.stages):
        if not n or stage.holds is None or stage.name in read or not is_outside(stage, chain.station):
            continue
        before = chain.assembled.links[n - 1].name
        inputs = [chain.levels[n - 1].value - down for down in DRIVES_DOWN_DB]
        drives = ", ".join(f"{one:.1f} dBm" for one in inputs)
        return words(
            "station",
            "next_reading",
            f"after {stage.name}",
            source="common practice: data outside their range are checked before they are built on",
            remark=f"Read its gain at three drives: behind {before} ({drives} expected) and behind {stage.name}, each "
            "with one instrument. Its figures are not for this frequency; the differences are its gain, and whether "
            "they stay alike tells how it bends.",
        )
    return None


def next_finding(chain: Chain) -> list[Finding]:
    """The reading worth most next, in words; first of all the gain of a stage used outside its data."""
    first = _outside_first(chain)
    if first is not None:
        return [first]
    best = best_next(chain)
    if best is None:
        return []
    how = f"on {best.instrument}" if best.instrument else f"to ± {2 * best.std_db:.1f} dB, with any mean-power meter"
    last = chain.assembled.links[-1].name
    return [
        words(
            "station",
            "next_reading",
            f"after {best.point}",
            source=SOURCE,
            remark=f"Read it {how}: of all readings still possible it takes away the most doubt, and leaves the "
            "level after "
            f"{last} known to ± {2 * best.last_after_db:.1f} dB in place of ± {2 * best.last_before_db:.1f} dB. ",
        )
    ]


def readings_table(chain: Chain) -> Table:
    """Every reading as it was given and how it stands."""
    columns = (
        ("point", ""),
        ("instrument", ""),
        ("read_dbm", "dBm"),
        ("doubt_db", "dB"),
        ("expected_dbm", "dBm"),
        ("departure_db", "dB"),
        ("sigma", "1"),
        ("reading_verdict", ""),
    )
    rows: list[tuple[Value, ...]] = [
        (
            f"after {one.reading.point}",
            one.reading.instrument,
            one.reading.level_dbm,
            2 * one.reading.std_db,
            one.expected.value,
            one.departure_db,
            one.sigma,
            verdict(one),
        )
        for one in chain.updated.judged
    ]
    return Table(name="level_readings", columns=columns, rows=tuple(rows))
