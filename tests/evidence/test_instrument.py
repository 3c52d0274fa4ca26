import numpy as np
import pytest

from tepui.evidence.instrument import PadReading, cancels_db, transmitted_level
from tepui.ground.errors import RangeError


def reading(gain_db, shown_db, *, std_db=0.1, noise_db=None):
    return PadReading(name=f"{gain_db:g}", gain_db=gain_db, shown_db=shown_db, std_db=std_db, noise_db=noise_db)


def shown(gain_db, *, sent_db, made_db, phase, noise_db=None):
    """S + B g + C g^2 + N/g by hand: made_db is C at gain 0 dB, phase the cosine between the two, noise_db at 0 dB."""
    gain, sent, made = 10 ** (gain_db / 10), 10 ** (sent_db / 10), 10 ** (made_db / 10)
    noise = 0.0 if noise_db is None else 10 ** (noise_db / 10) / gain
    return 10 * np.log10(sent + 2 * phase * np.sqrt(sent * made) * gain + made * gain**2 + noise)


# Exact readings of three settings: three unknowns, three equations.
@pytest.mark.parametrize("phase", [-0.9, -0.3, 0.0, 0.6])
def test_law_three_settings_solve_it(phase):
    gains = (0.0, -6.0, -16.0)
    levels = [shown(gain, sent_db=-34, made_db=-28, phase=phase) for gain in gains]
    found = transmitted_level(
        [reading(gain, level, std_db=0.03) for gain, level in zip(gains, levels, strict=True)], gain_std_db=0.0
    )
    assert found.kind == "solved"
    assert found.value_db == pytest.approx(-34, abs=0.1)
    assert found.receiver_db == pytest.approx(-28, abs=0.7)
    assert found.low_db < -34 < found.high_db < found.low_db + 0.5
    assert found.misfit < 2  # the grid's own step


# Products that cancel: the overloaded receiver shows a shoulder 7 dB better than there is. Two settings already know.
def test_law_an_overloaded_receiver_may_show_better_shoulders():
    levels = [shown(gain, sent_db=-30, made_db=-34, phase=-0.95) for gain in (0.0, -10.0)]
    assert levels[0] < -36
    found = transmitted_level([reading(0.0, levels[0]), reading(-10.0, levels[1])], gain_std_db=0.1)
    assert found.kind == "interval"
    assert found.low_db <= -30 <= found.high_db


# Whatever the receiver, two settings that differ enclose the truth (model by hand above, 200 receivers drawn).
def test_law_two_settings_enclose_the_truth():
    rng = np.random.default_rng(11)
    inside = settled = 0
    for _ in range(200):
        sent, made, phase = rng.uniform(-40, -28), rng.uniform(-45, -22), np.sin(rng.uniform(-np.pi / 2, np.pi / 2))
        pad = rng.uniform(6, 12)
        levels = [shown(gain, sent_db=sent, made_db=made, phase=phase) + rng.normal(0, 0.15) for gain in (0.0, -pad)]
        found = transmitted_level(
            [reading(0.0, levels[0], std_db=0.15), reading(-pad, levels[1], std_db=0.15)], gain_std_db=0.0
        )
        inside += found.low_db <= sent <= found.high_db
        settled += found.kind == "agreed"
    assert inside >= 186  # 93 % of them
    assert 10 < settled < 120


# The 95 % of three settings: 120 receivers drawn; the doubt is not wasted either.
def test_law_the_doubt_of_three_settings_holds():
    rng = np.random.default_rng(12)
    inside, widths = 0, []
    for _ in range(120):
        sent, made, phase = rng.uniform(-40, -28), rng.uniform(-40, -22), np.sin(rng.uniform(-np.pi / 2, np.pi / 2))
        gains = (0.0, -6.0, -14.0)
        levels = [shown(gain, sent_db=sent, made_db=made, phase=phase) + rng.normal(0, 0.1) for gain in gains]
        found = transmitted_level(
            [reading(gain, level, std_db=0.1) for gain, level in zip(gains, levels, strict=True)], gain_std_db=0.0
        )
        inside += found.low_db <= sent <= found.high_db
        widths.append(found.high_db - found.low_db)
    assert inside >= 111  # 93 % of them
    assert np.median(widths) < 1.5


def test_law_two_settings_that_agree_settle_it():
    found = transmitted_level([reading(0.0, -35.05), reading(-10.0, -35.0)], gain_std_db=0.1)
    assert found.kind == "agreed"
    assert found.value_db == pytest.approx(-35.0)
    assert found.low_db > -35.4
    assert found.high_db < -34.6
    assert {one.region for one in found.judged} == {"true"}
    assert found.next_pad_db is None


# 2 dB of pad change too little to settle anything by agreeing.
def test_limit_a_small_step_settles_nothing():
    found = transmitted_level([reading(0.0, -35.0), reading(-2.0, -35.0)], gain_std_db=0.1)
    assert found.kind == "interval"
    assert found.high_db - found.low_db > 3


