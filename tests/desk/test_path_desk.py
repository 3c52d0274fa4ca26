"""``tepui path`` from the command line: the scenario of two stations, the named terms, and bad input."""

import pytest

from propagation_cases import DATA, rows_of
from tepui.cli.main import main

SCENARIO = (
    "path --from HI45kt --to HI46ob --frequency|436 MHz|--tx-height|72 m|--rx-height|32 m|--model knife-edge "
    "--earth-radius 4/3 --clutter-loss|17 dB|--width|2 MHz|--fft 2K --guard 1/32 --tx-power|33.0 dBm|"
    "--tx-feeder|1.6 dB|--tx-gain|11 dBi|--rx-gain|13 dBi|--rx-feeder|2.1 dB|--rx-noise-figure|3.0 dB|"
    "--external-noise|4.0 dB|"
    "--edition V1.1.2 --implementation-loss|2 dB|--margin|6 dB"
)


def words(text):
    """Split at blanks, except between bars."""
    found = []
    for number, part in enumerate(text.split("|")):
        found += part.split() if number % 2 == 0 else [part]
    return [word for word in found if word]


def ask(capsys, read_json, *given):
    assert main([*given, "--json"]) == 0
    document = read_json(capsys.readouterr().out)
    return document, {finding["key"]: finding for finding in document["findings"]}


@pytest.fixture
def scenario(capsys, read_json):
    # the antennas' heights above the sea, 72 and 32 m; the ridge is 40 m high exactly at mid-path
    return ask(capsys, read_json, *words(SCENARIO), "--profile", str(DATA / "ridge.csv"))


# Acceptance scenario of Tern Hill and Low Fen: 0.1 dB, 1 % of other quantities, 0.01 MHz for edges.
@pytest.mark.parametrize(
    ("key", "expected", "within"),
    [
        ("distance_m", 46.26e3, 463),
        ("bearing_out_deg", 53.1, 0.53),
        ("bearing_back_deg", 233.0, 2.3),
        ("loss_free_space_db", 118.5, 0.1),
        ("earth_bulge_m", 31.5, 0.3),
        ("obstacle_height_m", 19.5, 0.2),
        ("fresnel_radius_m", 89.2, 0.9),
        ("diffraction_parameter", 0.309, 0.003),
        ("loss_knife_edge_db", 8.7, 0.1),
        ("eirp_dbm", 42.4, 0.1),
        ("receive_level_dbm", -88.8, 0.1),
        ("system_noise_db", 6.76, 0.1),
        ("noise_power_dbm", -104.4, 0.1),
        ("cn_db", 15.6, 0.1),
        ("pep_dbm", 42.6, 0.1),
        ("channel_lower_hz", 435.05e6, 1e4),
        ("channel_upper_hz", 436.95e6, 1e4),
        ("margin_db", 6.8, 0.1),
    ],
)
def test_published_figures_of_the_scenario(scenario, key, expected, within):
    assert scenario[1][key]["value"] == pytest.approx(expected, abs=within)


def test_published_margins_and_choice_of_the_scenario(scenario):
    document, found = scenario
    table = document["tables"]["mode_margins"]
    names = [column["key"] for column in table["columns"]]
    rows = {(row[1], row[2]): dict(zip(names, row, strict=True)) for row in table["rows"]}
    for mode, margin_db, rate_bps in (
        (("QPSK", "1/2"), 10.0, 1.508e6),
        (("QPSK", "2/3"), 7.9, 2.011e6),
        (("QPSK", "3/4"), 6.8, 2.262e6),
        (("16QAM", "1/2"), 4.0, 3.016e6),
        (("16QAM", "2/3"), 2.0, 4.021e6),
    ):
        assert rows[mode]["margin_db"] == pytest.approx(margin_db, abs=0.1), mode
        assert rows[mode]["net_bit_rate_bps"] == pytest.approx(rate_bps, abs=500), mode
    assert found["mode_choice"]["value"] == "2 MHz 2K QPSK 3/4 guard 1/32"
    assert found["channel_model"]["value"] == "ricean"


