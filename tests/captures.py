"""The recordings under tests/data/captures and what is true of them (see the README there)."""

import json
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

FOLDER = Path(__file__).parent / "data" / "captures"
ECHO = "a2_8MHz_2K_16QAM23_GI8_echo"
NAMES = (
    "a1_7MHz_8K_QPSK34_GI16_clean_cut",
    ECHO,
    "a3_7MHz_2K_64QAM78_GI32_cn30",
    "a6_8MHz_2K_16QAM34_GI16_low_cn",
    "a7_8MHz_2K_16QAM12_GI4_10MSps",
)


def recording_path(name: str) -> Path:
    """The SigMF metadata file of a recording."""
    return FOLDER / f"{name}.sigmf-meta"


def truth(name: str) -> dict[str, Any]:
    """What is in the recording, from its maker."""
    return json.loads((FOLDER / f"{name}.truth.json").read_text(encoding="utf-8"))


def true_packets(name: str) -> npt.NDArray[np.uint8]:
    """The packets the recording carries, (n, 188)."""
    return np.fromfile(FOLDER / f"{name}.ts", np.uint8).reshape(-1, 188)


def missing_and_wrong(out: npt.NDArray[np.uint8], sent: npt.NDArray[np.uint8]) -> tuple[int, int, int]:
    """Packets of ``sent`` lacking before and after the run that came out, and packets differing inside it.

    Null packets repeat, so the run is placed where most packets agree.
    """
    places = {row.tobytes(): place for place, row in reversed(list(enumerate(sent)))}
    shifts = Counter(places[row.tobytes()] - n for n, row in enumerate(out) if row.tobytes() in places)
    shift = shifts.most_common(1)[0][0]
    rows = np.arange(max(0, -shift), min(len(out), len(sent) - shift))
    agrees = (out[rows] == sent[rows + shift]).all(axis=1)
    first, last = int(np.argmax(agrees)), len(rows) - 1 - int(np.argmax(agrees[::-1]))
    begin = int(rows[first] + shift)
    return begin, len(sent) - 1 - int(rows[last] + shift), int((~agrees[first : last + 1]).sum())