def test_limit_one_setting_is_unknown_however_often_it_is_read():
    found = transmitted_level([reading(0.0, -35.0), reading(0.0, -35.1)], gain_std_db=0.1)
    assert (found.kind, found.value_db, found.low_db, found.high_db) == ("unknown", None, None, None)
    assert found.next_pad_db == 10.0
    assert {one.region for one in found.judged} == {"unknown"}


# Known input noise is taken off; a reading that is nearly all noise says so and does not count.
def test_law_noise_is_taken_off_and_named():
    levels = {
        gain: shown(gain, sent_db=-34, made_db=-28, phase=0.2, noise_db=-55) for gain in (0.0, -6.0, -15.0, -30.0)
    }
    found = transmitted_level(
        [reading(gain, level, std_db=0.05, noise_db=-55 - gain) for gain, level in levels.items()], gain_std_db=0.0
    )
    assert found.kind == "solved"
    assert found.value_db == pytest.approx(-34, abs=0.2)
    regions = {one.reading.gain_db: one.region for one in found.judged}
    assert regions[-30.0] == "noise"
    assert regions[0.0] == "receiver-made"
    assert regions[-15.0] == "true"
    # Least in all: products fall with gain, noise rises.
    assert -20 < found.best_gain_db < -8


# The pad advised leaves less doubt than the readings had.
def test_law_the_advised_pad_helps():
    def level(gain):
        return shown(gain, sent_db=-34, made_db=-28, phase=-0.5)

    two = [reading(0.0, level(0.0)), reading(-6.0, level(-6.0))]
    before = transmitted_level(two, gain_std_db=0.0)
    gain = -6.0 - before.next_pad_db
    after = transmitted_level([*two, reading(gain, level(gain))], gain_std_db=0.0)
    assert after.high_db - after.low_db < 0.3 * (before.high_db - before.low_db)


def test_message_no_reading_and_no_doubt():
    with pytest.raises(RangeError, match="no reading to judge: give at least one"):
        transmitted_level([], gain_std_db=0.1)
    with pytest.raises(RangeError, match="doubt of a reading must be above 0 dB: say how well it repeats"):
        transmitted_level([reading(0.0, -30.0, std_db=0.0)], gain_std_db=0.1)


# Every receiver on a grid that shows the same at both gains: the worst of them is the bound, by search.
@pytest.mark.parametrize("step_db", [6.0, 10.0, 20.0])
def test_law_how_far_two_that_agree_may_mislead(step_db):
    gain = 10 ** (step_db / 10)
    product = np.geomspace(1e-6, 1e2, 200_001)  # C over S, at a gain of 1
    cross = -product * (1 + gain)
    possible = cross**2 <= 4 * product
    shown = 1 + cross + product
    assert 1 + cross[possible] * gain + product[possible] * gain**2 == pytest.approx(shown[possible])
    assert cancels_db(step_db) == pytest.approx(-10 * np.log10(shown[possible].min()), abs=0.01)


# Outside the project: receivers that bend as tanh, not by the third order alone, on band-limited noise by numpy; up to
# shoulders of their own 24 dB below the signal.
def test_law_the_doubt_holds_for_receivers_that_saturate_softly():
    n, inside, cases = 1 << 15, 0, 40
    frequency = np.fft.fftfreq(n)
    in_band, beside = np.abs(frequency) < 0.1, (np.abs(frequency) > 0.108) & (np.abs(frequency) < 0.135)
    rng = np.random.default_rng(21)

    def level_db(samples):
        power = np.abs(np.fft.fft(samples)) ** 2
        return 10 * np.log10(power[beside].mean() / power[in_band].mean())

    for _ in range(cases):
        signal = np.fft.ifft(np.fft.fft(rng.standard_normal((n, 2)) @ np.array([1, 1j])) * in_band)
        signal /= np.sqrt(np.mean(np.abs(signal) ** 2))
        turn = np.exp(1j * rng.uniform(-np.pi, np.pi))
        sent = signal * (1 + 10 ** (rng.uniform(-40, -30) / 20) * turn * np.abs(signal) ** 2)
        top = 10 ** (rng.uniform(-17, -12) / 10)  # mean power over the intercept at the highest gain
        readings = []
        for gain_db in (0.0, -6.0, -14.0):
            drive = np.sqrt(3 * top * 10 ** (gain_db / 10))
            shown = sent * np.tanh(drive * np.abs(sent)) / np.abs(sent)
            readings.append(reading(gain_db, level_db(shown) + rng.normal(0, 0.1), std_db=0.1))
        found = transmitted_level(readings, gain_std_db=0.0)
        inside += found.low_db <= level_db(sent) <= found.high_db
    assert inside >= 0.9 * cases
