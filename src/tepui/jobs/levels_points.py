"""Findings of each test point and each stage: level, peaks, distortion, and what about a stage cannot be said.

Theory  A shoulder is stated where every active stage before the point has a model that deserves it, else it is unknown
        with the reading that would settle it: P1dB of a data sheet says where a single carrier loses 1 dB, not how the
        amplifier bends before. An interval wider than 10 dB gives a bound, no figure.
Source  prediction.cascade, bending and quality; [TR101290] 9.7 and 9.16 for what is predicted.
Holds   Levels without compression, which is stated beside them.
"""

import math

from tepui.ground.doubt import COVERAGE_FACTOR
from tepui.ground.findings import Finding, Table, Value
from tepui.jobs.levels_chain import Chain
from tepui.jobs.plan_statements import caution, computed, from_estimate, not_known, words
from tepui.prediction.bending import DEEPEST_DB, Bend
from tepui.prediction.detectors import crest_db
from tepui.prediction.quality import Ends, Quality
from tepui.station.assemble import is_outside
from tepui.station.stages import Stage

LEVELS = "sum of levels and gains in dB; doubts as root of squares [GUM] 5.1"
BENDING = "memoryless model of each stage, shoulder as [TR101290] 9.7 reads it"
WIDEST_DB = 10.0  # of an interval on which a claim can stand
MIXER_MARGIN_DB = 17.0  # drive below the oscillator at which a ring adds no shoulder to speak of
COMPRESSION_SAID_DB = 0.3
SIDES_SAID_DB = 0.3  # difference of the shoulders from which both are told


def point_findings(chain: Chain) -> list[Finding]:
    """Level, peaks, shoulder and MER behind every stage."""
    found: list[Finding] = []
    for n, (link, node, level, quality) in enumerate(
        zip(chain.assembled.links, chain.nodes, chain.levels, chain.quality, strict=True)
    ):
        about = f"point:after {link.name}"
        radiated = link.kind == "antenna"
        worst = f"Worst case {node.level.value - node.worst_db:.1f} to {node.level.value + node.worst_db:.1f} dBm"
        remark = f"{worst}{' before readings' if chain.readings else ''}."
        if radiated:
            remark += " This is the mean radiated power over an isotropic antenna."
        found.append(from_estimate(about, "level_dbm", level, "dBm", source=LEVELS, remark=remark))
        crest = crest_db()
        found.append(
            computed(
                about,
                "peak_dbm",
                level.value + crest,
                "dBm",
                low=level.low + crest,
                high=level.high + crest,
                source=f"envelope exceeded for 1e-4 of the time, {crest:.2f} dB above the mean",
            )
        )
        if node.noise_dbm is not None and n:
            found.append(
                computed(
                    about,
                    "snr_db",
                    level.value - node.noise_dbm,
                    "dB",
                    low=level.low - node.noise_dbm,
                    high=level.high - node.noise_dbm,
                    source="noise figures by Friis, in the occupied width",
                )
            )
        if n and not radiated:
            found += quality_findings(chain, about, quality)
    if chain.assembled.missing is not None:
        name, key = chain.assembled.missing
        found.append(
            not_known(
                f"point:after {name}",
                "level_dbm",
                "dBm",
                f"{key} of stage {name} is not stated, so no level from here on can be said; a data sheet, a part of "
                "the "
                "library, or one reading here would settle it.",
            )
        )
    return found


def quality_findings(chain: Chain, about: str, quality: Quality) -> list[Finding]:
    """Shoulder and MER together at a point, or why not."""
    shoulder, voltages = quality.shoulder_powers_db, quality.shoulder_voltages_db
    reason = claim_refused(chain, quality)
    if reason:
        n = chain.index(quality.name) or 0
        before = next((one for one in chain.quality[:n] if one.missing and claim_refused(chain, one) == reason), None)
        if before is not None and n != chain.output:
            reason = f"as after {before.name}: {reason.partition(':')[0]}."
        return [
            not_known(about, "shoulder_worst_db", "dB", reason, source=BENDING),
            not_known(about, "mer_db", "dB", reason, source=BENDING),
        ]
    if not math.isfinite(shoulder[1]):
        return []
    found = [_shoulder(chain, about, quality)]
    if voltages[1] > DEEPEST_DB and not quality.beyond and shoulder[2] - shoulder[0] <= WIDEST_DB:
        found.append(
            computed(
                about,
                "shoulder_voltages_db",
                voltages[1],
                "dB",
                low=voltages[0],
                high=voltages[2],
                source=BENDING,
            )
        )
    return [*found, *_sides(about, quality), mer_finding(chain, about, quality)]


