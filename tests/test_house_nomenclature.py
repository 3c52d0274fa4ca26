"""The page of words and the program say the same."""

import pytest

from nomenclature import nomenclature_keys, nomenclature_rows, nomenclature_tables
from tepui.ground.finding_text import label_text

# What a reception was promised to state, typed from the task and not from the page.
RECEPTION = (
    "dvbt_found fft_size guard_fraction constellation code_rate hierarchy cell_id inverted channel_width_hz",
    "frequency_offset_hz sample_clock_ppm mer_db mer_without_lines_db ber_before_viterbi ber_after_viterbi packets",
    "packets_corrected packets_uncorrectable net_bit_rate_bps service_name delay_s path_m level_db beyond_guard",
)
SPECTRUM = (
    "shoulder_lower_db shoulder_upper_db shoulder_worst_db shoulder_lower_shown_db shoulder_upper_shown_db",
    "shoulder_worst_shown_db occupied_width_99_hz crest_0_01pct_db snr_prefix_db phase_error_rms_deg",
    "iq_gain_imbalance_db iq_quadrature_error_deg carrier_suppression_db margin_db",
)
UNIT_WORDS = "1 Hz s m m² dB dBi dBm dBc/Hz dBµV/m bit/s ppm ° W W/m² V A K h °C K/W m3/s Ohm F H"
UNITS = {"", *UNIT_WORDS.split()}
ENDINGS = {
    "_hz": "Hz",
    "_s": "s",
    "_m": "m",
    "_db": "dB",
    "_dbm": "dBm",
    "_dbc": "dB",
    "_bps": "bit/s",
    "_ppm": "ppm",
    "_deg": "°",
}


def test_law_what_a_reception_states_is_named(nomenclature):
    assert set(" ".join(RECEPTION).split()) <= set(nomenclature)
    assert {"echoes", "mer_by_carrier", "mer_by_symbol", "locks"} <= set(nomenclature_tables())


def test_law_what_a_spectrum_states_is_named(nomenclature):
    assert set(" ".join(SPECTRUM).split()) <= set(nomenclature)
    assert {"lines", "spectrum"} <= set(nomenclature_tables())


def test_law_one_key_one_row():
    keys = [row["key"] for row in nomenclature_rows()]
    assert len(keys) == len(set(keys))


@pytest.mark.parametrize("row", nomenclature_rows(), ids=lambda row: row["key"])
def test_law_every_row_is_whole_and_its_word_is_the_one_shown(row):
    assert row["word"] == label_text(row["key"])
    assert all(row[cell] for cell in ("symbol", "unit", "meaning", "source"))
    unit = nomenclature_keys()[row["key"]]
    assert unit in UNITS
    ending = "_" + row["key"].rsplit("_", 1)[-1]
    if ending in ENDINGS and "_" in row["key"] and row["key"] != "worst_m":  # m LO + n IF: a multiple, no metres
        assert unit == ENDINGS[ending]


def test_law_the_tables_bear_the_words_shown():
    assert {name: label_text(name) for name in nomenclature_tables()} == nomenclature_tables()
