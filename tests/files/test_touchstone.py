import numpy as np
import pytest
import skrf

from tepui.files.touchstone import read_network, read_touchstone
from tepui.ground.errors import FormatError
from tepui.signals.oneport import OnePort


def write(folder, text, name="trace.s2p"):
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    return path


def ladder(n_points=101, z0=50.0):
    """A series inductor, a shunt capacitor and some loss, by an independent library."""
    frequency = skrf.Frequency(1.2, 1.4, n_points, "GHz")
    line = skrf.media.DefinedGammaZ0(frequency, z0=z0)
    return line.inductor(5e-9) ** line.shunt_capacitor(3e-12) ** line.resistor(2)


# scikit-rf 2.2 writes, we read: every format and parameter gives the same scattering parameters back.
@pytest.mark.parametrize("form", ["ri", "ma", "db"])
@pytest.mark.parametrize("z0", [50.0, 75.0])
def test_tool_two_ports_in_every_format(tmp_path, form, z0):
    network = ladder(z0=z0)
    network.write_touchstone("trace", dir=tmp_path, form=form)
    port = read_touchstone(tmp_path / "trace.s2p")
    assert port.z0_ohm == z0
    assert port.s == pytest.approx(network.s, abs=1e-9)
    assert port.frequency_hz == pytest.approx(network.f)


# [Touchstone] 1.1, from memory: the default units and the order 11 21 12 22; polar values worked by hand.
def test_limit_order_of_ports_and_defaults_by_hand(tmp_path):
    text = "! bridge\n# GHz S MA R 50\n1 0.1 90 0.2 0 0.3 180 0.4 -90\n2 0.1 0 0.2 0 0.3 0 0.4 0 ! end\n"
    port = read_touchstone(write(tmp_path, text))
    assert port.frequency_hz == pytest.approx([1e9, 2e9])
    assert port.s[0] == pytest.approx(np.array([[0.1j, -0.3], [0.2, -0.4j]]))
    read = read_network(write(tmp_path, text.replace("# GHz S MA R 50\n", "")))
    assert read.port.s == pytest.approx(port.s)
    assert "option line was missing" in " ".join(read.remarks)


# [Touchstone] 1.1, from memory: Z is normalised to R in version 1. A shunt resistor of R has z = 1 everywhere, so
# S21 = 2/3 and S11 = -1/3.
def test_limit_impedances_become_scattering_parameters(tmp_path):
    rows = "\n".join(f"{f} 1 0 1 0 1.000001 0 1 0" for f in (1, 2, 3))
    port = read_touchstone(write(tmp_path, f"# MHz Z RI R 75\n{rows}\n"))
    assert port.z0_ohm == 75
    assert port.s[:, 1, 0] == pytest.approx(np.full(3, 2 / 3), abs=1e-5)
    assert port.s[:, 0, 0] == pytest.approx(np.full(3, -1 / 3), abs=1e-5)


def test_limit_version_two_with_its_own_order_and_lower_matrix(tmp_path):
    head = "[Version] 2.0\n# MHz S RI R 50\n[Number of Ports] 2\n"
    full = head + "[Two-Port Data Order] 12_21\n[Number of Frequencies] 2\n[Network Data]\n"
    rows = "1 .1 0 .3 0 .2 0 .4 0\n2 .1 0 .3 0 .2 0 .4 0\n[End]\n"
    port = read_touchstone(write(tmp_path, full + rows))
    assert port.s[0].real == pytest.approx(np.array([[0.1, 0.3], [0.2, 0.4]]))
    lower = head + "[Two-Port Data Order] 21_12\n[Number of Frequencies] 2\n[Matrix Format] Lower\n[Network Data]\n"
    port = read_touchstone(write(tmp_path, lower + "1 .1 0 .2 0 .4 0\n2 .1 0 .2 0 .4 0\n[End]\n"))
    assert port.s[1].real == pytest.approx(np.array([[0.1, 0.2], [0.2, 0.4]]))
    unlike = head + "[Two-Port Data Order] 21_12\n[Number of Frequencies] 2\n[Reference] 50 75\n[Network Data]\n"
    port = read_touchstone(write(tmp_path, unlike + "1 0 0 1 0 1 0 0 0\n2 0 0 1 0 1 0 0 0\n[End]\n"))
    assert port.z0_ohm == 50  # an ideal transformer from 50 to 75 ohm, seen with 50 ohm on both sides
    assert port.s[0, 0, 0].real == pytest.approx((50 / 75 - 1) / (50 / 75 + 1))


