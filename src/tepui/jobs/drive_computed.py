"""How a drive series states what its fitted curve says at one setting.

Theory  Value and standard uncertainty are the curve's; where a target is given it is one to stay below.
Source  drive_series.py.
Holds   as drive_series.py.
"""

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from tepui.chain.amplifiers.fit import Curves
from tepui.ground.doubt import Estimate
from tepui.ground.findings import Finding
from tepui.jobs.drive_series import Series

CURVE = "curve fitted to the series, Bussgang expansion of the amplifier"
OPERATOR = "the operator's target"


def has_power(series: Series) -> bool:
    """Whether output power was read and is not itself the axis."""
    return any(reading.power_dbm is not None for reading in series.readings) and not series.axis_is_power


def at_setting(curve: Callable[[npt.ArrayLike], Curves], setting: float) -> Estimate:
    """A fitted curve at one setting."""
    found = curve(np.array([setting]))
    return Estimate(value=float(found.value[0]), std=float(found.std[0]), contributions={"fit": float(found.std[0])})


def computed(
    about: str, key: str, value: Estimate, unit: str, *, limit: float | None = None, remark: str = ""
) -> Finding:
    """What the curve says."""
    return Finding(
        about=about,
        key=key,
        value=value.value,
        unit=unit,
        low=value.low,
        high=value.high,
        standing="computed",
        source=CURVE,
        remark=remark,
        limit=limit,
        limit_sense=None if limit is None else "at_most",
        limit_source=None if limit is None else OPERATOR,
        margin=None if limit is None else limit - value.value,
    )
