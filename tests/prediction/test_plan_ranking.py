"""Frequency plans: the search against a plain loop, the scenario's ranking, and what must not change it."""

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from plan_cases import DRIVE, quarry_edge
from tepui.chain.conversion.mixer import product_levels
from tepui.chain.conversion.shape import share_below
from tepui.ground.errors import RangeError
from tepui.prediction.plan import find_plans
from tepui.prediction.plan_filter import FilterTable
from tepui.prediction.plan_lines import plan_lines
from tepui.prediction.plan_question import Cascade, LocalService, Protected
from tepui.prediction.plan_search import NOTHING_DB

WORDS = ("clean", "marginal", "rejected")


def by_if(plans):
    return {round(one / 1e6): n for n, one in enumerate(plans.if_hz)}


# The 13 cm scenario: 858 before 578, both clean; 474 marginal by 5 IF; 690 local; 786 by 3 IF.
def test_published_scenario_ranking():
    plans = find_plans(quarry_edge())
    found = [
        (round(i / 1e6), WORDS[v], str(f)) for i, v, f in zip(plans.if_hz, plans.verdict, plans.fault, strict=True)
    ]
    assert found == [
        (858, "clean", ""), (578, "clean", ""), (474, "marginal", "low order near"),
        (690, "rejected", "local service"), (786, "rejected", "low order in channel"),
    ]  # fmt: skip
    assert plans.lo_needed_db == pytest.approx(62)
    assert plans.lo_theory_db[:2] == pytest.approx([100, 87], abs=1)
    assert [plans.lo_hz[n] / 1e6 for n in range(2)] == [1488, 1768]


# The scenario's own limits (|m| <= 5, |n| <= 6, |m| + |n| <= 7, within 12 MHz), by exhaustive arithmetic.
@pytest.mark.parametrize("if_mhz", [474, 578, 690, 786, 858])
def test_law_near_products_are_those_of_plain_arithmetic(if_mhz):
    question = quarry_edge((if_mhz,), order=7, max_m=5, max_n=6)
    plans = find_plans(question)
    lo, width = 2346 - if_mhz, question.signal_width_hz / 1e6
    expected = set()
    for m, n in itertools.product(range(-5, 6), range(-6, 7)):
        centre, half = m * lo + n * if_mhz, abs(n) * width / 2
        near = centre + half > 2334 and centre - half < 2358
        if near and 0 < abs(m) + abs(n) <= 7 and centre > 0 and (m, n) != (1, 1):
            expected.add((m, n))
    lines = plan_lines(plans, 0, question, table=FilterTable(question))
    assert {(int(one.line.m), one.line.n) for one in lines if one.place in ("channel", "near")} == expected


# Each plan and product by a loop of its own: shares by the exact distribution, no bins, no tables.
def test_law_the_search_agrees_with_a_plain_loop():
    question = quarry_edge(np.arange(400, 861, 7.25), side="both")
    plans = find_plans(question)
    levels = product_levels(DRIVE)
    width = question.signal_width_hz
    low, high = question.wanted_hz - width / 2, question.wanted_hz + width / 2
    for number in range(len(plans)):
        lo, signal = plans.signed_hz[number]
        worst, lowest = NOTHING_DB, 99
        for n in range(10):
            for m in range(-9, 10):
                if not 0 < abs(m) + n <= 9 or (m, n) == (1, 1) or (n == 0 and m < 0):
                    continue
                centre = abs(m * lo + n * signal)
                if centre + n * width / 2 <= low or centre - n * width / 2 >= high:
                    continue
                lowest = min(lowest, abs(m) + n)
                share = float(np.diff(share_below([(low - centre) / width, (high - centre) / width], n=n))[0])
                upper = levels.level_db[abs(m), n] + 10 * np.log10(max(share, 1e-30)) + levels.doubt_db[abs(m), n]
                worst = max(worst, upper)
        assert plans.in_channel.order[number] == lowest
        found = plans.in_channel.level_db[number] + plans.in_channel.doubt_db[number]
        if worst > -150:
            assert found == pytest.approx(worst, abs=0.1)


