"""Distortion and errors along the chain: each stage's own, and all together behind every stage.

Theory  Distortion of a stage reaches the end at the level relative to the signal at which it was made, whatever linear
        gain follows; a filter behind it takes down the shoulders by what it loses there, each side by its own. Stages
        apart by filters and delay add as powers, stages alike and close as voltages: both are said. Errors of other
        kinds (modulator, phase noise, thermal noise) always add as powers. Intervals of sums are of draws: levels with
        all that they have in common, reference and form of each stage's model.
Source  Addition of uncorrelated and of fully correlated waves; [GUM-S1] 7 for the intervals.
Holds   As draws.py.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tepui.ground.doubt import COVERAGE_FACTOR, Estimate
from tepui.prediction.bending import Bent, bend_at, bend_draws
from tepui.prediction.cascade import Link, Node, joined_db
from tepui.prediction.draws import DRAWS, normal, uniform
from tepui.signals.dvbt.mode import Mode

Ends = tuple[float, float, float]
Floats = npt.NDArray[np.float64]
TAIL = 0.025
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
    beyond               stages up to here that are driven beyond what their models hold for
    shoulder_powers_db   worse side, all stages as powers; ``shoulder_voltages_db`` as voltages
    shoulder_sides_db    as powers, below and above the channel
    mer_powers_db        all terms up to here
    terms                the terms up to here
    """

    name: str
    bent: Bent | None
    missing: tuple[str, ...]
    beyond: tuple[str, ...]
    shoulder_powers_db: Ends
    shoulder_voltages_db: Ends
    shoulder_sides_db: tuple[Ends, Ends]
    mer_powers_db: Ends
    mer_voltages_db: Ends
    terms: tuple[Term, ...]
    worst_stage: str | None
    next_db: float | None


@dataclass(eq=False)
class _Made:
    """Shoulders of one stage as they stand at the point looked at: nominal (2,) and drawn (2, DRAWS)."""

    nominal: Floats
    drawn: Floats
    slope: float | None = None

    def moved(self, shift: tuple[float, float]) -> None:
        """Take the shoulders down by a filter."""
        by = np.array(shift)
        self.nominal = self.nominal + by
        self.drawn = self.drawn + by[:, None]


def qualities(
    links: Sequence[Link], nodes: Sequence[Node], levels: Sequence[Estimate], *, mode: Mode, drawn: Floats | None = None
) -> tuple[Quality, ...]:
    """Quality behind every stage, at the levels given (with readings taken in, or without).

    drawn  (DRAWS, stages) draws of the levels with all that they have in common; None takes each for itself
    """
    level_draws = _alone(links, levels) if drawn is None else drawn
    found: list[Quality] = []
    made: dict[str, _Made] = {}
    terms: list[Term] = []
    term_draws: list[Floats] = []
    missing: list[str] = []
    beyond: list[str] = []
    for n, link in enumerate(links):
        for one in made.values():
            one.moved(link.slopes_db)
        bent = None
        if link.own_shoulder_db is not None:
            own = np.full(2, link.own_shoulder_db)
            made[link.name] = _Made(nominal=own, drawn=np.repeat(own[:, None], DRAWS, axis=1))
        if link.bend is not None:
            before = levels[n - 1].value if n else -math.inf
            std = levels[n - 1].std if n and link.bend.at_input else levels[n].std
            bent = bend_at(link.bend, input_dbm=before, output_dbm=levels[n].value, std_db=std, mode=mode)
            z, u = normal(f"reference of {link.name}"), uniform(f"form of {link.name}")
            inputs = level_draws[:, n - 1] if n else level_draws[:, n]
            sides, mer = bend_draws(link.bend, input_dbm=inputs, output_dbm=level_draws[:, n], z=z, u=u, mode=mode)
            nominal = np.array([side[1] for side in bent.sides_db])
            made[link.name] = _Made(nominal=nominal, drawn=sides, slope=bent.shoulder_slope)
            terms.append(Term(name=f"distortion of {link.name}", stage=link.name, mer_db=bent.mer_db, coherent=True))
            term_draws.append(mer)
            if bent.extrapolated:
                beyond.append(link.name)
        elif not link.passive and n:
            missing.append(link.name)
        for name, mer_of_term in link.mer_terms.items():
            terms.append(
                Term(name=name, stage=link.name, mer_db=(mer_of_term.low, mer_of_term.value, mer_of_term.high))
            )
            term_draws.append(mer_of_term.value + mer_of_term.std * normal(f"{name} of {link.name}"))
        noise = _noise_term(link, nodes[n], levels[n])
        together = [*terms, *noise]
        drawn_terms = [*term_draws, *(level_draws[:, n] - (nodes[n].noise_dbm or 0.0) for _ in noise)]
        worst, next_db = _next_db(made)
        found.append(
            Quality(
                name=link.name,
                bent=bent,
                missing=tuple(missing),
                beyond=tuple(beyond),
                shoulder_powers_db=_shoulder(made, (0, 1), voltages=False),
                shoulder_voltages_db=_shoulder(made, (0, 1), voltages=True),
                shoulder_sides_db=(_shoulder(made, (0,), voltages=False), _shoulder(made, (1,), voltages=False)),
                mer_powers_db=_mer(together, drawn_terms, voltages=False),
                mer_voltages_db=_mer(together, drawn_terms, voltages=True),
                terms=tuple(together),
                worst_stage=worst,
                next_db=next_db,
            )
        )
    return tuple(found)