def test_published_musts_of_the_scenario(scenario):
    found = scenario[1]
    assert 3e3 <= found["locator_doubt_m"]["value"] <= 4e3
    assert found["satellite_segment"]["kind"] == "caution"
    assert found["satellite_segment"]["value"] == "435-438 MHz"
    assert found["dominant_unknown"]["value"] == "clutter guess of 17 dB"
    assert "9.6 dB above the mean" in found["pep_dbm"]["remark"]
    for key in ("loss_total_db", "cn_db", "margin_db"):
        assert found[key]["value"] - found[key]["low"] >= 5
        assert found[key]["high"] - found[key]["value"] >= 5
    assert "not certainty" in found["mode_choice"]["remark"]


@pytest.mark.parametrize("verdict", [" safe", "legal", "will work"])
def test_law_no_verdict_is_printed(capsys, verdict):
    ridge = str(DATA / "ridge.csv")
    given = [*words(SCENARIO), "--profile", ridge, "--exposure", "--licence", "--country", "DE"]
    assert main(given) == 0
    assert verdict not in capsys.readouterr().out.lower()


# The ten published delta-Bullington rows through the command line, within the 0.01 dB asked.
@pytest.mark.parametrize("row", rows_of(DATA / "p526" / "cases.csv"), ids=lambda row: row["case"])
def test_published_terms_from_the_command_line(capsys, read_json, row):
    _, found = ask(
        capsys, read_json, "path", "--profile", str(DATA / "p526" / row["profile_file"]),
        "--frequency", f"{row['f_ghz']} GHz", "--tx-height", f"{row['htg_m']} m", "--rx-height", f"{row['hrg_m']} m",
        "--model", "p526",
    )  # fmt: skip
    for key, column in (
        ("loss_bullington_actual_db", "Lbulla_db"),
        ("loss_bullington_smooth_db", "Lbulls_db"),
        ("loss_spherical_db", "Ldsph_db"),
        ("loss_diffraction_db", "Ld_db"),
    ):
        assert found[key]["value"] == pytest.approx(float(row[column]), abs=0.01)
    total = found["loss_free_space_db"]["value"] + found["loss_diffraction_db"]["value"]
    assert found["loss_total_db"]["value"] == pytest.approx(total)


# One row of each validation set with every option of the quick question; zones are uniform on these paths.
def test_published_p1812_and_p452_from_the_command_line(capsys, read_json, tmp_path):
    row = rows_of(DATA / "p1812" / "rburg_urban_with_clutter_expected.csv")[1]
    _, found = ask(
        capsys, read_json, "path", "--profile", as_profile("p1812/rburg_urban_with_clutter", tmp_path),
        "--frequency", f"{float(row['f_ghz']) * 1e3} MHz", "--tx-height", f"{row['htg_m']} m",
        "--rx-height", f"{row['hrg_m']} m", "--model", "p1812", "--time", f"{row['p_pct']} %", "--delta-n", row["DN"],
        "--n0", row["N0"], "--latitude", f"{row['phi_deg']} deg", "--sea-fraction", row["omega"],
    )  # fmt: skip
    for key, column in (("loss_total_db", "Lb_db"), ("loss_ducting_db", "Lba"), ("loss_troposcatter_db", "Lbs"),
                        ("loss_free_space_db", "Lbfs"), ("loss_diffraction_db", "Ld50"),
                        ("loss_diffraction_time_db", "Ldp"),
                        ("field_strength_1kw_dbuvm", "Ep_1kW_erp_dbuvm")):  # fmt: skip
        assert found[key]["value"] == pytest.approx(float(row[column]), abs=0.01), key
    row = rows_of(DATA / "p452" / "flat_land_100km_expected.csv")[25]
    _, found = ask(
        capsys, read_json, "path", "--profile", as_profile("p452/flat_land_100km", tmp_path),
        "--frequency", f"{row['f_GHz']} GHz", "--tx-height", f"{row['htg_m']} m", "--rx-height", f"{row['hrg_m']} m",
        "--model", "p452", "--time", f"{row['p']} %", "--delta-n", row["DN"], "--n0", row["N0"], "--polarisation",
        "vertical", "--latitude", "51.35035 deg", "--coast-tx", "500 km", "--coast-rx", "500 km",
    )  # fmt: skip
    for key, column, within in (("loss_free_space_db", "Lbfsg", 0.01), ("loss_line_of_sight_db", "Lb0p", 0.01),
                                ("loss_diffraction_db", "Ld50", 0.01), ("loss_ducting_db", "Lba", 0.2)):  # fmt: skip
        assert found[key]["value"] == pytest.approx(float(row[column]), abs=within), key


