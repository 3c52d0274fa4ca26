"""The practice receivers with gain steps: every stated fault found again in what they write down."""

from dataclasses import replace

import numpy as np
import pytest
from practice_loops import MODE, levels_db, loop

from tepui.chain.amplifiers.drive_curve import drive_curve
from tepui.evidence.converter import converter_from, sums_of_recording
from tepui.ground.errors import ChoiceError, RangeError
from tepui.practice.air import Air, send_loop
from tepui.practice.front_end import FrontEnd
from tepui.practice.listening import Listener, ReceiverSetting, converted, filled, settings_of, sweep
from tepui.practice.receiver import PhaseNoise
from tepui.practice.tuner import MIDDLE_12_BIT, NARROW_8_BIT, GainSteps, with_faults
from tepui.prediction.waveform_density import view_of_mode

CENTRE_HZ = 1275e6
LINEAR = FrontEnd(input_intercept_dbm=90.0, mixer_intercept_dbm=120.0)
FAULTLESS = replace(
    MIDDLE_12_BIT,
    bits=16,
    sample_rate_hz=2.4e6,
    filter_cutoff_hz=1.03e6,
    filter_order=4,
    front_end=LINEAR,
    image_db=-120.0,
    dc_dbfs=None,
    crystal_ppm=0.0,
    phase_noise=None,
    converter_noise_lsb=0.0,
)


def carrier(offset_hz):
    """A steady carrier on the air instead of a transmission, whole turns of a loop of 20 ms."""
    n, rate_hz = 1 << 19, 32e6
    turns = round(offset_hz * n / rate_hz) * np.arange(n) / n
    samples = np.exp(2j * np.pi * turns).astype(np.complex64)
    return Air(mode=MODE, samples=samples, rate_hz=rate_hz, centre_hz=CENTRE_HZ), round(offset_hz * n / rate_hz) / (
        n / rate_hz
    )


def sent(amplifier=lambda x: x, **more):
    return send_loop(loop(), amplifier=amplifier, drive_w=1.0, centre_hz=CENTRE_HZ, **more)


def setting(tuned_hz=CENTRE_HZ, **more):
    return ReceiverSetting(**{"tuned_hz": tuned_hz, "frontend_gain_db": 24.0, "if_gain_db": 20.0, **more})


def line_power_db(samples, frequency_hz, rate_hz):
    """Power of a steady line in dB of full scale (a carrier that fills it: 0 dB)."""
    weights = np.hanning(len(samples))
    turn = np.exp(-2j * np.pi * frequency_hz / rate_hz * np.arange(len(samples)))
    return 20 * np.log10(abs(np.sum(samples * turn * weights)) / weights.sum())


# W. R. Bennett 1948: a full-scale sine over the rounding noise of N bits is 6.02 N + 1.76 dB.
@pytest.mark.parametrize("bits", [8, 12])
def test_published_converter_noise(bits):
    receiver = replace(FAULTLESS, bits=bits)
    n = 1 << 17
    tone = np.exp(2j * np.pi * 0.1234567 * np.arange(n)).astype(np.complex64)
    error = converted(tone * np.float32(0.999), receiver, np.random.default_rng(1)) - tone * np.float32(0.999)
    assert -10 * np.log10(np.mean(np.abs(error) ** 2)) == pytest.approx(6.02 * bits + 1.76, abs=0.25)


def test_law_codes_are_those_of_the_sample_type():
    recording = Listener(NARROW_8_BIT, sent(), level_dbm=-40, seed=1).record(setting(), duration_s=5e-3, name="one")
    axes = recording.read(0, recording.n_samples).view(np.float32) * 127.5 + 127.5
    assert axes == pytest.approx(np.rint(axes), abs=1e-3)
    assert (recording.sample_type, recording.practice, recording.centre_hz) == ("cu8", True, CENTRE_HZ)
    assert recording.stretches[0].settings == settings_of(setting())
    twelve = Listener(MIDDLE_12_BIT, sent(), level_dbm=-40, seed=1).record(setting(), duration_s=2e-3, name="two")
    codes = twelve.read(0, twelve.n_samples).view(np.float32) * 32767 / 16
    assert codes == pytest.approx(np.rint(codes), abs=2e-2)
    assert twelve.sample_type == "ci16_le"


# Level at the connector, both gains and full scale of +4 dBm: -50 + 24 + 20 - 4 = -10 dB.
def test_law_gain_in_steps_with_their_errors():
    air, place_hz = carrier(200e3)
    receiver = replace(
        FAULTLESS,
        frontend_gain=GainSteps(nominal_db=(18.0, 24.0), errors_db=(0.7, -0.4)),
        if_gain=GainSteps(nominal_db=(20.0,), errors_db=(0.25,)),
    )
    listener = Listener(receiver, air, level_dbm=-50.0, seed=1)
    for gain_db, level_db in ((24.0, -10 - 0.4 + 0.25), (18.0, -16 + 0.7 + 0.25)):
        heard = listener.block(setting(frontend_gain_db=gain_db), start_s=0.0, n_samples=20000)
        assert line_power_db(heard, place_hz, 2.4e6) == pytest.approx(level_db, abs=0.02)
    padded = listener.block(setting(attenuator_db=7.0), start_s=0.0, n_samples=20000)
    assert line_power_db(padded, place_hz, 2.4e6) == pytest.approx(-17.15, abs=0.02)
    with pytest.raises(ChoiceError, match=r"frontend_gain_db must be 18.0 or 24.0 .*Nearest: 24.0"):
        listener.block(setting(frontend_gain_db=23.0), start_s=0.0, n_samples=10)