def _alone(links: Sequence[Link], levels: Sequence[Estimate]) -> Floats:
    """Draws of levels that have nothing in common. (DRAWS, stages)"""
    return np.stack(
        [one.value + one.std * normal(f"level of {link.name}") for link, one in zip(links, levels, strict=True)], axis=1
    )


def _ends(nominal: float, drawn: Floats) -> Ends:
    """The value with the interval that holds 95 % of the draws, and the value itself."""
    low, high = (float(one) for one in np.quantile(drawn, (TAIL, 1 - TAIL)))
    return min(low, nominal), nominal, max(high, nominal)


def _noise_term(link: Link, node: Node, level: Estimate) -> list[Term]:
    if node.noise_dbm is None or link.kind == "antenna":
        return []
    snr = level.value - node.noise_dbm
    spread = COVERAGE_FACTOR * level.std
    return [Term(name="thermal noise", stage=link.name, mer_db=(snr - spread, snr, snr + spread))]


def _added(levels_db: Floats, *, voltages: bool) -> Floats:
    """Levels along the first axis joined. [dB]"""
    root = 20.0 if voltages else 10.0
    return np.asarray(root * np.log10(np.maximum(np.sum(10 ** (levels_db / root), axis=0), 1e-30)))


def _shoulder(made: dict[str, _Made], sides: tuple[int, ...], *, voltages: bool) -> Ends:
    """Shoulders of all stages together, the worse of the sides named."""
    if not made:
        return _EMPTY
    nominal = _added(np.stack([one.nominal for one in made.values()]), voltages=voltages)
    drawn = _added(np.stack([one.drawn for one in made.values()]), voltages=voltages)
    chosen = list(sides)
    return _ends(float(nominal[chosen].max()), drawn[chosen].max(axis=0))


def _mer(terms: Sequence[Term], drawn: Sequence[Floats], *, voltages: bool) -> Ends:
    """Errors of all terms together; distortions among themselves as powers or as voltages."""
    if not terms:
        return math.inf, math.inf, math.inf
    table = np.stack([np.concatenate([[term.mer_db[1]], one]) for term, one in zip(terms, drawn, strict=True)])
    coherent = np.array([term.coherent for term in terms])
    errors = [-table[~coherent]]
    if coherent.any():
        errors.append(_added(-table[coherent], voltages=voltages)[None, :])
    together = -_added(np.concatenate(errors), voltages=False)
    return _ends(float(together[0]), together[1:])


def _next_db(made: dict[str, _Made]) -> tuple[str | None, float | None]:
    """The stage that adds most to the shoulder, and what the total wins if it were one decibel stronger."""
    own = {name: float(one.nominal.max()) for name, one in made.items()}
    if not own:
        return None, None
    worst = max(own, key=lambda name: own[name])
    slope = made[worst].slope
    if slope is None:
        return worst, None
    better = {**own, worst: own[worst] - slope}
    return worst, joined_db(list(own.values()))[0] - joined_db(list(better.values()))[0]


def shares(terms: Sequence[Term]) -> dict[str, float]:
    """Share of each term in the error power, 0 to 1."""
    power = {term.name: 10 ** (-term.mer_db[1] / 10) for term in terms}
    total = sum(power.values()) or 1.0
    return {name: one / total for name, one in power.items()}