def _sides(about: str, quality: Quality) -> list[Finding]:
    """Both shoulders, where a filter or an amplifier with memory makes them differ."""
    lower, upper = quality.shoulder_sides_db
    if quality.beyond or abs(lower[1] - upper[1]) < SIDES_SAID_DB or max(lower[1], upper[1]) <= DEEPEST_DB:
        return []
    return [
        computed(about, key, side[1], "dB", low=side[0], high=side[2], source=BENDING)
        for key, side in (("shoulder_lower_db", lower), ("shoulder_upper_db", upper))
        if side[2] - side[0] <= WIDEST_DB
    ]


def _shoulder(chain: Chain, about: str, quality: Quality) -> Finding:
    """Stages together as powers; where the interval is too wide for a figure, the end it stays below."""
    low, value, high = quality.shoulder_powers_db
    target = chain.station.target.shoulder
    limit = None if target is None else target.value
    whose = None if target is None else "the operator's target"
    if quality.beyond:
        return Finding(
            about=about,
            key="shoulder_worst_db",
            value=low,
            unit="dB",
            low=low,
            standing="at_least",
            source=BENDING,
            remark=f"{' and '.join(quality.beyond)} driven beyond what the model holds for: it is this bad or worse.",
            limit=limit,
            limit_sense=None if limit is None else "at_most",
            limit_source=whose,
            margin=None if limit is None else limit - low,
        )
    if value <= DEEPEST_DB or high - low > WIDEST_DB:
        said = "" if value <= DEEPEST_DB else f"The plan allows anything from {max(low, DEEPEST_DB):.0f} dB on. "
        return Finding(
            about=about,
            key="shoulder_worst_db",
            value=max(high, DEEPEST_DB),
            unit="dB",
            high=max(high, DEEPEST_DB),
            standing="at_most",
            source=BENDING,
            remark=f"{said}A reading of this level or of the shoulder itself narrows it.",
            limit=limit,
            limit_sense=None if limit is None else "at_most",
            limit_source=whose,
            margin=None if limit is None else limit - max(high, DEEPEST_DB),
        )
    return computed(
        about,
        "shoulder_worst_db",
        value,
        "dB",
        low=low,
        high=high,
        source=BENDING,
        remark=f"Stages together as powers; as voltages {quality.shoulder_voltages_db[1]:.1f} dB.",
        limit=limit,
        limit_source=whose,
    )


def mer_finding(chain: Chain, about: str, quality: Quality) -> Finding:
    """MER of all terms; a bound where a term is not known."""
    low, value, high = quality.mer_powers_db
    names = {term.name for term in quality.terms}
    kinds = {link.kind for link in chain.assembled.links[: 1 + (chain.index(quality.name) or 0)]}
    lacking = [] if "modulator" in names else ["mer of the modulator"]
    if "mixer" in kinds and "phase noise" not in names:
        lacking.append("oscillator_mer or phase_noise of the mixer")
    if quality.beyond:
        lacking.append(f"how {' and '.join(quality.beyond)} bends at this drive")
    if lacking:
        return Finding(
            about=about,
            key="mer_db",
            value=float(high),
            unit="dB",
            high=float(high),
            standing="at_most",
            source=BENDING,
            remark=f"A bound only: {' and '.join(lacking)} not known.",
        )
    if high - low > WIDEST_DB:
        return Finding(
            about=about,
            key="mer_db",
            value=float(low),
            unit="dB",
            low=float(low),
            standing="at_least",
            source=BENDING,
            remark="A bound only: the plan is too wide for a figure.",
        )
    return computed(
        about,
        "mer_db",
        value,
        "dB",
        low=low,
        high=high,
        source="[TR101290] 9.16; errors of all stages as powers",
        remark=f"With distortions as voltages {quality.mer_voltages_db[1]:.1f} dB.",
    )


