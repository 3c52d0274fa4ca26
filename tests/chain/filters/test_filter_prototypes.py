import numpy as np
import pytest
import skrf

from tepui.chain.filters.goal import FilterGoal, midband_loss_db
from tepui.chain.filters.resonators import CoupledFilter, coupled_scattering, tuned
from tepui.chain.filters.sequence import lossless_delay_s, step_delays_s
from tepui.ground.errors import RangeError
from tepui.tables.load import load_table


def goal(poles=3, ripple_db=0.1, centre_hz=1262e6, width_hz=20e6):
    return FilterGoal(centre_hz=centre_hz, width_hz=width_hz, poles=poles, ripple_db=ripple_db)


# Table chebyshev_g ([MYJ1964] 4.05, four digits printed).
@pytest.mark.parametrize("row", [row for row in load_table("chebyshev_g") if 2 <= int(row["n"]) <= 9])
def test_published_elements(row):
    poles, ripple = int(row["n"]), float(row["ripple_db_0_is_butterworth"])
    made = goal(poles, ripple)
    assert made.elements == pytest.approx([float(row[f"g{k}"]) for k in range(1, poles + 1)], abs=1.01e-4)
    assert made.load == pytest.approx(float(row[f"g{poles + 1}"]), abs=1.01e-4)


# Table kq_values ([ZVEREV1967], four digits printed).
@pytest.mark.parametrize("row", [row for row in load_table("kq_values") if int(row["n"]) >= 2])
def test_published_couplings_in_both_normalisations(row):
    poles, ripple = int(row["n"]), float(row["ripple_db_0_is_butterworth"])
    made = goal(poles, ripple)
    wider = made.width_3db_hz / made.width_hz
    names = [f"k{i}{i + 1}" for i in range(1, poles)]
    assert wider == pytest.approx(float(row["w3db_over_wripple"]), rel=2e-4)
    assert made.external_q * made.relative_width == pytest.approx(float(row["q1_ripple"]), abs=1.01e-4)
    assert made.external_q * made.relative_width * wider == pytest.approx(float(row["q1_3db"]), abs=2e-4)
    relative = made.couplings / made.relative_width
    assert relative == pytest.approx([float(row[f"{name}_ripple"]) for name in names], abs=1.01e-4)
    assert relative / wider == pytest.approx([float(row[f"{name}_3db"]) for name in names], abs=2e-4)


# Table coupling_matrix_check ([HONG2001], and the exact Chebyshev response), 0.01 dB where levels stand above -60 dB.
def test_published_response_of_the_matrix():
    rows = list(load_table("coupling_matrix_check"))
    for qu in {row["Qu"] for row in rows}:
        mine = [row for row in rows if row["Qu"] == qu and float(row["ripple_bw_mhz"]) == 20]
        f = np.array([float(row["f_mhz"]) for row in mine]) * 1e6
        made = tuned(goal(), unloaded_q=float(qu))
        s = 20 * np.log10(np.maximum(np.abs(coupled_scattering(made, f)), 1e-10))
        for number, row in enumerate(mine):
            assert s[number, 1, 0] == pytest.approx(float(row["S21_db"]), abs=0.01)
            if float(row["S11_db"]) > -60:
                assert s[number, 0, 0] == pytest.approx(float(row["S11_db"]), abs=0.01)


# scikit-rf 2.2: the same couplings as ideal admittance inverters between parallel resonators, cascaded by the library.
@pytest.mark.parametrize("poles", [2, 3, 5])
def test_tool_matrix_equals_a_cascade_of_networks(poles):
    rng = np.random.default_rng(poles)
    made = tuned(goal(poles), unloaded_q=900)
    made = CoupledFilter(
        resonator_hz=made.resonator_hz + rng.uniform(-8e6, 8e6, poles),
        couplings=made.couplings * rng.uniform(0.9, 1.1, poles - 1),
        q_first=made.q_first,
        q_last=1.2 * made.q_last,
        unloaded_q=900,
    )
    frequency = skrf.Frequency(1222, 1302, 161, "MHz")
    f, slope = frequency.f, 0.01  # every resonator of the same slope admittance, in siemens

    def inverter(j):
        a = np.zeros((len(f), 2, 2), dtype=complex)
        a[:, 0, 1], a[:, 1, 0] = 1j / j, 1j * j
        return skrf.Network(frequency=frequency, s=skrf.network.a2s(a, 50), z0=50)

    def resonator(own):
        a = np.tile(np.eye(2, dtype=complex), (len(f), 1, 1))
        a[:, 1, 0] = slope * (1j * (f / own - own / f) + 1 / 900)
        return skrf.Network(frequency=frequency, s=skrf.network.a2s(a, 50), z0=50)

    parts = [inverter(np.sqrt(slope / 50 / made.q_first))]
    for number, own in enumerate(made.resonator_hz):
        parts.append(resonator(own))
        last = number == poles - 1
        parts.append(inverter(np.sqrt(slope / 50 / made.q_last) if last else made.couplings[number] * slope))
    ladder = skrf.network.cascade_list(parts)
    ours = coupled_scattering(made, f)
    apart = 20 * np.log10(np.abs(ours) / np.abs(ladder.s))
    assert np.abs(apart[:, 1, 0]).max() < 0.01
    assert np.abs(apart[:, 0, 0]).max() < 0.01
    assert np.abs(apart[:, 1, 1]).max() < 0.01


# S. Cohn 1959, worked by hand: 4.343 (1.0316 + 1.1474 + 1.0316) / (20/1262 x 1500) = 0.5866 dB.
def test_published_midband_loss():
    assert midband_loss_db(goal(), 1500) == pytest.approx(0.5866, abs=1e-4)
    exact = -20 * np.log10(abs(coupled_scattering(tuned(goal(), unloaded_q=1500), np.array([1262e6]))[0, 1, 0]))
    assert exact == pytest.approx(0.585, abs=1e-3)


# J. Ness 1998, recalled; three poles, 0.1 dB, 20 MHz: 32.8, 36.5, 65.7 ns.
def test_published_delays_of_the_tuning_sequence():
    delays = [lossless_delay_s(goal(), step) for step in (1, 2, 3)]
    assert delays == pytest.approx([32.8e-9, 36.5e-9, 65.7e-9], abs=0.06e-9)
    assert step_delays_s(goal(), unloaded_q=1e9) == pytest.approx(delays, rel=1e-3)


def test_a_goal_out_of_range_is_refused():
    with pytest.raises(RangeError, match="width must lie between"):
        goal(width_hz=900e6)
    with pytest.raises(RangeError, match="poles must lie between 1 and 9"):
        goal(poles=12)