def as_profile(name, folder):
    """The columns of a validation profile that ``tepui path`` takes."""
    path = DATA / f"{name}_profile.csv"
    place = folder / path.name
    lines = [f"{row['d_km']},{row['h_m_asl']},{row['clutter_m']}" for row in rows_of(path)]
    place.write_text("\n".join(["d_km,h_m,clutter_m", *lines]), encoding="utf-8")
    return str(place)


BASE = ["path", "--frequency", "1 GHz", "--tx-height", "30 m", "--rx-height", "30 m"]


@pytest.mark.parametrize(
    ("given", "sentence"),
    [
        (["--from", "ZZ99", "--to", "HI46ob"], "character 1 must be A to R, not Z"),
        (["--from", "HI45kt", "--to", "HI45kt"], "are the same place"),
        (["--from", "HI45kt"], "give both --from and --to"),
        ([], "the path is not told"),
        (["--from", "HI45kt", "--to", "HI46ob", "--tx-height", "0 m"], "must be a number above zero in m, not 0"),
        (["--from", "HI45kt", "--to", "HI46ob", "--model", "p1812", "--frequency", "10 GHz"], "between 0.03 and 6 GHz"),
        (["--from", "HI45kt", "--to", "HI46ob", "--time", "80 %", "--model", "p1812"], "between 1 and 50 %"),
        (["--from", "HI45kt", "--to", "HI46ob", "--tx-power", "33 dBm"], "missing: --tx-gain, --rx-gain"),
        (["--from", "HI45kt", "--to", "HI46ob", "--terrain", "nowhere.hgt"], "does not exist"),
        (["--profile", "ridge", "--from", "HI45kt", "--to", "HI55ob"], "one of them is another path"),
        (["--from", "HI45kt", "--to", "HI46ob", "--delta-n", "much"], "--delta-n takes a bare number"),
        (["--from", "HI45kt", "--to", "HI46ob", "--exposure"], "need the link"),
        (["--from", "HI45kt", "--to", "HI46ob", "--clutter-loss", "-4 dB"], "must be at least 0 dB"),
        (["--from", "HI45kt", "--to", "HI46ob", "--clutter-height", "9 m"], "stands on --terrain"),
        (["--from", "HI45kt", "--to", "HI46ob", "--location-spread", "-5 dB"], "location spread must lie between 0"),
        (["--from", "HI45kt", "--to", "HI46ob", "--tx-height", "400 km"], "between 0 and 20000 m"),
        (["--from", "HI45kt", "--to", "HI46ob", "--sea-fraction", "140 %"], "must lie between 0 and 1 (a share"),
    ],
)
def test_bad_input_is_one_sentence(capsys, given, sentence):
    given = [str(DATA / "ridge.csv") if word == "ridge" else word for word in given]
    assert main([*BASE, *given]) == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    assert sentence in shown.err
    assert shown.err.count("\n") == 1


def test_law_the_text_shows_what_the_document_holds(capsys, read_json):
    given = [*BASE, "--from", "HI45kt", "--to", "HI46ob", "--model", "p1812", "--declination", "3 deg"]
    assert main(given) == 0
    text = capsys.readouterr().out
    _, found = ask(capsys, read_json, *given)
    assert f"{found['loss_free_space_db']['value']:.2f} dB" in text
    turned = (found["bearing_out_deg"]["value"] - 3) % 360
    assert found["bearing_magnetic_out_deg"]["value"] == pytest.approx(turned)
    assert "smooth Earth is assumed" in found["distance_m"]["remark"]


def test_law_strict_fails_where_no_mode_keeps_the_margin(capsys):
    given = [*words(SCENARIO), "--profile", str(DATA / "ridge.csv"), "--margin", "30 dB"]
    assert main(given) == 0
    assert main([*given, "--strict"]) == 1
    assert "No mode keeps 30 dB" in " ".join(capsys.readouterr().out.split())