# Butterworth: 3.01 dB at the cut-off, 10 log(1 + (f/f3)^(2n)) elsewhere.
@pytest.mark.parametrize(("offset_hz", "loss_db"), [(0.4e6, 0.002), (0.9e6, 1.27), (1.03e6, 3.01), (-1.03e6, 3.01)])
def test_published_droop(offset_hz, loss_db):
    air, place_hz = carrier(offset_hz)
    heard = Listener(FAULTLESS, air, level_dbm=-50.0, seed=1).block(setting(), start_s=0.0, n_samples=20000)
    assert -10 - line_power_db(heard, place_hz, 2.4e6) == pytest.approx(loss_db, abs=0.03)
    assert FAULTLESS.filter_db([offset_hz])[0] == pytest.approx(-loss_db, abs=0.02)


# One crystal: true tuning and true rate are both higher, so a line at f shows at (f - f_LO (1 + e)) / (1 + e).
def test_law_crystal_error():
    air, place_hz = carrier(300e3)
    receiver = replace(FAULTLESS, crystal_ppm=25.0)
    heard = Listener(receiver, air, level_dbm=-50.0, seed=1).block(setting(), start_s=0.01, n_samples=40000)
    expected_hz = (CENTRE_HZ + place_hz - CENTRE_HZ * (1 + 25e-6)) / (1 + 25e-6)
    lines = np.fft.fft(heard * np.hanning(len(heard)), 1 << 22)
    found_hz = np.fft.fftfreq(1 << 22, 1 / 2.4e6)[np.argmax(np.abs(lines))]
    assert found_hz == pytest.approx(expected_hz, abs=0.6)


def test_law_image_and_line_at_zero():
    air, place_hz = carrier(300e3)
    receiver = replace(FAULTLESS, image_db=-33.0, dc_dbfs=-41.0)
    heard = Listener(receiver, air, level_dbm=-50.0, seed=1).block(setting(), start_s=0.0, n_samples=40000)
    assert line_power_db(heard, -place_hz, 2.4e6) - line_power_db(heard, place_hz, 2.4e6) == pytest.approx(
        -33, abs=0.02
    )
    assert line_power_db(heard, 0.0, 2.4e6) == pytest.approx(-41, abs=0.05)


# k T0 F G in the filter's noise bandwidth, the receiver terminated: the definition of the noise figure at 290 K.
def test_published_noise_of_the_receiver():
    receiver = replace(FAULTLESS, front_end=replace(LINEAR, first_noise_figure_db=5.0, second_noise_figure_db=12.0))
    listener = Listener(receiver, sent(), level_dbm=-40.0, seed=1)
    heard = listener.block(setting(if_gain_db=50.0, terminated=True), start_s=0.0, n_samples=48000)
    offset_hz = np.linspace(-1.4e6, 1.4e6, 4001)
    bandwidth_hz = float(np.trapezoid(receiver.filter_amplitude(offset_hz) ** 2, offset_hz))
    figure_db = 10 * np.log10(10**0.5 + (10**1.2 - 1) / 10**2.4)
    expected_db = -173.975 + figure_db + 10 * np.log10(bandwidth_hz) + 24 + 50 - 4
    assert 10 * np.log10(np.mean(np.abs(heard) ** 2)) == pytest.approx(expected_db, abs=0.1)
    again = listener.block(setting(if_gain_db=50.0, terminated=True), start_s=0.02, n_samples=48000)
    assert abs(np.vdot(heard, again)) < 0.02 * np.vdot(heard, heard).real


# Leeson-free plateau: L(f) = L0 / (1 + (f/fc)^2), so -90 dBc/Hz with 10 kHz is -110.04 dBc/Hz 100 kHz away.
def test_published_phase_noise_beside_a_carrier():
    air, place_hz = carrier(0.0)
    receiver = replace(FAULTLESS, phase_noise=PhaseNoise(plateau_dbc_hz=-90.0, corner_hz=10e3))
    heard = Listener(receiver, air, level_dbm=-35.0, seed=1).block(
        setting(if_gain_db=12.0), start_s=0.0, n_samples=39000
    )
    lines = np.abs(np.fft.fft(heard * np.hanning(len(heard)))) ** 2
    frequency = np.fft.fftfreq(len(heard), 1 / 2.4e6)
    beside = np.abs(np.abs(frequency - place_hz) - 100e3) < 15e3
    noise_hz = lines[beside].mean() / (1.5 * 2.4e6 / len(heard)) / (lines[np.abs(frequency - place_hz) < 200].max())
    assert 10 * np.log10(noise_hz) == pytest.approx(-110.04, abs=0.7)