def claim_refused(chain: Chain, quality: Quality) -> str:
    """Why no shoulder can be stated at a point; empty where it can."""
    settle = "a narrow receiver with rated pads, read at this point at three drives, would settle it."
    if quality.missing:
        names = " and ".join(quality.missing)
        return f"nothing is known of the distortion of {names}: oip3, p1db or saturated from a data sheet, or {settle}"
    n = chain.index(quality.name) or 0
    sees = any(one.is_receiver for one in chain.station.instruments)
    weak = [link.name for link in chain.assembled.links[: n + 1] if link.bend is not None and link.bend.weak]
    if weak and not sees:
        return (
            f"p1db of {' and '.join(weak)} says where a single carrier loses 1 dB, not how the stage bends before, "
            "and no "
            f"instrument of the station shows a shoulder; {settle}"
        )
    return ""


def stage_findings(chain: Chain) -> list[Finding]:
    """What is said of each stage itself."""
    found: list[Finding] = []
    for n, (link, stage, quality) in enumerate(
        zip(chain.assembled.links, chain.assembled.stages, chain.quality, strict=True)
    ):
        about = f"stage:{link.name}"
        if link.assumed:
            found.append(
                caution(
                    about,
                    "doubt_missing",
                    f"its {'level' if link.kind == 'modulator' else 'gain or loss'} has no doubt stated; the usual "
                    f"± {2 * link.std_db:.1f} dB is taken (common practice). State one, or read it.",
                    source="tables/assumed_doubts, common practice",
                )
            )
        if chain.readings and n:
            gain = chain.updated.gains[n]
            found.append(from_estimate(about, "gain_db", gain, "dB", source="plan and readings together, Bayes' rule"))
        if n and stage.holds is not None and is_outside(stage, chain.station):
            if not chain.readings:
                found.append(_given_gain(about, link.gain_db, link.std_db))
            found.append(
                caution(
                    about,
                    "outside_data",
                    "is used outside the frequencies its figures hold for: they are kept as given with doubled "
                    "doubt. Read "
                    "its gain first, at three drives 3 dB apart.",
                )
            )
        if quality.bent is not None and link.bend is not None:
            found += _bend_findings(chain, n, stage, quality, link.bend)
    return found


def _given_gain(about: str, gain_db: float, std_db: float) -> Finding:
    """The gain of a stage outside the range its data hold for: as given, with doubled doubt."""
    half = COVERAGE_FACTOR * std_db
    return Finding(
        about=about,
        key="gain_db",
        value=gain_db,
        unit="dB",
        low=gain_db - half,
        high=gain_db + half,
        standing="given",
        source="the station file, its doubt doubled: common practice",
    )


def _bend_findings(chain: Chain, n: int, stage: Stage, quality: Quality, bend: Bend) -> list[Finding]:
    about = f"stage:{stage.name}"
    bent = quality.bent
    assert bent is not None
    found = [words(about, "amplifier_model", bend.why, source=BENDING)]
    level = chain.levels[n]
    if stage.p1db is not None:
        std = math.hypot(level.std, stage.p1db.std or 0.0)
        backoff = stage.p1db.value - level.value
        found.append(
            computed(
                about,
                "backoff_db",
                backoff,
                "dB",
                low=backoff - 2 * std,
                high=backoff + 2 * std,
                source="P1dB less the mean output",
                remark="" if stage.p1db.std is not None else "P1dB is taken as stated, without doubt.",
            )
        )
    if bent.compression_db > COMPRESSION_SAID_DB and bend.model != "ring" and not bend.weak:
        found.append(
            computed(
                about,
                "compression_db",
                bent.compression_db,
                "dB",
                source=BENDING,
                low=0.0,
                high=2 * bent.compression_db,
                remark="The mean output will be less than the sum of the gains by about this.",
            )
        )
    if bent.extrapolated:
        found.append(
            caution(
                about,
                "model_extrapolated",
                "is driven beyond what its model holds for; take its shoulder as a lower bound.",
            )
        )
    if bend.model == "ring":
        found += _ring_findings(chain, n, stage)
    return found


