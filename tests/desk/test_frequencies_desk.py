"""``tepui frequencies`` as an operator uses it: the scenarios from station files and options, and what is refused."""

import contextlib
import io
import itertools
import re
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from tepui.cli.main import main
from tepui.files.sigmf import write_sigmf
from tepui.signals.recording import Stretch

STATIONS = Path(__file__).parent.parent / "data" / "stations"
QUARRY = ("--wanted", "2346 MHz", "--width", "8 MHz", "--if", "474, 578, 690, 786, 858 MHz", "--side", "low",
          "--local", "690 MHz", "--level", "-15 dBm", "--loss", "8 dB", "--lo-isolation", "28 dB",
          "--filter-width", "40 MHz")  # fmt: skip
PLAN_COLUMNS = [
    "rank", "if_hz", "lo_hz", "side", "inverted", "worst_m", "worst_n", "worst_in_channel_db", "worst_near_db",
    "rejection_lo_db", "rejection_image_db", "verdict", "reason",
]  # fmt: skip
PRODUCT_COLUMNS = [
    "plan", "m", "n", "centre_hz", "low_hz", "high_hz", "width_hz", "level_db_low", "level_db_high", "in_channel",
]  # fmt: skip


def ask(*words):
    """Exit code, stdout and stderr of one command line."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = main(["frequencies", *map(str, words)])
    return code, out.getvalue(), err.getvalue()


def document(read_json, *words):
    code, out, err = ask(*words, "--json")
    assert (code, err) == (0, "")
    return read_json(out)


def findings(found):
    return {(one["about"], one["key"]): one for one in found["findings"]}


def table(found, name):
    one = found["tables"][name]
    keys = [column["key"] for column in one["columns"]]
    return [dict(zip(keys, row, strict=True)) for row in one["rows"]]


@pytest.fixture(params=["station file", "options"])
def quarry_edge(request, read_json):
    words = (STATIONS / "s3.toml",) if request.param == "station file" else QUARRY
    return document(read_json, *words)


# Scenario S3 of the project, every figure but the rods.
def test_published_quarry_edge_plans(quarry_edge):
    plans = {row["if_hz"] / 1e6: row for row in table(quarry_edge, "plans")}
    assert list(quarry_edge["tables"]["plans"]["columns"][0]) == ["key", "unit"]
    assert [plans[one]["verdict"] for one in (858, 578, 474, 690, 786)] == [
        "clean", "clean", "marginal", "rejected", "rejected"]  # fmt: skip
    assert plans[858]["rank"] == 1
    assert (plans[858]["lo_hz"], plans[578]["lo_hz"]) == (1488e6, 1768e6)
    assert plans[858]["rejection_lo_db"] == pytest.approx(62)
    assert "3 IF" in plans[786]["reason"]
    assert "2346.6 to 2369.4" in plans[786]["reason"]
    assert "2351.0 to 2389.0" in plans[474]["reason"]
    assert "upper shoulder" in plans[474]["reason"]
    assert "local service at 690 MHz" in plans[690]["reason"]
    assert all(row["reason"].endswith(".") for row in plans.values())
    found = findings(quarry_edge)
    assert found["station", "image_hz"]["value"] == 630e6
    assert found["stage:mixer", "lo_line_dbm"]["value"] == -21
    assert found["stage:mixer", "wanted_level_dbm"]["value"] == -23
    assert found["stage:mixer", "lo_over_wanted_db"]["value"] == 2
    edges = [found["station", f"channel_{end}_hz"]["value"] / 1e6 for end in ("low", "high")]
    assert edges == pytest.approx([2342.196, 2349.804], abs=0.001)
    assert found["stage:filter", "external_q"]["value"] == pytest.approx(60.5, rel=0.01)
    assert found["stage:filter", "coupling_12"]["value"] == pytest.approx(0.0157, rel=0.01)
    assert found["stage:filter", "midband_loss_db"]["value"] == pytest.approx(0.68, abs=0.1)


def test_published_quarry_edge_musts(quarry_edge):
    found = findings(quarry_edge)
    theory = found["stage:filter", "theory_lo_db"]
    assert (theory["standing"], theory["low"]) == ("at_most", None)
    assert theory["value"] == pytest.approx(100, rel=0.01)
    claimed = found["stage:filter", "claimed_rejection_db"]
    assert (claimed["low"], claimed["high"]) == (60, 70)
    caution = found["stage:filter", "rejection_unproven"]
    assert caution["kind"] == "caution"
    assert "not a fact" in caution["remark"]
    for row in table(quarry_edge, "products"):
        assert row["width_hz"] == pytest.approx(abs(row["n"]) * 7.607143e6, abs=1)


def test_law_the_published_columns_stand(quarry_edge):
    for name, columns in (("plans", PLAN_COLUMNS), ("products", PRODUCT_COLUMNS)):
        assert [column["key"] for column in quarry_edge["tables"][name]["columns"]] == columns


def test_law_products_are_what_plain_arithmetic_makes(quarry_edge):
    plans = {row["rank"]: row for row in table(quarry_edge, "plans")}
    rows = table(quarry_edge, "products")
    for row in rows:
        plan = plans[row["plan"]]
        assert row["m"] * plan["lo_hz"] + row["n"] * plan["if_hz"] == pytest.approx(row["centre_hz"], abs=1)
        assert row["high_hz"] - row["low_hz"] == pytest.approx(row["width_hz"], abs=1)
        assert row["in_channel"] == (row["low_hz"] < 2349803571 and row["high_hz"] > 2342196429)
        assert row["level_db_low"] <= row["level_db_high"]
    lo, signal, half = 1560e6, 786e6, 3803571.5
    touching = {
        (m, n) for m, n in itertools.product(range(-9, 10), repeat=2)
        if 0 < abs(m) + abs(n) <= 9 and m * lo + n * signal > 0 and (m, n) != (1, 1)
        and abs(m * lo + n * signal - 2346e6) < 12e6 + abs(n) * half
    }  # fmt: skip
    rank = next(one for one, row in plans.items() if row["if_hz"] == signal)
    assert touching <= {(row["m"], row["n"]) for row in rows if row["plan"] == rank}


# Scenario S4 of the project.
def test_published_high_ness(read_json):
    found = findings(document(read_json, STATIONS / "s4.toml", "--measured-mer", "19.6 dB"))
    assert found["station", "wanted_hz"]["value"] == 10193e6
    assert found["station", "lo_hz"]["value"] == 9576e6
    oscillator = "stage:oscillator"
    assert found[oscillator, "phase_noise_at_channel_dbchz"]["value"] == pytest.approx(-80.96, abs=0.1)
    assert found[oscillator, "phase_noise_mer_db"]["value"] == pytest.approx(22.1, abs=0.1)
    assert found["station", "mer_ceiling_db"]["value"] == pytest.approx(31.0, abs=0.1)
    assert found["station", "transmitter_mer_db"]["value"] == pytest.approx(21.5, abs=0.1)
    assert found["station", "measuring_converter_mer_db"]["value"] == pytest.approx(24.2, abs=0.1)
    assert found[oscillator, "transmit_error_hz"]["value"] == pytest.approx(4.8e3, rel=0.01)
    far = "path:Q2DEF"
    assert found[far, "converter_error_hz"]["value"] == pytest.approx(146e3, rel=0.01)
    assert found[far, "converter_error_carriers"]["value"] == pytest.approx(175, rel=0.01)
    assert "44 carriers in 2K" in found[far, "converter_error_hz"]["remark"]
    assert found[far, "far_if_hz"]["value"] == 443e6
    assert found[far, "far_can_tune"]["value"] is False
    assert found[far, "far_pulls_in"]["value"] is False
    assert "at least 10224 MHz" in found[far, "far_can_tune"]["remark"]
    assert "modulator goes to 648 MHz" in found[far, "far_can_tune"]["remark"]


def test_published_high_ness_musts(read_json):
    whole = document(read_json, STATIONS / "s4.toml", "--measured-mer", "19.6 dB")
    found = findings(whole)
    assert found["path:Q2DEF", "far_reception"]["standing"] == "unknown"
    assert "calibrate" in found["path:Q2DEF", "far_reception"]["remark"]
    assert found["path:Q2DEF", "calibrate_converter"]["kind"] == "caution"
    quieter = found["stage:oscillator", "quieter_oscillator"]
    assert "quieter oscillator" in quieter["remark"]
    assert "2K gains 0.0" in quieter["remark"]
    measured = found["station", "measuring_converter_caution"]["remark"]
    assert "6 GHz" in measured
    assert "contains the converter" in measured
    assert "will work" not in str(whole)
    by_size = {row["fft_size"]: row for row in table(whole, "phase_noise")}
    assert by_size[2048]["phase_noise_mer_db"] - by_size[8192]["phase_noise_mer_db"] < 0.1
    assert by_size[2048]["phase_noise_quick_mer_db"] == pytest.approx(22.1, abs=0.1)


def test_law_the_order_of_the_list_means_nothing(read_json):
    there = document(read_json, *QUARRY)
    words = [*QUARRY]
    words[words.index("--if") + 1] = "858 MHz, 690 MHz, 474 MHz, 786 MHz, 578 MHz"
    assert document(read_json, *words)["tables"] == there["tables"]


def test_law_the_whole_grid_is_looked_through(read_json):
    found = document(read_json, "--wanted", "1286 MHz", "--width", "7 MHz", "--show", "3")
    plans = table(found, "plans")
    assert len(plans) == 2 * 3301
    assert [row["rank"] for row in plans] == list(range(1, 6603))
    assert {row["side"] for row in plans} == {"low", "high"}
    verdicts = [row["verdict"] for row in plans]
    assert verdicts == sorted(verdicts, key=("clean", "marginal", "rejected").index)


def test_direct_and_a_range_of_the_modulator(read_json):
    found = document(read_json, "--wanted", "436 MHz", "--width", "2 MHz", "--if", "600..800 MHz", "--raster",
                     "50 MHz", "--modulator", "400..700 MHz", "--direct")  # fmt: skip
    plans = table(found, "plans")
    assert (plans[0]["side"], plans[0]["lo_hz"], plans[0]["verdict"]) == ("direct", None, "clean")
    lost = [row for row in plans if row["if_hz"] > 700e6]
    assert all("The modulator tunes 400 to 700 MHz" in row["reason"] for row in lost)
    assert table(found, "products")[0]["width_hz"] == pytest.approx(2 * 1.9018e6, rel=1e-3)


def test_synthesiser_and_wrong_reference(read_json):
    found = document(read_json, *QUARRY, "--reference", "25 MHz", "--reference-error", "2 ppm")
    settings = table(found, "synthesiser_settings")
    best = settings[0]
    made = 25e6 / best["r_divider"] * (best["integer"] + best["frac"] / best["mod"]) / best["output_divider"]
    assert made == pytest.approx(1488e6)
    wrong = {row["actual_hz"]: row["lo_made_hz"] for row in table(found, "wrong_reference")}
    assert wrong[10e6] == pytest.approx(1488e6 * 10 / 25)
    assert findings(found)["stage:oscillator", "transmit_error_hz"]["value"] == pytest.approx(2 * 1488)


def test_two_mixers(read_json):
    found = document(read_json, "--wanted", "2346 MHz", "--width", "8 MHz", "--if", "474 MHz", "--second-if",
                     "900, 1000 MHz", "--side", "low")  # fmt: skip
    for row in table(found, "cascades"):
        assert row["second_if_hz"] in (900e6, 1000e6)
        assert row["lo2_hz"] + row["second_if_hz"] == pytest.approx(2346e6)


def test_own_mixer_table_and_local_band(read_json, tmp_path):
    levels = tmp_path / "mixer.csv"
    levels.write_text("m,n,level_db,doubt_db\n2,1,-61.5,3\n")
    band = tmp_path / "band.csv"
    rows = [f"{mhz / 4},{-30 if 686.2 <= mhz / 4 <= 693.8 else -80}" for mhz in range(4 * 650, 4 * 730)]
    band.write_text("MHz,dB\n" + "\n".join(rows) + "\n")
    words = [*QUARRY]
    del words[words.index("--local") : words.index("--local") + 2]
    found = document(read_json, *words, "--mixer-table", levels, "--local-band", band)
    service = table(found, "local_services")[0]
    assert service["centre_hz"] == pytest.approx(690e6, abs=0.3e6)
    plans = {row["if_hz"]: row for row in table(found, "plans")}
    assert plans[690e6]["verdict"] == "rejected"
    product = next(row for row in table(found, "products") if (row["m"], row["n"]) == (2, -1))
    assert (product["level_db_low"], product["level_db_high"]) == (-64.5, -58.5)
    assert [one["path"] for one in found["inputs"]] == [str(levels), str(band)]


# numpy's random generator: noise shaped to two flat services, at 674 and 690 MHz, in one wide recording, in thirteen of
# a narrow receiver, and in one of the same steps; the scenario's plans on the services must fall, the others stay.
@pytest.mark.parametrize("kind", ["wide", "several", "stepped"])
def test_tool_services_in_recordings_of_the_local_band_reject_plans(read_json, tmp_path, kind):
    rate_hz, centres_mhz = (40e6, [684]) if kind == "wide" else (4e6, [666 + 3 * n for n in range(13)])
    count = 1 << (17 if kind == "wide" else 15)
    rng, blocks = np.random.default_rng(5), []
    for centre in centres_mhz:
        offset = np.fft.fftfreq(count, 1 / rate_hz) / 1e6 + centre
        height = np.where((np.abs(offset - 674) < 3.8) | (np.abs(offset - 690) < 3.8), 0.3, 0.003)
        noise = rng.standard_normal((2, count))
        blocks.append((np.fft.ifft(height * (noise[0] + 1j * noise[1])) * 10).astype(np.complex64))
    paths = (
        [tmp_path / "band.sigmf-meta"] if kind == "stepped" else [tmp_path / f"b{n}.sigmf-meta" for n in centres_mhz]
    )
    if kind == "stepped":
        steps = tuple(
            Stretch(start=n * count, count=count, frequency_hz=centre * 1e6) for n, centre in enumerate(centres_mhz)
        )
        write_sigmf(paths[0], blocks, sample_rate_hz=rate_hz, stretches=steps)
    else:
        for path, block, centre in zip(paths, blocks, centres_mhz, strict=True):
            write_sigmf(path, [block], sample_rate_hz=rate_hz, frequency_hz=centre * 1e6)
    words = [*QUARRY]
    words[words.index("--if") + 1] = "674, 690, 578, 858 MHz"
    del words[words.index("--local") : words.index("--local") + 2]
    words += [word for path in paths for word in ("--local-band", path)]
    found = document(read_json, *words)
    seen = [row["centre_hz"] for row in table(found, "local_services")]
    assert seen == pytest.approx([674e6, 690e6], abs=0.5e6)
    verdicts = {row["if_hz"] / 1e6: row["verdict"] for row in table(found, "plans")}
    assert verdicts == {858: "clean", 578: "clean", 674: "rejected", 690: "rejected"}
    assert len(found["inputs"]) == 2 * len(paths)


def place_hz(product, **frequencies):
    """A product as it stands on paper, worked out at these frequencies."""
    total = Fraction(0)
    for sign, number, name in re.findall(r"(^-?|[+-]) ?([0-9/]*) ?(LO1|LO2|LO|IF)", product):
        multiple = Fraction(number or 1) * (-1 if sign == "-" else 1)
        total += multiple * Fraction(frequencies[name])
    return float(total)


# Exhaustive arithmetic: every line is put where its product says, and again with LO 1 MHz up, IF 1 MHz down, and both
# moved so that the wanted product stays, with one mixer low and high, a multiplied oscillator, and two mixers.
@pytest.mark.parametrize("more", [
    ("--side", "low"), ("--side", "high"), ("--side", "low", "--multiply", "4"),
    ("--side", "low", "--second-if", "900 MHz", "--order", "5"),
])  # fmt: skip
def test_law_which_line_is_which(read_json, more):
    found = document(read_json, "--wanted", "2346 MHz", "--width", "8 MHz", "--if", "474, 786 MHz", *more)
    cascades = {row["plan"]: row for row in table(found, "cascades")} if "--second-if" in more else {}
    plans = {row["rank"]: row for row in table(found, "plans")}
    rows = table(found, "which_line")
    assert len(rows) > 5
    for row in rows:
        plan = plans[row["plan"]]
        at = {"LO": plan["lo_hz"], "IF": plan["if_hz"], "LO2": plan["lo_hz"]}
        at["LO1"] = cascades[row["plan"]]["lo1_hz"] if cascades else 0
        last = "LO2" if cascades else "LO"
        assert place_hz(row["product"], **at) == pytest.approx(row["centre_hz"], abs=1)
        # The wanted stays where the signal goes down as the last oscillator goes up, or up where it comes out mirrored.
        follows = 1e6 if plan["inverted"] else -1e6
        for key, moved in (
            ("lo_up_hz", {last: 1e6}),
            ("if_down_hz", {"IF": -1e6}),
            ("both_hz", {last: 1e6, "IF": follows}),
        ):
            there = place_hz(row["product"], **{**at, **{name: at[name] + by for name, by in moved.items()}})
            assert there - row["centre_hz"] == pytest.approx(row[key], abs=1), (row["product"], key)


# By hand: 1488 MHz is 59 13/25 times 25 MHz: the boundary at 1/2 lies 2 x 0.02 x 25 MHz = 1 MHz off, that at 60 12 MHz,
# beyond the 7.6 MHz of the signal; copies stand on both sides.
def test_limit_lines_of_the_synthesiser_leave_copies_of_the_signal(read_json):
    words = [*QUARRY, "--reference", "25 MHz", "--int-min", "50", "--loop", "200 kHz"]
    words[words.index("--if") + 1] = "578, 858 MHz"
    found = document(read_json, *words)
    rows = {(row["line"], row["offset_hz"] > 0): row for row in table(found, "oscillator_lines")}
    for side, sign in ((True, 1), (False, -1)):
        half = rows["boundary line at 1/2", side]
        assert (half["offset_hz"], half["centre_hz"]) == (sign * 1e6, 2346e6 + sign * 1e6)
        assert (half["in_channel"], half["width_hz"]) == (True, pytest.approx(6816 / 896e-6))
        whole = rows["boundary line at 0", side]
        assert (whole["offset_hz"], whole["in_channel"]) == (sign * 12e6, False)
    worst = findings(found)["stage:oscillator", "worst_line_db"]
    assert worst["high"] - worst["low"] == pytest.approx(30)
    plans = {row["lo_hz"]: row for row in table(found, "plan_oscillators")}
    assert (plans[1488e6]["integer"], plans[1488e6]["frac"], plans[1488e6]["mod"]) == (59, 13, 25)
    assert (plans[1488e6]["riskiest_fraction"], plans[1488e6]["riskiest_offset_hz"]) == ("1/2", 1e6)


def test_pictures_and_text(tmp_path):
    code, out, err = ask(*QUARRY, "--plan", "5", "--plots", tmp_path / "p")
    assert (code, err) == (0, "")
    assert "Which line" in out
    assert "overlaps the channel" in out
    assert sorted(path.name for path in (tmp_path / "p").iterdir()) == ["frequency_plan.png", "frequency_plan.svg"]
    assert ask(*QUARRY, "--plan", "5", "--strict")[0] == 1


@pytest.mark.parametrize(("words", "sentence"), [
    (("--width", "8 MHz"), "--wanted is needed, or a station file"),
    (("--wanted", "2346", "--width", "8 MHz"), '--wanted: "2346" has no unit'),
    (("--wanted", "2346 MHz", "--width", "80 MHz"), "channel width must lie between 0.3 and 8 MHz"),
    ((*QUARRY, "--if", "860..474 MHz"), 'runs backwards'),
    ((*QUARRY, "--if", "474, 578, 690"), '--if: "474" has no unit'),
    ((*QUARRY, "--raster", "0 MHz", "--if", "474..860 MHz"), "The step of --if must be above zero"),
    ((*QUARRY, "--order", "40"), "order must lie between 2 and 15"),
    ((*QUARRY, "--plan", "9"), "There are 5 plans; number 9 is none of them."),
    ((*QUARRY, "--local", "690"), '--local: "690" is no local service'),
    ((*QUARRY, "--phase-noise", "-93 dBc/Hz"), "is no point: write"),
    ((*QUARRY, "--far-tunes", "470 MHz"), "is no range; write its ends"),
    ((*QUARRY, "--dividers", "1;2", "--reference", "25 MHz"), "is no list of whole numbers"),
    ((*QUARRY, "--mixer-table", "nothing.csv"), "nothing.csv cannot be opened"),
    ((*QUARRY, "--loss", "8 dBm"), "--loss"),
    ((*QUARRY, "--if", "2346 MHz"), "No plan is left: every IF equals the wanted channel"),
    ((*QUARRY, "--goal", "-5 dB"), "goal must lie between 0 and 120 dB"),
])  # fmt: skip
def test_one_sentence_for_what_cannot_be_used(words, sentence):
    code, out, err = ask(*words)
    assert (code, out) == (2, "")
    assert sentence in err
    assert len(err.strip().splitlines()) == 1
