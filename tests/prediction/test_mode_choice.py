"""Modes against published tables and scenarios, tolerances by simulation, and the choice among them."""

from fractions import Fraction

import numpy as np
import pytest

from tepui.ground.errors import ChoiceError
from tepui.prediction.mode_choice import (
    ModeWish,
    all_modes,
    doppler_max_hz,
    interference_allowance_db,
    interleaver_latency_s,
    recommended,
    required_cn_db,
)
from tepui.signals.dvbt.mode import Mode
from tepui.tables.load import load_table

SIZES = {"2K": 2048, "4K": 4096, "8K": 8192}


# [EN300744] annexes: every net rate of every width, as exact fractions (misprints of copies are noted in the tables).
@pytest.mark.parametrize("width_mhz", [5, 6, 7, 8])
def test_published_net_rates_of_all_modes(width_mhz):
    printed = {
        (row["constellation"].replace("-", ""), row["code_rate"], row["guard_interval"]):
            Fraction(row["net_bitrate_bps_exact_fraction"])
        for row in load_table(f"dvbt_bitrates_{width_mhz}mhz")
    }  # fmt: skip
    rows = all_modes(width_mhz * 1e6)
    assert len(rows) == 180
    assert len(printed) == 60
    for row in rows:
        mode = row.mode
        assert mode.net_bit_rate_bps == printed[mode.constellation, str(mode.code_rate), str(mode.guard)]


# [EN300744] 4.7, table 16.
def test_published_packets_per_superframe():
    printed = {
        (SIZES[row["mode"]], row["constellation"].replace("-", ""), row["code_rate"]): int(
            row["rs_packets_per_superframe"]
        )
        for row in load_table("dvbt_superframe_packets")
    }
    for row in all_modes(8e6):
        mode = row.mode
        assert mode.packets_per_superframe == printed[mode.n_fft, mode.constellation, str(mode.code_rate)]


# [EN300744] Annex A, rows of table dvbt_required_cn, both editions.
def test_published_required_ratios_by_edition():
    old = required_cn_db("QPSK", Fraction(3, 4), edition="V1.1.2 to V1.5.1", channel="Ricean F1")
    new = required_cn_db("QPSK", Fraction(3, 4), edition="V1.6.1", channel="Ricean F1")
    assert (old, new) == (6.8, 7.2)


# The 70 cm scenario: C/N 15.6 dB, 6 dB over a 2 dB implementation loss: QPSK 3/4 at 2.262 Mbit/s, 2K at 2 MHz.
@pytest.mark.parametrize("edition", ["V1.1.2 to V1.5.1", "V1.6.1"])
def test_published_scenario_choice_on_70_cm(edition):
    rows = all_modes(2e6, edition=edition, channel="Ricean F1")
    best, why = recommended(rows, ModeWish(cn_db=15.6, margin_db=8.0, guard=Fraction(1, 32)))
    assert (best.mode.constellation, best.mode.code_rate, best.mode.n_fft) == ("QPSK", Fraction(3, 4), 2048)
    assert float(best.mode.net_bit_rate_bps) == pytest.approx(2.262e6, rel=5e-4)
    assert "margin" in why


# table common_practice: QPSK or 16QAM, 3/4, 1/16, 8K is what one begins with.
@pytest.mark.parametrize("width_mhz", [6, 7, 8])
def test_published_common_practice_is_the_recommendation(width_mhz):
    practice = {row["fact"]: row["value"] for row in load_table("common_practice")}
    best, _ = recommended(all_modes(width_mhz * 1e6), ModeWish())
    assert best.mode.constellation in practice["constellations used on the air by amateurs"]
    assert str(best.mode.code_rate) == practice["code rate that is a good compromise"]
    assert str(best.mode.guard) == practice["typical guard interval"]
    assert best.mode.n_fft == SIZES[practice["typical transmission mode"]]
    assert max(all_modes(8e6), key=lambda row: row.required_cn_db).mode.code_rate == Fraction(
        practice["code rate of highest bit rate and least protection"]
    )


def test_law_the_pareto_list_is_beaten_by_nobody():
    rows = [row for row in all_modes(8e6) if row.mode.n_fft == 8192]
    for row in rows:
        better = [
            by for by in rows
            if by.mode.net_bit_rate_bps >= row.mode.net_bit_rate_bps and by.required_cn_db <= row.required_cn_db
            and by.mode.guard >= row.mode.guard and by.mode != row.mode
        ]  # fmt: skip
        assert row.pareto is not any(
            (by.mode.net_bit_rate_bps, -by.required_cn_db, by.mode.guard)
            != (row.mode.net_bit_rate_bps, -row.required_cn_db, row.mode.guard)
            for by in better
        )
    assert any(row.pareto for row in rows)


# An independent tool: a tone through fading of classical spectrum, its neighbours' power by numpy's transform.
def test_tool_doppler_interference_is_as_allowed():
    mode = Mode(width_hz=8e6, n_fft=8192, guard=Fraction(1, 32), constellation="16QAM", code_rate=Fraction(3, 4))
    allowed = -20.0
    shift = doppler_max_hz(mode, interference_max_db=allowed)
    rng = np.random.default_rng(4)
    time = np.arange(256) / 256 * mode.useful_s
    spoiled = []
    for _ in range(400):
        angle, phase = rng.uniform(0, 2 * np.pi, (2, 64))
        path = np.exp(1j * (2 * np.pi * shift * np.cos(angle)[:, None] * time + phase[:, None])).sum(axis=0) / 8
        spoiled.append(np.mean(np.abs(path - path.mean()) ** 2))
    assert 10 * np.log10(np.mean(spoiled)) == pytest.approx(allowed, abs=0.5)


def test_limit_interference_that_costs_one_decibel():
    allowed = interference_allowance_db(10.0)
    noise = 10 ** (-11.0 / 10) + 10 ** (allowed / 10)  # 1 dB better in noise, the interference on top
    assert -10 * np.log10(noise) == pytest.approx(10.0, abs=1e-9)


# [EN300744] 4.3.1: (I - 1) I M = 11 x 12 x 17 bytes of delay, 11 packets of 204.
def test_published_delay_of_the_outer_interleaver():
    mode = Mode(width_hz=8e6, n_fft=8192, guard=Fraction(1, 4), constellation="QPSK", code_rate=Fraction(1, 2))
    packet_s = 204 * 8 / (float(mode.net_bit_rate_bps) * 204 / 188)
    assert interleaver_latency_s(mode) - mode.symbol_s == pytest.approx(11 * 12 * 17 / 204 * packet_s)


def test_limit_the_shortest_guard_that_holds_the_echo():
    best, why = recommended(all_modes(8e6), ModeWish(echo_s=60e-6))
    assert best.mode.guard == Fraction(1, 8)  # 112 us in 8K; 1/16 bears 56
    assert "18 km" in why


def test_no_mode_says_what_stands_in_the_way():
    best, why = recommended(all_modes(8e6), ModeWish(cn_db=5.0))
    assert best is None
    assert why == "No mode of this width meets the path's ratio less the margin."


def test_an_unknown_edition_names_those_there_are():
    with pytest.raises(ChoiceError, match=r"edition must be V1\.6\.1 or V1\.1\.2 to V1\.5\.1"):
        all_modes(8e6, edition="V2")
