"""What others make of a plan: far receivers, local services in the mixer, and one mixer's products in the next."""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest

from plan_cases import quarry_edge
from tepui.chain.conversion.mixer import product_levels
from tepui.chain.conversion.products import cascade_rows, product_rows
from tepui.chain.conversion.shape import share_below
from tepui.jobs.frequencies_reasons import reason_for
from tepui.prediction.far_receiver import FarReceiver
from tepui.prediction.plan import VERDICTS, find_plans
from tepui.prediction.plan_far import FarStation
from tepui.prediction.plan_ingress import at_level, service_rows
from tepui.prediction.plan_question import LocalService

UHF = ((174e6, 230e6), (470e6, 862e6))


def verdicts(question):
    plans = find_plans(question)
    return {
        float(plans.if_hz[n]) / 1e6: (VERDICTS[int(plans.verdict[n])], reason_for(plans, n, question))
        for n in range(len(plans))
    }


def far(**more):
    return FarStation(name="Q2DEF", receiver=FarReceiver(**{"tunes": UHF, **more}))


# By hand: 2346 - 1900 = 446 MHz lies between 230 and 470; 24 + 4 MHz up, 2374, arrives at 474 with all of its 8 MHz.
def test_limit_a_gap_of_the_far_receiver_rejects_and_leaves_the_order():
    before = list(verdicts(quarry_edge()))
    found = verdicts(quarry_edge(fars=(far(converter_hz=1900e6),)))
    assert list(found) == before
    assert {verdict for verdict, _ in found.values()} == {"rejected"}
    assert found[858][1] == (
        "Nothing is received at Q2DEF: the channel arrives at 446 MHz and the receiver tunes 174 to 230, 470 to 862 "
        "MHz; move the channel to 2374 MHz or more."
    )
    assert "overlaps the channel" in found[786][1]  # its own fault comes first


# By hand: 2346 - 1868 = 478 MHz; an 8 MHz raster from 470 on offers 474 and 482, 4 MHz away.
def test_limit_a_raster_rejects_what_the_receiver_does_not_follow():
    found = verdicts(quarry_edge(fars=(far(converter_hz=1868e6, raster_hz=8e6, pull_in_hz=125e3),)))
    assert found[858][0] == "rejected"
    assert "4000 kHz beside the receiver's 8 MHz raster, more than the 125 kHz it follows" in found[858][1]
    on = verdicts(quarry_edge(fars=(far(converter_hz=1872e6, raster_hz=8e6, pull_in_hz=125e3),)))
    assert on[858][0] == "clean"


# By hand: 60 ppm of 1872 MHz are 112 kHz; 10 ppm of LO 1488 MHz 14.9 kHz more pass 125 kHz.
def test_limit_errors_beyond_the_pull_in_are_marginal():
    station = far(converter_hz=1872e6, converter_ppm=60, pull_in_hz=125e3)
    assert verdicts(quarry_edge(fars=(station,)))[858][0] == "clean"
    verdict, reason = verdicts(quarry_edge(fars=(station,), transmit_ppm=10))[858]
    assert verdict == "marginal"
    assert "may arrive 127 kHz off (transmitter 14.9 kHz, far converter 112 kHz, raster 0 kHz)" in reason


def test_limit_one_of_two_far_stations_makes_it_marginal():
    two = (far(converter_hz=1872e6), FarStation(name="Q3GHJ", receiver=FarReceiver(tunes=UHF)))
    verdict, reason = verdicts(quarry_edge(fars=two))[858]
    assert verdict == "marginal"
    assert reason.startswith("Nothing is received at Q3GHJ: ")
    assert "if a converter stands before it, give its oscillator" in reason


# Exhaustive arithmetic over all m LO ± n F up to n = 3, against the search; levels as the mixer's.
@pytest.mark.parametrize("local_mhz", [630, 742, 1104, 2340])
def test_law_products_of_a_local_service_are_those_of_plain_arithmetic(local_mhz):
    question = quarry_edge(locals_near=(LocalService(centre_hz=local_mhz * 1e6, width_hz=8e6, level_dbm=-30),))
    plans = find_plans(question)
    levels = product_levels(question.drive)
    weaker = -30 - question.shielding_db - question.drive.signal_dbm
    half = question.signal_width_hz / 2
    for number in range(len(plans)):
        worst = -300.0
        for m, n in itertools.product(range(-9, 10), range(1, 4)):
            if abs(m) + n > 9 or (m == 0 and n > 1) or (m, n) == (1, 1):
                continue
            centre = abs(m * float(plans.lo_hz[number]) + n * local_mhz * 1e6)
            edges = [(2346e6 + end * half - centre) / 8e6 for end in (-1, 1)]
            share = float(np.diff(share_below(edges, n=n))[0])
            if centre + n * 4e6 > 2346e6 - half and centre - n * 4e6 < 2346e6 + half:
                doubt = math.hypot(levels.doubt_db[abs(m), n], 10 * n)
                worst = max(worst, levels.level_db[abs(m), n] + n * weaker + 10 * math.log10(max(share, 1e-30)) + doubt)
        found = float(plans.ingress.inside_db[number])
        assert found == pytest.approx(worst, abs=0.05) or max(found, worst) < -120


