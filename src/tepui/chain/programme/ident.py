"""The sound of the test programme: a steady tone, and the callsign in Morse code at the start of every ten seconds.

Theory  A dot lasts 1.2 s / (words per minute), a dash three dots; one dot between elements, three between letters.
        Keying edges are raised cosines of 5 ms, so that the tone does not click.
Source  [M1677] ITU-R M.1677-1, part I, clauses 1 and 2 (code and spacing); speed by the usual 50-dot word, common
        practice. Level -18 dB below full scale: alignment level of EBU R 68, from memory.
Holds   Letters, digits and the stroke; a callsign with anything else is refused.
"""

from itertools import pairwise

import numpy as np
import numpy.typing as npt

from tepui.ground.checks import require_one_of

TONE_HZ = 1000.0
TONE_LEVEL_DBFS = -18.0
SPEED_WPM = 20.0
PERIOD_S = 10.0
EDGE_S = 0.005

MORSE = {
    **{"A": ".-", "B": "-...", "C": "-.-.", "D": "-..", "E": ".", "F": "..-.", "G": "--.", "H": "....", "I": ".."},
    **{"J": ".---", "K": "-.-", "L": ".-..", "M": "--", "N": "-.", "O": "---", "P": ".--.", "Q": "--.-", "R": ".-."},
    **{"S": "...", "T": "-", "U": "..-", "V": "...-", "W": ".--", "X": "-..-", "Y": "-.--", "Z": "--.."},
    **{"1": ".----", "2": "..---", "3": "...--", "4": "....-", "5": "....."},
    **{"6": "-....", "7": "--...", "8": "---..", "9": "----.", "0": "-----", "/": "-..-."},
}


def keying(call: str) -> list[tuple[bool, int]]:
    """Key down or up and for how many dots, in order, ending with the space after a word.

    raises  ChoiceError where a sign has no Morse code here

    >>> keying("ET")
    [(True, 1), (False, 3), (True, 3), (False, 7)]
    """
    elements: list[tuple[bool, int]] = []
    for sign in call.upper():
        require_one_of("a sign of the callsign", sign, MORSE, source="ITU-R M.1677-1 part I")
        for mark in MORSE[sign]:
            elements += [(True, 3 if mark == "-" else 1), (False, 1)]
        elements[-1] = (False, 3)
    return [*elements[:-1], (False, 7)]


def tone(*, call: str, start: int, count: int, rate_hz: int) -> npt.NDArray[np.float32]:
    """Samples ``start`` to ``start + count`` of the endless sound. (count,), full scale = 1

    >>> tone(call="Q1ABC", start=0, count=4, rate_hz=48000).shape
    (4,)
    """
    time_s = (start + np.arange(count)) / rate_hz
    dot_s = 1.2 / SPEED_WPM
    marks = keying(call)
    ends = np.cumsum([length for _, length in marks]) * dot_s
    inside_s = time_s % PERIOD_S
    envelope = np.where(inside_s >= ends[-1], 1.0, 0.0)
    for (down, _), (begin, end) in zip(marks, pairwise([0.0, *ends.tolist()]), strict=True):
        if down:
            envelope = np.maximum(envelope, _raised(inside_s, begin, end))
    amplitude = 10 ** (TONE_LEVEL_DBFS / 20)
    return (amplitude * envelope * np.sin(2 * np.pi * TONE_HZ * time_s)).astype(np.float32)


def _raised(time_s: npt.NDArray[np.float64], begin_s: float, end_s: float) -> npt.NDArray[np.float64]:
    rise = np.clip((time_s - begin_s) / EDGE_S, 0.0, 1.0)
    fall = np.clip((end_s - time_s) / EDGE_S, 0.0, 1.0)
    return np.asarray(0.25 * (1 - np.cos(np.pi * rise)) * (1 - np.cos(np.pi * fall)))
