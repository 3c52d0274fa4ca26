"""The whole coding chain against symbols an independent modulator sent."""

import json
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from tepui.chain.waveform.transmit import Transmitter
from tepui.signals.dvbt.carriers import data_carriers
from tepui.signals.dvbt.mode import Mode

FOLDER = Path(__file__).resolve().parents[2] / "data" / "dvbt"
FILES = sorted(FOLDER.glob("cells_*.npz"))
HALF_DISTANCE = {"QPSK": 1 / np.sqrt(2), "16QAM": 1 / np.sqrt(10), "64QAM": 1 / np.sqrt(42)}


# Sent by GNU Radio 3.10.5 gr-dtv, see tests/data/dvbt/README.md: every carrier of these symbols must be the one
# the transmitter makes of the same packets, so near that no cell would be decided otherwise.
@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_tool_cells_as_sent_by_an_independent_modulator(path):
    assert len(FILES) == 4
    with np.load(path) as kept:
        sent = {name: kept[name] for name in kept.files}
    words = json.loads(str(sent["mode"]))
    mode = Mode(**words | {"guard": Fraction(words["guard"]), "code_rate": Fraction(words["code_rate"])})
    heard = (sent["cells"][..., 0] + 1j * sent["cells"][..., 1]) / 64
    start, first = int(sent["start_symbol"]), int(sent["first_symbol"])

    transmitter = Transmitter(mode, start)
    assert transmitter.first_packet == int(sent["first_packet"])
    made = transmitter.carriers(sent["packets"])[first - start :][: len(heard)]

    assert made.shape == heard.shape
    assert np.max(np.abs((heard - made).real)) < HALF_DISTANCE[mode.constellation]
    assert np.max(np.abs((heard - made).imag)) < HALF_DISTANCE[mode.constellation]
    # Boosted pilots set the gain; the data cells' own power confirms 4/3 against 1.
    for i, row in enumerate(heard):
        cells, own = (part[data_carriers(mode.n_fft, (first + i) % 4)] for part in (row, made[i]))
        assert np.vdot(own, cells).real / np.vdot(own, own).real == pytest.approx(1, abs=0.01)


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_limit_one_wrong_packet_shows(path):
    with np.load(path) as kept:
        sent = {name: kept[name] for name in kept.files}
    words = json.loads(str(sent["mode"]))
    mode = Mode(**words | {"guard": Fraction(words["guard"]), "code_rate": Fraction(words["code_rate"])})
    heard = (sent["cells"][..., 0] + 1j * sent["cells"][..., 1]) / 64
    start, first = int(sent["start_symbol"]), int(sent["first_symbol"])
    packets = sent["packets"].copy()
    packets[len(packets) // 2, 100] ^= 1
    made = Transmitter(mode, start).carriers(packets)[first - start :][: len(heard)]
    assert np.max(np.abs(heard - made)) > HALF_DISTANCE[mode.constellation]