# By hand: LO 1488 MHz less a service at 630 MHz is the image's own IF: 2 x 1488 - 630 = 2346 MHz.
def test_limit_a_local_service_is_told_with_the_shielding_it_asks_for():
    service = LocalService(centre_hz=630e6, width_hz=8e6, level_dbm=10)
    verdict, reason = verdicts(quarry_edge(if_mhz=(858,), locals_near=(service,), shielding_db=10))[858]
    assert verdict == "rejected"
    assert reason.startswith("2 LO - local 630 MHz (at 2346 MHz, 8.0 MHz wide, spans 2342.0 to 2350.0 MHz) comes with")
    enough = float(reason.split(";")[1].split(" dB of shielding")[0]) + 0.5
    assert verdicts(quarry_edge(if_mhz=(858,), locals_near=(service,), shielding_db=enough))[858][0] == "clean"
    unknown = replace(service, level_dbm=None)
    verdict, reason = verdicts(quarry_edge(if_mhz=(858,), locals_near=(unknown,)))[858]
    assert verdict == "marginal"
    assert reason.endswith("how strong that is is not known: give its level.")


def test_law_a_weaker_service_makes_weaker_products_by_their_order():
    rows = service_rows(product_rows(product_levels(quarry_edge().drive), order=7))
    question = quarry_edge()
    services = [LocalService(centre_hz=1e9, width_hz=8e6, level_dbm=level) for level in (-30, -40)]
    strong, weak = (at_level(rows, service, question).level_db for service in services)
    assert strong - weak == pytest.approx(10 * rows.n)


# numpy.fft: two mixers as polynomials in time, the whole output of the first fed to the second. Every line up to fourth
# order must be a row, and those that only the mixing of two outputs of the first makes must be among them.
def test_tool_two_mixers_in_time_make_only_lines_that_are_rows():
    n, lo1, lo2, signal = 1 << 15, 1009, 3001, 211
    phase = 2 * np.pi * np.arange(n) / n
    first_lo, second_lo, modulated = np.cos(lo1 * phase), np.cos(lo2 * phase), 0.3 * np.cos(signal * phase)

    def mixer(lo, x):
        return lo * x + 0.05 * (lo + x) + 0.05 * lo**2 * x + 0.05 * x**2 * lo + 0.02 * x**3

    line = np.abs(np.fft.rfft(mixer(second_lo, mixer(first_lo, modulated)))) / n
    rows = cascade_rows(product_levels(quarry_edge().drive), order=6)
    places = {(1, 1, 1), (0, 0, 0)} | {tuple(int(one) for one in row) for row in rows.multiples}
    places = {abs(k * lo1 + m * lo2 + j * signal) for k, m, j in places}
    seen = np.flatnonzero(line > 1e-5)
    assert set(seen.tolist()) - places == set()
    assert rows.inner is not None
    mutual = rows.multiples[(rows.inner[:, 2] > 0) & (rows.spread != np.abs(rows.n))]
    by_mixing = {abs(int(k * lo1 + m * lo2 + j * signal)) for k, m, j in mutual}
    assert len(by_mixing & set(seen.tolist())) > 3


# Irwin and Hall: two independent spectra of one width make a triangle of two widths, whatever their sum's multiple.
def test_limit_a_mutual_product_is_as_wide_as_both_together():
    rows = cascade_rows(product_levels(quarry_edge().drive), order=5)
    assert rows.inner is not None
    assert rows.widths is not None
    leak = (rows.inner == (0, 1, 1)).all(axis=1)  # the signal itself, leaked through the first mixer
    difference = leak & (rows.multiples == (1, 1, 0)).all(axis=1)  # LO2 + second IF - signal
    assert rows.widths[difference].tolist() == [2]
