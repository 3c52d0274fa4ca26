"""Phase noise into common error and interference: closed forms, an independent integration, a simulated oscillator."""

import math

import numpy as np
import pytest

from tepui.chain.conversion.phase_noise import PhaseNoiseProfile, effect_on_symbols, integrated_db
from tepui.ground.errors import RangeError
from tepui.tables.load import load_table


def pole(level_dbc_hz, corner_hz):
    """A plateau with one pole, as many points on L0 / (1 + (f / fc)^2)."""
    offset = np.geomspace(corner_hz / 1e4, corner_hz * 1e3, 3001)
    level = level_dbc_hz - 10 * np.log10(1 + (offset / corner_hz) ** 2)
    return PhaseNoiseProfile(offset_hz=tuple(offset), level_dbc_hz=tuple(level))


# Closed form by hand: the transform of L0 / (1 + (f/fc)^2) is pi fc L0 exp(-2 pi fc |t|), that of sinc^2 a triangle.
@pytest.mark.parametrize(("corner_hz", "useful_s"), [(10e3, 896e-6), (10e3, 224e-6), (500.0, 896e-6), (2e5, 1e-3)])
def test_limit_a_plateau_with_one_pole(corner_hz, useful_s):
    a = 2 * math.pi * corner_hz * useful_s
    whole = math.pi * corner_hz * 1e-9
    common = whole * 2 / a * (1 - (1 - math.exp(-a)) / a)
    found = effect_on_symbols(pole(-90.0, corner_hz), useful_s=useful_s, highest_hz=corner_hz * 3e4)
    assert found.common_db == pytest.approx(10 * math.log10(common), abs=0.02)
    assert found.interference_db == pytest.approx(10 * math.log10(whole - common), abs=0.02)


# Closed form by hand: int (1 - sinc^2 x) / x^2 dx from 0 on is pi^2 / 3, so L = c / f^2 leaves 2 c Tu pi^2 / 3.
@pytest.mark.parametrize("useful_s", [224e-6, 896e-6])
def test_limit_a_free_running_oscillator(useful_s):
    c = 10 ** (-80 / 10) * 1e6  # -80 dBc/Hz at 1 kHz
    offset = np.geomspace(0.2, 1e9, 401)
    profile = PhaseNoiseProfile(offset_hz=tuple(offset), level_dbc_hz=tuple(10 * np.log10(c / offset**2)))
    found = effect_on_symbols(profile, useful_s=useful_s, highest_hz=1e8)
    assert found.interference_db == pytest.approx(10 * math.log10(2 * c * useful_s * math.pi**2 / 3), abs=0.05)


# Table phase_noise_ofdm: an independent numerical integration from 1 Hz on; the hertz left out is up to 0.03 dB of the
# common error of the longest symbols.
@pytest.mark.parametrize(
    "row", list(load_table("phase_noise_ofdm")), ids=lambda row: f"{row['mode']} {row['plateau_dbc_hz']}"
)
def test_published_common_error_and_interference(row):
    profile = pole(float(row["plateau_dbc_hz"]), 1e3 * float(row["corner_khz"]))
    found = effect_on_symbols(profile, useful_s=1e-6 * float(row["Tu_us"]), highest_hz=10e6)
    assert found.common_db == pytest.approx(float(row["cpe_dbc"]), abs=0.04)
    assert found.interference_db == pytest.approx(float(row["ici_dbc"]), abs=0.02)


# The 3 cm scenario: -93 dBc/Hz to 200 kHz, times 4; MER 22.1 for 8K and for 2K, one spacing to half the channel.
@pytest.mark.parametrize("n_fft", [2048, 8192])
def test_published_scenario_of_the_multiplied_oscillator(n_fft):
    useful_s = n_fft * 7 / (8 * 6e6)
    half = (n_fft / 8192 * 6816) / useful_s / 2
    profile = PhaseNoiseProfile(offset_hz=(1e3, 200e3), level_dbc_hz=(-93, -93)).raised(20 * math.log10(4))
    assert profile.level_dbc_hz[0] == pytest.approx(-80.96, abs=0.005)
    assert integrated_db(profile, lowest_hz=1 / useful_s, highest_hz=half) == pytest.approx(-22.1, abs=0.05)
    assert effect_on_symbols(profile, useful_s=useful_s, highest_hz=half).mer_ceiling_db == pytest.approx(
        22.1, abs=0.05
    )


# An independent tool: white phase noise added to OFDM symbols by numpy, the common part taken off.
def test_tool_simulated_phase_noise_spoils_symbols_as_computed():
    n_fft, symbols, rng = 512, 400, np.random.default_rng(5)
    rate = 1e6
    spectrum = np.fft.rfftfreq(n_fft * symbols, 1 / rate)
    density = 1e-7 / (1 + (spectrum / 2e4) ** 2)
    noise = rng.standard_normal((2, spectrum.size))
    # variance of the phase: both sidebands of L, so twice its integral
    phase = np.fft.irfft((noise[0] + 1j * noise[1]) * np.sqrt(density), n_fft * symbols).reshape(symbols, n_fft)
    phase *= math.sqrt(2 * np.trapezoid(density, spectrum) / np.var(phase))
    sent = np.exp(2j * np.pi * rng.random((symbols, n_fft)))
    heard = np.fft.fft(np.fft.ifft(sent, axis=1) * np.exp(1j * phase), axis=1)
    common = np.mean(heard * sent.conj(), axis=1, keepdims=True)
    spoiled = np.mean(np.abs(heard * np.exp(-1j * np.angle(common)) - sent) ** 2)
    found = effect_on_symbols(pole(-70.0, 2e4), useful_s=n_fft / rate, highest_hz=rate / 2)
    assert 10 * math.log10(spoiled) == pytest.approx(found.interference_db, abs=0.3)


def test_law_a_multiplier_raises_everything_by_20_lg():
    profile = PhaseNoiseProfile(offset_hz=(1e3, 1e5), level_dbc_hz=(-90, -110))
    plain = effect_on_symbols(profile, useful_s=1e-3, highest_hz=3e6)
    raised = effect_on_symbols(profile.raised(20 * math.log10(8)), useful_s=1e-3, highest_hz=3e6)
    assert raised.interference_db - plain.interference_db == pytest.approx(18.06, abs=0.01)


def test_offsets_that_fall_are_refused():
    with pytest.raises(RangeError, match=r"offsets of a phase noise profile must be above zero and rise"):
        PhaseNoiseProfile(offset_hz=(1e4, 1e3), level_dbc_hz=(-90, -100))
