"""Rates and durations of every mode against the tables; what is no mode is refused."""

from fractions import Fraction

import pytest

from tepui.ground.errors import ChoiceError, RangeError
from tepui.signals.dvbt.mode import Mode
from tepui.tables.load import load_table

SIZES = {"2K": 2048, "4K": 4096, "8K": 8192}


def a_mode(**changes):
    usual = {
        "width_hz": 7e6,
        "n_fft": 8192,
        "guard": Fraction(1, 16),
        "constellation": "QPSK",
        "code_rate": Fraction(3, 4),
    }
    return Mode(**(usual | changes))


# [EN300744] 4.7 Table 17, Annex E and G: exact fractions in the tables dvbt_bitrates_*; 60 modes a width.
@pytest.mark.parametrize("width_mhz", [8, 7, 6, 5])
@pytest.mark.parametrize("n_fft", [2048, 4096, 8192])
def test_published_bit_rates_as_exact_fractions(width_mhz, n_fft):
    rows = list(load_table(f"dvbt_bitrates_{width_mhz}mhz"))
    assert len(rows) == 60
    for row in rows:
        mode = a_mode(
            width_hz=float(row["channel_mhz"]) * 1e6,
            n_fft=n_fft,
            guard=Fraction(row["guard_interval"]),
            constellation=row["constellation"],
            code_rate=Fraction(row["code_rate"]),
        )
        assert mode.net_bit_rate_bps == Fraction(row["net_bitrate_bps_exact_fraction"])
        if row["published_mbps"] and "misprint" not in row["note"]:  # printed to 1 kbit/s
            assert float(mode.net_bit_rate_bps) / 1e6 == pytest.approx(float(row["published_mbps"]), abs=1.1e-3)


# [EN300744] 4.7 Table 16: 45 rows, all whole.
def test_published_packets_per_superframe():
    rows = list(load_table("dvbt_superframe_packets"))
    assert len(rows) == 45
    for row in rows:
        mode = a_mode(
            n_fft=SIZES[row["mode"]], constellation=row["constellation"], code_rate=Fraction(row["code_rate"])
        )
        assert mode.packets_per_superframe == int(row["rs_packets_per_superframe"])


# [EN300744] 4.4 Tables 4 and 5, Annexes E, F, G: 48 rows; the tolerance is the digits printed.
def test_published_ofdm_parameters():
    rows = list(load_table("dvbt_ofdm"))
    assert len(rows) == 48
    for row in rows:
        mode = a_mode(
            width_hz=float(row["channel_mhz"]) * 1e6, n_fft=SIZES[row["mode"]], guard=Fraction(row["guard_interval"])
        )
        assert mode.elementary_period_s * 1e6 == pytest.approx(float(Fraction(row["elementary_period_us"])), rel=1e-12)
        assert mode.sample_rate_hz / 1e6 == pytest.approx(float(row["sample_rate_msps"]), abs=1e-9)
        assert (mode.n_fft, mode.n_carriers) == (int(row["fft_size"]), int(row["carriers_K"]))
        assert (mode.n_data, mode.n_guard) == (int(row["data_carriers"]), int(row["guard_samples"]))
        assert mode.useful_s * 1e6 == pytest.approx(float(row["Tu_us"]), abs=1e-6)
        assert mode.guard_s * 1e6 == pytest.approx(float(row["Tg_us"]), abs=1e-6)
        assert mode.symbol_s * 1e6 == pytest.approx(float(row["Ts_us"]), abs=1e-6)
        assert mode.carrier_spacing_hz == pytest.approx(float(row["carrier_spacing_hz"]), abs=1e-6)
        assert mode.occupied_width_hz / 1e6 == pytest.approx(float(row["outer_carrier_spacing_mhz"]), abs=1e-6)
        assert float(mode.superframe_s) * 1e3 == pytest.approx(float(row["superframe_ms"]), abs=1e-6)