def test_law_unsorted_and_repeated_points_are_mended_with_a_remark(tmp_path):
    rows = ["3 .3 0", "1 .1 0", "2 .9 0", "2 .2 0"]
    read = read_network(write(tmp_path, "# MHz S RI R 50\n" + "\n".join(rows), "bridge.s1p"))
    assert isinstance(read.port, OnePort)
    assert read.port.gamma.real == pytest.approx([0.1, 0.2, 0.3])
    assert "not in order" in " ".join(read.remarks)
    assert "1 repeated" in " ".join(read.remarks)
    assert "Only 3 points" in " ".join(read.remarks)


def test_law_noise_rows_one_direction_and_exchanged_ports(tmp_path):
    forward = "".join(f"{f} .1 0 .2 0 0 0 0 0\n" for f in (1, 2, 3))
    read = read_network(write(tmp_path, "# MHz S RI R 50\n" + forward + "1 2 .5 10 20\n"))
    assert read.forward
    assert read.port.s[:, 0, 1] == pytest.approx(np.full(3, 0.2))
    assert any("noise" in remark for remark in read.remarks)
    exchanged = "".join(f"{f} .1 0 0 0 .2 0 .1 0\n" for f in (1, 2, 3))
    read = read_network(write(tmp_path, "# MHz S RI R 50\n" + exchanged))
    assert read.port.s[:, 1, 0] == pytest.approx(np.full(3, 0.2))
    assert any("exchanged" in remark for remark in read.remarks)


GOOD = "# MHz S RI R 50\n1 .1 0 .2 0 .2 0 .1 0\n2 .1 0 .2 0 .2 0 .1 0\n"
SECOND = (
    "[Version] 2.0\n# MHz S RI R 50\n[Number of Ports] 1\n[Number of Frequencies] 3\n[Network Data]\n1 0 0\n2 0 0\n"
)


@pytest.mark.parametrize(
    ("text", "name", "sentence"),
    [
        ("", "a.s2p", "holds no data"),
        (GOOD + "3 .1 0 .2 0 .2\n", "a.s2p", r"line 4: 6 numbers .*two ports have 9; it seems cut off"),
        (GOOD[:-2], "a.s2p", "line 3: 8 numbers"),
        (GOOD, "a.s1p", "line 2: 9 numbers .*one port has 3"),
        (GOOD + "3 .1 0 nan 0 .2 0 .1 0\n", "a.s2p", "line 4: a value is not a finite number"),
        (GOOD, "a.s3p", "is of 3 ports"),
        (GOOD.replace("S RI", "S XY"), "a.s2p", "XY is no option; allowed are"),
        (GOOD.replace("R 50", "R 0"), "a.s2p", "R 0 is no resistance"),
        (GOOD.replace(".1", "0,1"), "a.s2p", "no row of numbers; write decimals with a point"),
        ("RF\0\x01\x02", "a.s2p", "is binary"),
        ("# MHz S RI R 50\n1 .1 0 .2 0 .2 0 .1 0\n", "a.s2p", "holds 1 frequencies"),
        ("# MHz S RI R 50\n1 0 0 0 0 0 0 0 0\n2 0 0 0 0 0 0 0 0\n", "a.s2p", "nothing but zeros"),
        (SECOND, "a.ts", r"states 3 frequencies of 3 numbers and holds 6 numbers; it seems cut off"),
        (SECOND.replace("Ports] 1", "Ports] 3"), "a.ts", "is of 3 ports"),
        (SECOND.replace("[Number of Frequencies] 3\n", ""), "a.ts", r"needs \[Number Of Frequencies\]"),
        (SECOND.partition("[Network")[0], "a.ts", r"no \[Network Data\]"),
        ("1 2 3 4\n", "a.txt", "4 numbers; one port has 3 in a row, two have 9"),
    ],
)
def test_law_bad_files_give_one_sentence(tmp_path, text, name, sentence):
    with pytest.raises(FormatError, match=sentence) as caught:
        read_network(write(tmp_path, text, name))
    assert str(caught.value).endswith(".")
    assert "\n" not in str(caught.value)


def test_law_what_is_no_file_and_what_has_one_port(tmp_path):
    with pytest.raises(FormatError, match="is a folder"):
        read_network(tmp_path)
    with pytest.raises(FormatError, match="cannot be opened"):
        read_network(tmp_path / "none.s2p")
    path = write(tmp_path, "# MHz S RI R 50\n1 0 0\n2 0 0\n", "a.s1p")
    with pytest.raises(FormatError, match="is of one port"):
        read_touchstone(path)
