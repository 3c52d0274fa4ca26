"""Touchstone files: what a network analyser saves, one or two ports, read with a remark on what was odd about it.

Theory  scikit-rf interprets formats, parameters (S, Y, Z, G, H) and reference impedances; the text is screened first
        (files/touchstone_text.py), and the usual faults of cheap analysers are mended and told.
Source  [Touchstone] 1.1 and 2.0 by scikit-rf's reader. The faults are common practice (no published source).
Holds   One and two ports. Unequal or complex reference impedances are brought to 50 ohm. A passive device is taken as
        reciprocal where the reverse direction was not measured.
"""

import io
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from tepui.files.touchstone_text import ScreenedText, read_text, screened
from tepui.ground.errors import FormatError
from tepui.signals.oneport import OnePort
from tepui.signals.twoport import TwoPort

FEW_POINTS = 51
NOTHING = 1e-9
SWAPPED = 1e-3
COMMON_OHM = 50.0


@dataclass(frozen=True, kw_only=True)
class ReadNetwork:
    """What a file holds.

    port     the response
    forward  of a two-port: only S11 and S21 were measured, the rest is filled in (S12 = S21) or empty (S22 = 0)
    remarks  whole sentences on what was odd
    """

    port: TwoPort | OnePort
    forward: bool = False
    remarks: tuple[str, ...] = ()


def read_touchstone(path: Path) -> TwoPort:
    """The two-port of a file.

    raises  FormatError: one sentence; also where the file is of one port
    """
    port = read_network(path).port
    if isinstance(port, OnePort):
        raise FormatError(f"{path} is of one port and says nothing of transmission; a two-port (.s2p) is wanted.")
    return port


def read_network(path: Path) -> ReadNetwork:
    """The response in a file, and what was odd about it.

    raises  FormatError: one sentence that names what is wrong
    """
    given = screened(path, read_text(path))
    network = _interpreted(path, given)
    order = np.argsort(network.f, kind="stable")
    frequency_hz = np.asarray(network.f, dtype=np.float64)[order]
    s = np.asarray(network.s, dtype=np.complex128)[order]
    remarks = list(given.remarks)
    keep = np.append(np.diff(frequency_hz) > 0, True)
    if not keep.all():
        remarks.append(f"{int((~keep).sum())} repeated frequencies: the last of each was kept.")
    frequency_hz, s = frequency_hz[keep], s[keep]
    z0_ohm = float(network.z0[0, 0].real)
    if len(frequency_hz) < FEW_POINTS:
        remarks.append(f"Only {len(frequency_hz)} points: sweep with 201 or more over four bandwidths for less doubt.")
    if not np.isfinite(s).all():
        raise FormatError(f"{path}: {_name(given)} cannot be turned into scattering parameters at every frequency.")
    if np.abs(s).max() > 2.0:
        remarks.append("Values above one by more than 6 dB: a passive filter has none, so the calibration is doubtful.")
    if given.n_ports == 1:
        return ReadNetwork(
            port=OnePort(frequency_hz=frequency_hz, gamma=s[:, 0, 0], z0_ohm=z0_ohm), remarks=tuple(remarks)
        )
    s, forward, told = _mended(path, s)
    return ReadNetwork(
        port=TwoPort(frequency_hz=frequency_hz, s=s, z0_ohm=z0_ohm), forward=forward, remarks=(*remarks, *told)
    )


def _name(given: ScreenedText) -> str:
    return "one port" if given.n_ports == 1 else "the two-port"


def _interpreted(path: Path, given: ScreenedText) -> Any:
    """scikit-rf's network of a screened text, on one real reference resistance."""
    from skrf import Network

    stream = io.StringIO(given.text)
    stream.name = f"trace.s{given.n_ports}p"
    try:
        network = Network(stream)
        z0 = np.asarray(network.z0)
        if np.ptp(z0.real) > 0 or np.abs(z0.imag).max() > 0:
            network.renormalize(COMMON_OHM)
    except Exception as problem:
        said = " ".join(str(problem).split()) or type(problem).__name__
        raise FormatError(f"{path} cannot be read as a Touchstone file ({said}); save the trace again.") from problem
    if network.nports != given.n_ports:
        raise FormatError(f"{path} is of {network.nports} ports, and its name or keywords say {given.n_ports}.")
    return network


def _mended(path: Path, s: npt.NDArray[np.complex128]) -> tuple[npt.NDArray[np.complex128], bool, list[str]]:
    """The usual faults of two-port files: one direction only, or the two directions exchanged."""
    size = np.abs(s).max(axis=0)
    if size.max() < NOTHING:
        raise FormatError(f"{path} holds nothing but zeros; calibrate, measure again and save the trace.")
    s = s.copy()
    if size[1, 0] < SWAPPED * size[0, 1]:
        s[:, 1, 0], s[:, 0, 1] = s[:, 0, 1].copy(), s[:, 1, 0].copy()
        size = np.abs(s).max(axis=0)
        remark = ["S21 was empty and S12 was not: the two are taken as exchanged."]
    else:
        remark = []
    if size[0, 1] < NOTHING and size[1, 1] < NOTHING:
        s[:, 0, 1] = s[:, 1, 0]
        return s, True, [*remark, "Only S11 and S21 were measured: the far side is known through them alone."]
    if size[0, 1] < SWAPPED * size[1, 0]:
        s[:, 0, 1] = s[:, 1, 0]
        remark.append("S12 was empty: it is taken as S21, as in any passive filter.")
    return s, False, remark