@settings(max_examples=10)
@given(order=some.permutations([474, 500, 578, 600, 690, 786, 801, 858]), twice=some.booleans())
def test_law_ranking_does_not_depend_on_the_order_of_the_input(order, twice):
    reference = find_plans(quarry_edge(sorted(order), side="both"))
    found = find_plans(quarry_edge([*order, *(order[:2] if twice else [])], side="both"))
    assert np.array_equal(found.signed_hz, reference.signed_hz)
    assert np.array_equal(found.verdict, reference.verdict)


def test_law_verdicts_come_in_order_and_a_local_service_only_takes_away():
    plain = find_plans(quarry_edge(range(450, 860, 3), side="both", locals_near=()))
    with_local = find_plans(quarry_edge(range(450, 860, 3), side="both"))
    assert np.all(np.diff(plain.verdict) >= 0)
    assert (with_local.verdict == 0).sum() < (plain.verdict == 0).sum()
    clean = set(with_local.if_hz[with_local.verdict == 0]) - set(plain.if_hz[plain.verdict == 0])
    assert clean == set()


@pytest.mark.parametrize(("wanted", "side", "lo", "inverted"), [
    (436e6, "low", 422e6, False),   # IF 858 - 422: mixed down, not mirrored
    (436e6, "high", 1294e6, True),
    (2346e6, "low", 1488e6, False),
    (2346e6, "high", 3204e6, True),
])  # fmt: skip
def test_limit_sides_and_inversion(wanted, side, lo, inverted):
    plans = find_plans(quarry_edge((858,), wanted_hz=wanted, side=side))
    assert plans.lo_hz[0] == lo
    assert bool(plans.inverted[0]) is inverted


def test_limit_the_oscillators_step_and_range():
    question = quarry_edge((858, 578), step_hz=1.5e6, oscillator_hz=(1e9, 1.7e9))
    plans = find_plans(question)
    rows = by_if(plans)
    assert plans.fault[rows[578]] == "oscillator"
    assert plans.error_hz[rows[858]] == 0  # 1488 is a multiple of 1.5
    stepped = find_plans(replace(question, step_hz=1.4e6, oscillator_hz=None))
    assert stepped.fault[0] == "step"
    assert abs(stepped.error_hz).max() <= 0.7e6


def test_limit_a_multiplied_oscillator_leaves_its_other_harmonics():
    # 1488 / 2 = 744: 3 x 744 = 2232, and 2232 + 114 = 2346: with an IF of 114 the other harmonic makes the channel.
    plans = find_plans(quarry_edge((114,), multiplied=2))
    question = quarry_edge((114,), multiplied=2)
    lines = plan_lines(plans, 0, question, table=FilterTable(question))
    assert any(one.line.m.denominator == 2 for one in lines)
    assert plans.signed_hz[0, 0] / 2 == 1116e6


def test_limit_protected_spectrum_rejects_where_a_product_reaches_it():
    guarded = (Protected(low_hz=1480e6, high_hz=1500e6, limit_db=-90),)
    plans = find_plans(quarry_edge((858, 578), protected=guarded))
    rows = by_if(plans)
    assert plans.fault[rows[858]] == "protected"  # its LO at 1488
    assert plans.fault[rows[578]] == ""


def test_limit_a_neighbouring_service_is_marginal():
    near = (LocalService(centre_hz=858e6 + 8e6, width_hz=8e6),)
    plans = find_plans(quarry_edge((858,), locals_near=near))
    assert (plans.fault[0], int(plans.verdict[0])) == ("local neighbour", 1)


def test_law_two_mixers_put_the_channel_where_it_is_wanted():
    question = quarry_edge((474, 600), side="both", order=5, cascade=Cascade(second_if_hz=(900e6, 1100e6)))
    plans = find_plans(question)
    assert np.abs(plans.signed_hz.sum(axis=1)) == pytest.approx(np.full(len(plans), 2346e6))
    assert len(plans) == 2 * 2 * 2 * 2
    second = np.abs(plans.signed_hz[:, 0] + plans.signed_hz[:, 2])
    assert set(np.round(second / 1e6)) == {900, 1100}


def test_too_many_plans_are_refused():
    with pytest.raises(RangeError, match=r"plans are asked for and 400000 are looked through at once"):
        quarry_edge(np.linspace(45, 870, 200_001), side="both")