# The products of the whole transmission fall into a window 2.4 MHz wide: behind the front end as a wide, ideal
# receiver would see it, and in the narrow recording, the levels beside the channel are the same.
def test_law_a_narrow_window_holds_the_products_of_all_that_is_on_the_air():
    receiver = replace(
        NARROW_8_BIT,
        bits=16,
        front_end=FrontEnd(mixer_intercept_dbm=10.0, input_intercept_dbm=40.0),
        image_db=-120.0,
        dc_dbfs=None,
        crystal_ppm=0.0,
        phase_noise=None,
    )
    air = sent()
    listener = Listener(receiver, air, level_dbm=-33.0, seed=1)
    behind = listener.behind_front_end(setting(), name="truth")
    wide = levels_db(behind.read(0, behind.n_samples), air)
    share = 10 ** ((-33 + 24 - 10) / 10)
    expected = drive_curve(lambda x: x * (1 - share * np.abs(x) ** 2), 1.0, view_of_mode(MODE)).points_db[0]
    assert wide == pytest.approx(np.tile(expected, 2), abs=0.3)
    edge_hz = CENTRE_HZ + MODE.occupied_width_hz / 2
    heard = listener.block(setting(tuned_hz=edge_hz, if_gain_db=2.0), start_s=0.0, n_samples=141000)
    lines = np.abs(np.fft.fft(heard)) ** 2
    frequency = np.fft.fftfreq(len(heard), 1 / 2.4e6)
    lines /= receiver.filter_amplitude(frequency) ** 2
    inside = lines[(frequency > -0.8e6) & (frequency < -0.02e6)].mean()
    beside = [10 * np.log10(lines[np.abs(frequency - at) < 60e3].mean() / inside) for at in (300e3, 500e3, 700e3)]
    assert beside == pytest.approx(wide[3:], abs=0.2)


def test_law_time_goes_on_round_the_loop_and_blocks_join():
    air, place_hz = carrier(250e3)
    listener = Listener(replace(FAULTLESS, crystal_ppm=11.0), air, level_dbm=-50.0, seed=1)
    whole = listener.block(setting(), start_s=0.0, n_samples=90_000)  # two and a half turns
    rate_hz = 2.4e6 * (1 + 11e-6)
    turn = (place_hz - CENTRE_HZ * 11e-6) / rate_hz * np.arange(len(whole))
    model = np.exp(2j * np.pi * turn)
    factor = np.vdot(model, whole) / len(whole)
    assert abs(factor) == pytest.approx(10**-0.5, rel=2e-3)
    assert np.sqrt(np.mean(np.abs(whole - factor * model) ** 2)) < 3e-3 * abs(factor)
    later = listener.block(setting(), start_s=30_000 / rate_hz, n_samples=1000)
    assert np.sqrt(np.mean(np.abs(later - whole[30_000:31_000]) ** 2)) < 5e-3 * abs(factor)


def test_law_the_same_question_has_the_same_answer():
    one, two, other = (
        Listener(with_faults(NARROW_8_BIT, seed=seed), sent(), level_dbm=-45, seed=seed).block(
            setting(), start_s=0.003, n_samples=4000
        )
        for seed in (1, 1, 2)
    )
    assert np.array_equal(one, two)
    assert not np.array_equal(one, other)


def test_law_a_filled_converter_is_neither_starved_nor_clipped():
    listener = Listener(with_faults(NARROW_8_BIT, seed=4), sent(), level_dbm=-42, seed=1)
    for tuned_hz in (CENTRE_HZ, CENTRE_HZ + 4.0e6, CENTRE_HZ - 5.5e6):
        best = filled(listener, setting(tuned_hz=tuned_hz))
        use = converter_from(sums_of_recording(listener.record(best, duration_s=0.01, name="one")))
        assert use.clipped_share < 1e-4
        rms_db = 10 * np.log10(np.sum(use.spread**2) / 127.5**2)
        assert rms_db == pytest.approx(-12, abs=1.6) or best.if_gain_db == listener.receiver.if_gain.nominal_db[-1]


def test_law_a_sweep_takes_its_time():
    listener = Listener(NARROW_8_BIT, sent(), level_dbm=-45, seed=1)
    one, two = sweep(listener, [setting(), setting()], duration_s=2e-3, name="s")
    assert (one.name, two.name) == ("s_01", "s_02")
    assert abs(np.vdot(one.read(0, 4800), two.read(0, 4800))) < 0.1 * np.vdot(one.read(0, 4800), one.read(0, 4800)).real


def test_limit_what_is_no_receiver_is_refused():
    with pytest.raises(RangeError, match="bits must lie between 8 and 16 bit"):
        replace(NARROW_8_BIT, bits=6)
    with pytest.raises(ChoiceError, match=r"number of errors must be 2 .*not 1"):
        GainSteps(nominal_db=(0.0, 6.0), errors_db=(0.1,))
    with pytest.raises(RangeError, match="start_s must lie between 0"):
        Listener(NARROW_8_BIT, sent(), level_dbm=-45, seed=1).block(setting(), start_s=-1.0, n_samples=10)