def _ring_findings(chain: Chain, n: int, stage: Stage) -> list[Finding]:
    """Whether the drive is too much for the ring, and which pad helps."""
    assert stage.lo_level is not None
    drive, most = chain.levels[n - 1], stage.lo_level.value - MIXER_MARGIN_DB
    quality = chain.quality[n].bent
    assert quality is not None
    over = drive.value - most
    source = "tables/mixer_ofdm_drive, moved by what a measured ring compresses earlier"
    about = f"stage:{stage.name}"
    found = [
        computed(
            about,
            "drive_dbm",
            drive.value,
            "dBm",
            low=drive.low,
            high=drive.high,
            source=source,
            limit=most,
            limit_source="17 dB below the oscillator: the ring then adds nothing to speak of",
        )
    ]
    if over > 0.05:
        pad = math.ceil(over - 1e-9)
        hopeless = quality.shoulder_db[1] > -28
        found.append(
            computed(
                about,
                "pad_advised_db",
                float(pad),
                "dB",
                source=source,
                remark=f"{'Hopeless' if hopeless else 'Too much'}: {drive.value:.1f} dBm of OFDM into a ring with "
                f"{stage.lo_level.value:g} dBm of oscillator clips at the oscillator's current and alone leaves a "
                "shoulder of "
                f"about {quality.shoulder_db[1]:.0f} dB. Put a {pad} dB pad before it and make up the level behind it.",
            )
        )
    return found


def distortion_table(chain: Chain) -> Table:
    """Every active stage with what it adds, and all together behind it, as powers and as voltages."""
    columns = (
        ("stage", ""),
        ("amplifier_model", ""),
        ("shoulder_own_db", "dB"),
        ("shoulder_low_db", "dB"),
        ("shoulder_high_db", "dB"),
        ("mer_own_db", "dB"),
        ("shoulder_powers_db", "dB"),
        ("shoulder_voltages_db", "dB"),
        ("mer_powers_db", "dB"),
        ("mer_voltages_db", "dB"),
        ("shoulder_lower_db", "dB"),
        ("shoulder_upper_db", "dB"),
    )
    rows: list[tuple[Value, ...]] = []
    for link, quality in zip(chain.assembled.links, chain.quality, strict=True):
        if quality.bent is None or link.bend is None or claim_refused(chain, quality):
            continue
        own, mer = quality.bent.shoulder_db, quality.bent.mer_db
        joined: tuple[Ends, ...] = (
            quality.shoulder_powers_db,
            quality.shoulder_voltages_db,
            quality.mer_powers_db,
            quality.mer_voltages_db,
            *quality.shoulder_sides_db,
        )
        rows.append((link.name, link.bend.model, own[1], own[0], own[2], mer[1], *(one[1] for one in joined)))
    return Table(name="distortion", columns=columns, rows=tuple(rows))


def levels_table(chain: Chain) -> Table:
    """Every point with its level now, before readings, and at worst."""
    columns = (
        ("point", ""),
        ("level_dbm", "dBm"),
        ("level_low_dbm", "dBm"),
        ("level_high_dbm", "dBm"),
        ("planned_dbm", "dBm"),
        ("planned_rss_db", "dB"),
        ("planned_worst_db", "dB"),
        ("peak_dbm", "dBm"),
    )
    rows = tuple(
        (
            f"after {node.name}",
            level.value,
            level.low,
            level.high,
            node.level.value,
            2 * node.level.std,
            node.worst_db,
            level.value + crest_db(),
        )
        for node, level in zip(chain.nodes, chain.levels, strict=True)
    )
    return Table(name="levels", columns=columns, rows=rows)
