"""Distortion and errors along the chain: each stage's own, and all together behind every stage.

Theory  Distortion of a stage reaches the end at the level relative to the signal at which it was made, whatever linear
        gain follows; a filter behind it takes down the shoulders by what it loses there. Stages apart by filters and
        delay add as powers, stages alike and close as voltages: both are said. Errors of other kinds (modulator, phase
        noise, thermal noise) always add as powers.
Source  Addition of uncorrelated and of fully correlated waves.
Holds   Memoryless stages. Ends of intervals take all stages at their ends together: wider than 95 %.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from tepui.ground.doubt import COVERAGE_FACTOR, Estimate
from tepui.prediction.bending import Bent, bend_at
from tepui.prediction.cascade import Link, Node, joined_db
from tepui.signals.dvbt.mode import Mode

Ends = tuple[float, float, float]
_EMPTY: Ends = (-math.inf, -math.inf, -math.inf)


@dataclass(frozen=True, kw_only=True)
class Term:
    """One cause of errors: its MER alone as low, value, high; ``coherent`` where it is distortion of an amplifier."""

    name: str
    stage: str
    mer_db: Ends
    coherent: bool = False


@dataclass(frozen=True, kw_only=True)
class Quality:
    """The signal behind one stage.

    bent                 of the stage itself, None where passive or unknown
    missing              active stages up to here whose distortion nothing is known of
    shoulder_powers_db   worse side, all stages as powers; ``shoulder_voltages_db`` as voltages
    mer_powers_db        all terms up to here
    terms                the terms up to here
    """

    name: str
    bent: Bent | None
    missing: tuple[str, ...]
    shoulder_powers_db: Ends
    shoulder_voltages_db: Ends
    mer_powers_db: Ends
    mer_voltages_db: Ends
    terms: tuple[Term, ...]
    worst_stage: str | None
    next_db: float | None


def qualities(
    links: Sequence[Link], nodes: Sequence[Node], levels: Sequence[Estimate], *, mode: Mode
) -> tuple[Quality, ...]:
    """Quality behind every stage, at the levels given (with readings taken in, or without)."""
    found: list[Quality] = []
    sides: dict[str, list[tuple[Ends, Ends]]] = {}
    slopes: dict[str, float] = {}
    terms: list[Term] = []
    missing: list[str] = []
    for n, link in enumerate(links):
        shift = link.slopes_db
        for made in sides.values():
            made[0] = (_moved(made[0][0], shift[0]), _moved(made[0][1], shift[1]))
        bent = None
        if link.own_shoulder_db is not None:
            own = (link.own_shoulder_db,) * 3
            sides[link.name] = [(own, own)]
        if link.bend is not None:
            before = levels[n - 1].value if n else -math.inf
            bent = bend_at(link.bend, input_dbm=before, output_dbm=levels[n].value, std_db=levels[n].std, mode=mode)
            sides[link.name] = [(bent.shoulder_db, bent.shoulder_db)]
            slopes[link.name] = bent.shoulder_slope
            terms.append(Term(name=f"distortion of {link.name}", stage=link.name, mer_db=bent.mer_db, coherent=True))
        elif not link.passive and n:
            missing.append(link.name)
        for name, mer in link.mer_terms.items():
            terms.append(Term(name=name, stage=link.name, mer_db=(mer.low, mer.value, mer.high)))
        together = [*terms, *_noise_term(link, nodes[n], levels[n])]
        worst, next_db = _next_db(sides, slopes)
        found.append(
            Quality(
                name=link.name,
                bent=bent,
                missing=tuple(missing),
                shoulder_powers_db=_joined(sides, voltages=False),
                shoulder_voltages_db=_joined(sides, voltages=True),
                mer_powers_db=_mer(together, voltages=False),
                mer_voltages_db=_mer(together, voltages=True),
                terms=tuple(together),
                worst_stage=worst,
                next_db=next_db,
            )
        )
    return tuple(found)


def _moved(ends: Ends, shift: float) -> Ends:
    return ends[0] + shift, ends[1] + shift, ends[2] + shift


def _noise_term(link: Link, node: Node, level: Estimate) -> list[Term]:
    if node.noise_dbm is None or link.kind == "antenna":
        return []
    snr = level.value - node.noise_dbm
    spread = COVERAGE_FACTOR * level.std
    return [Term(name="thermal noise", stage=link.name, mer_db=(snr - spread, snr, snr + spread))]


def _joined(sides: dict[str, list[tuple[Ends, Ends]]], *, voltages: bool) -> Ends:
    """Shoulders of all stages together, the worse side."""
    if not sides:
        return _EMPTY
    pick = 1 if voltages else 0
    ends = []
    for end in range(3):
        both = [joined_db([made[0][side][end] for made in sides.values()])[pick] for side in (0, 1)]
        ends.append(max(both))
    return ends[0], ends[1], ends[2]


def _mer(terms: Sequence[Term], *, voltages: bool) -> Ends:
    if not terms:
        return math.inf, math.inf, math.inf
    ends = []
    for end in range(3):
        coherent = [-term.mer_db[end] for term in terms if term.coherent]
        others = [-term.mer_db[end] for term in terms if not term.coherent]
        distortion = joined_db(coherent)[1 if voltages else 0]
        ends.append(-joined_db([distortion, *others])[0])
    return ends[0], ends[1], ends[2]


def _next_db(sides: dict[str, list[tuple[Ends, Ends]]], slopes: dict[str, float]) -> tuple[str | None, float | None]:
    """The stage that adds most to the shoulder, and what the total wins if it were one decibel stronger."""
    own = {name: max(made[0][0][1], made[0][1][1]) for name, made in sides.items()}
    if not own:
        return None, None
    worst = max(own, key=lambda name: own[name])
    if worst not in slopes:
        return worst, None
    better = {**own, worst: own[worst] - slopes[worst]}
    return worst, joined_db(list(own.values()))[0] - joined_db(list(better.values()))[0]


def shares(terms: Sequence[Term]) -> dict[str, float]:
    """Share of each term in the error power, 0 to 1."""
    power = {term.name: 10 ** (-term.mer_db[1] / 10) for term in terms}
    total = sum(power.values()) or 1.0
    return {name: one / total for name, one in power.items()}
