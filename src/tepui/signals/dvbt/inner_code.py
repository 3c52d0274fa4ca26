"""The inner code: a convolutional code of 64 states, thinned to five rates.

Theory  Each bit gives X and Y, sums of the last seven bits under G1 and G2; puncturing leaves some of them out.
Source  [EN300744] V1.6.2 clause 4.3.3, figure 7 and Table 2 (table dvbt_puncturing).
Holds   Generators as octal numbers with the newest bit on the most significant side.
"""

from fractions import Fraction
from functools import cache

import numpy as np
import numpy.typing as npt

from tepui.ground.checks import require_one_of
from tepui.signals.dvbt.mode import CODE_RATES
from tepui.signals.dvbt.sequences import locked
from tepui.tables.load import load_table

CONSTRAINT_LENGTH = 7
G1 = 0o171
G2 = 0o133


@cache
def puncturing(code_rate: Fraction) -> npt.NDArray[np.int64]:
    """What is sent of each period, in order: (n, 2) of (step, 0 for X or 1 for Y). Read-only.

    code_rate  k/n in lowest terms: a period takes k bits and sends n

    >>> puncturing(Fraction(2, 3)).tolist()
    [[0, 0], [0, 1], [1, 1]]
    """
    require_one_of("code_rate", code_rate, CODE_RATES, source="EN 300 744 4.3.3")
    sent = load_table("dvbt_puncturing").cell("transmitted", code_rate=str(Fraction(code_rate))).split()
    order = np.array([(int(word[1:]) - 1, "XY".index(word[0])) for word in sent], np.int64)
    locked(order)
    return order
