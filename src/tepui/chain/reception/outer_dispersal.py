"""Codewords to packets: where the groups of eight begin is voted on, then the energy dispersal is undone.

Theory  Every eighth packet starts with the sync byte inverted, and there the scrambling sequence starts anew. The
        super-frame does not tell which of the eight; the corrected codewords vote, 64 at a time.
Source  [EN300744] V1.6.2 clause 4.3.1.
Holds   A codeword whose first byte is not the sync byte due there, such as the zeros decoded out of silence, is no
        packet and counts as uncorrectable.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tepui.signals.dvbt.dispersal import GROUP_PACKETS, SYNC, SYNC_INVERTED, dispersal_mask
from tepui.signals.dvbt.outer_code import K_BYTES, N_BYTES

VOTE_PACKETS = 64
HELD_PACKETS = 16 * VOTE_PACKETS
UNCORRECTABLE = -1
ERROR_INDICATOR = 0x80  # top bit of a packet's second byte
Bytes = npt.NDArray[np.uint8]


@dataclass(frozen=True, kw_only=True)
class Codewords:
    """Consecutive codewords (n, 204) or packets (n, 188) and what correcting them took.

    corrected   (n,) bytes corrected in each, -1 where uncorrectable
    bit_errors  (n,) bits corrected in each
    """

    rows: Bytes
    corrected: npt.NDArray[np.int16]
    bit_errors: npt.NDArray[np.int32]

    def __len__(self) -> int:
        return len(self.rows)

    def __getitem__(self, part: slice) -> "Codewords":
        return Codewords(rows=self.rows[part], corrected=self.corrected[part], bit_errors=self.bit_errors[part])


def joined(parts: Sequence[Codewords], *, width: int) -> Codewords:
    """One after the other; none at all is an empty set of rows of the given width."""
    return Codewords(
        rows=np.concatenate([np.zeros((0, width), np.uint8), *(part.rows for part in parts)]),
        corrected=np.concatenate([np.zeros(0, np.int16), *(part.corrected for part in parts)]),
        bit_errors=np.concatenate([np.zeros(0, np.int32), *(part.bit_errors for part in parts)]),
    )


def vote(codewords: Codewords, *, first_packet: int, before: int | None) -> int | None:
    """Which packets, modulo eight, carry the inverted sync byte.

    first_packet  number of the first codeword
    before        what held until now; it stays unless one other place fits strictly better than all the rest
    returns       0 to 7, such a packet's number modulo eight; None while nothing tells
    """
    group = (first_packet + np.arange(len(codewords))) % GROUP_PACKETS
    good = codewords.corrected != UNCORRECTABLE
    first_bytes = codewords.rows[:, 0]
    inverted = np.bincount(group[good & (first_bytes == SYNC_INVERTED)], minlength=GROUP_PACKETS)
    plain = np.bincount(group[good & (first_bytes == SYNC)], minlength=GROUP_PACKETS)
    fitting = inverted + plain.sum() - plain
    best = np.flatnonzero(fitting == fitting.max())
    return int(best[0]) if len(best) == 1 else before


def derandomised(codewords: Codewords, *, first_packet: int, phase: int | None) -> Codewords:
    """Codewords (n, 204) to packets (n, 188), uncorrectable ones in place with transport_error_indicator set.

    phase  as ``vote`` returns it; while it is None every packet is uncorrectable
    """
    group = (first_packet + np.arange(len(codewords)) - (phase or 0)) % GROUP_PACKETS
    packets = codewords.rows[:, :K_BYTES] ^ dispersal_mask()[group]
    lost = (codewords.corrected == UNCORRECTABLE) | (packets[:, 0] != SYNC) | (phase is None)
    packets[:, 0] = SYNC
    packets[lost, 1] |= ERROR_INDICATOR
    return Codewords(
        rows=packets,
        corrected=np.where(lost, UNCORRECTABLE, codewords.corrected).astype(np.int16),
        bit_errors=np.where(lost, 0, codewords.bit_errors),
    )


class PacketQueue:
    """Holds corrected codewords until their window of 64 has voted.

    first_packet  number of the next packet to be handed out
    phase         as ``vote`` last returned it
    """

    def __init__(self, first_packet: int) -> None:
        self.first_packet = first_packet
        self.phase: int | None = None
        self._waiting = joined([], width=N_BYTES)
        self._n_voted = 0  # of those waiting: in windows that have voted, without a result so far

    def add(self, codewords: Codewords) -> None:
        """Take in the next codewords."""
        self._waiting = joined([self._waiting, codewords], width=N_BYTES)

    def take(self, *, everything: bool) -> Codewords:
        """The packets of all windows that are complete and decided; or all there are, decided as well as can be."""
        done = []
        while self._n_voted < len(self._waiting):
            start = self.first_packet + self._n_voted
            stop = self._n_voted + VOTE_PACKETS - start % VOTE_PACKETS
            if stop > len(self._waiting) and not everything:
                break
            self.phase = vote(self._waiting[self._n_voted : stop], first_packet=start, before=self.phase)
            self._n_voted = min(stop, len(self._waiting))
            if self.phase is not None or self._n_voted > HELD_PACKETS:
                done.append(self._release())
        if everything:
            done.append(self._release())
        return joined(done, width=K_BYTES)

    def _release(self) -> Codewords:
        released = derandomised(self._waiting[: self._n_voted], first_packet=self.first_packet, phase=self.phase)
        self._waiting = self._waiting[self._n_voted :]
        self.first_packet += self._n_voted
        self._n_voted = 0
        return released