# Two streams share the data cells: with equal rates they carry together what one stream would.
def test_law_two_streams_together_carry_what_one_would():
    rate = Fraction(2, 3)
    for constellation in ("16QAM", "64QAM"):
        one = a_mode(constellation=constellation, code_rate=rate)
        two = a_mode(constellation=constellation, code_rate=rate, alpha=2, code_rate_lp=rate)
        assert two.net_bit_rate_bps + two.net_bit_rate_lp_bps == one.net_bit_rate_bps
        assert two.packets_per_superframe + two.packets_per_superframe_lp == one.packets_per_superframe
        assert two.packets_per_superframe_lp.denominator == 1
    assert one.net_bit_rate_lp_bps == 0


def test_limit_a_narrow_channel_is_the_eight_mhz_one_slowed_down():
    wide, narrow = a_mode(width_hz=8e6), a_mode(width_hz=2e6)
    assert narrow.net_bit_rate_bps * 4 == wide.net_bit_rate_bps
    assert narrow.symbol_s == pytest.approx(4 * wide.symbol_s, rel=1e-12)
    assert wide.inside_standard
    assert a_mode(width_hz=5e6).inside_standard
    assert not narrow.inside_standard
    assert a_mode(width_hz=333e3).net_bit_rate_bps == wide.net_bit_rate_bps * Fraction(333, 8000)


def test_remarks_say_what_no_source_confirms():
    assert a_mode().remarks == ()
    assert "narrower than 5 MHz" in a_mode(width_hz=2e6).remarks[0]
    assert "4K is unverified" in a_mode(n_fft=4096).remarks[0]


def test_text_names_the_mode():
    assert a_mode().text() == "7 MHz 8K QPSK 3/4 guard 1/16"
    two = a_mode(constellation="64QAM", alpha=2, code_rate_lp=Fraction(1, 2), n_fft=2048, width_hz=333e3)
    assert two.text() == "0.333 MHz 2K 64QAM 3/4 alpha 2 low priority 1/2 guard 1/16"


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"guard": Fraction(1, 5)}, r"guard must be 1/32, 1/16, 1/8 or 1/4 \(EN 300 744 4.4\), not 1/5. Nearest: 1/4"),
        ({"n_fft": 1024}, "n_fft must be 2048, 4096 or 8192 .* not 1024. Nearest: 2048"),
        ({"constellation": "64-QAM"}, "constellation must be QPSK, 16QAM or 64QAM .* Nearest: 64QAM"),
        ({"code_rate": Fraction(4, 5)}, "code_rate must be 1/2, 2/3, 3/4, 5/6 or 7/8 .* not 4/5"),
        ({"alpha": 3}, "alpha must be 0, 1, 2 or 4"),
        ({"alpha": 2, "code_rate_lp": Fraction(1, 2)}, "constellation of a hierarchical mode must be 16QAM or 64QAM"),
        ({"alpha": 2, "constellation": "16QAM"}, "code_rate_lp must be 1/2, .* not None"),
        ({"code_rate_lp": Fraction(1, 2)}, r"code_rate_lp must be None without hierarchy \(alpha 0\), not 1/2"),
        ({"in_depth": True}, "n_fft with in-depth interleaving must be 2048 or 4096"),
    ],
)
def test_what_is_no_mode_is_refused(changes, sentence):
    with pytest.raises(ChoiceError, match=sentence):
        a_mode(**changes)


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"width_hz": 9e6}, "channel width must lie between 0.3 and 8 MHz .* not 9"),
        ({"width_hz": 0.2e6}, "channel width must lie between 0.3 and 8 MHz"),
        ({"width_hz": float("nan")}, "channel width must lie between"),
        ({"cell_id": 65536}, "cell_id must lie between 0 and 65535"),
    ],
)
def test_what_is_out_of_range_is_refused(changes, sentence):
    with pytest.raises(RangeError, match=sentence):
        a_mode(**changes)
