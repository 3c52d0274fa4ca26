"""Transport packets: who is in the stream, whether packets are missing, and what the tables say.

Theory  Each packet names its PID and, where it carries payload, counts up by one per PID modulo 16; a step that
        is neither that nor one exact repeat means packets were lost. The tables are read on the way.
Source  [ISO13818-1] 2.4.3 (packet, adaptation field, continuity counter); [TR101290] 5.2.1, 1.4 and 2.1.
Holds   188-byte packets in their places. A packet with transport_error_indicator set is counted and not
        believed: neither its PID, its counter nor its content. Memory does not grow with the stream.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from tepui.chain.programme import information as psi
from tepui.chain.programme.clock import PACKET_BITS, PCR_WRAP, SYSTEM_CLOCK_HZ, pcr_packets, read_pcr
from tepui.chain.programme.sections import Section, SectionAssembler
from tepui.ground.errors import FormatError

SYNC_BYTE = 0x47
NULL_PID = 0x1FFF
PAT_PID, SDT_PID = 0x0000, 0x0011
N_PIDS = 8192

Packets = npt.NDArray[np.uint8]


@dataclass(frozen=True, kw_only=True)
class StreamSurvey:
    """What a stretch of packets holds.

    packets               all that were seen, with ``null_packets``, ``errored_packets`` (error indicator set) and
                          ``unsynchronised_packets`` (first byte not 0x47) among them
    pid_counts            PID -> packets, of those that can be believed
    continuity_errors     PID -> breaks of its counter
    crc_errors            sections of the tables read here whose CRC does not agree
    programmes, services  from the PMTs and the SDT, by service id
    clock_rate_bps        bit rate by the PCR and the byte count, None with fewer than two PCR
    clock_interval_max_s  longest time between two PCR, None likewise
    """

    packets: int
    null_packets: int
    errored_packets: int
    unsynchronised_packets: int
    pid_counts: Mapping[int, int]
    continuity_errors: Mapping[int, int]
    crc_errors: int
    transport_stream_id: int | None
    programmes: Mapping[int, psi.ProgrammeMap]
    services: Mapping[int, psi.Service]
    clock_rate_bps: float | None
    clock_interval_max_s: float | None

    @property
    def service(self) -> psi.Service | None:
        """The first named service, by service id; those the PAT lists come first."""
        listed = sorted(self.services, key=lambda number: (number not in self.programmes, number))
        return next((self.services[number] for number in listed if self.services[number].name), None)


def pids(packets: Packets) -> npt.NDArray[np.uint16]:
    """PID of each packet. packets (n, 188) -> (n,)"""
    return ((packets[:, 1] & 0x1F).astype(np.uint16) << np.uint16(8)) | packets[:, 2].astype(np.uint16)


def payload_start(packets: Packets) -> npt.NDArray[np.int64]:
    """Byte at which the payload begins; 188 where there is none. (n,)"""
    control = packets[:, 3] >> 4 & 3
    start = np.where(control & 2, 5 + packets[:, 4].astype(np.int64), 4)
    return np.where(control & 1, np.minimum(start, 188), 188)


def require_packets(packets: Packets) -> None:
    """Refuse what is not an array of whole packets.

    raises  FormatError
    """
    if packets.ndim != 2 or packets.shape[1] != 188 or packets.dtype != np.uint8:
        raise FormatError(
            f"Transport packets are rows of 188 bytes ([ISO13818-1] 2.4.3), not {packets.dtype} {packets.shape}."
        )


@dataclass
class _Clock:
    """The PCR of one PID: only what the rate and the longest interval need."""

    count: int = 0
    first_index: int = 0
    first: int = 0
    index: int = 0
    ticks: int = 0
    last: int = 0
    longest: int = 0

    def take(self, index: int, value: int, *, broken: bool) -> None:
        if self.count == 0 or broken:
            self.count, self.first_index, self.ticks = 1, index, 0
        else:
            step = (value - self.last) % PCR_WRAP
            self.count += 1
            self.ticks += step
            self.longest = max(self.longest, step)
        self.index, self.last = index, value

    @property
    def rate_bps(self) -> float | None:
        if self.count < 2 or self.ticks == 0:
            return None
        return (self.index - self.first_index) * PACKET_BITS * SYSTEM_CLOCK_HZ / self.ticks


@dataclass
class StreamReader:
    """Reads packets block by block; ``survey()`` may be asked at any time."""

    _total: int = 0
    _errored: int = 0
    _unsynchronised: int = 0
    _crc_errors: int = 0
    _counts: npt.NDArray[np.int64] = field(default_factory=lambda: np.zeros(N_PIDS, np.int64))
    _breaks: npt.NDArray[np.int64] = field(default_factory=lambda: np.zeros(N_PIDS, np.int64))
    _last: dict[int, tuple[npt.NDArray[np.uint8], bool]] = field(default_factory=dict)
    _clocks: dict[int, _Clock] = field(default_factory=dict)
    _assemblers: dict[int, SectionAssembler] = field(
        default_factory=lambda: {PAT_PID: SectionAssembler(), SDT_PID: SectionAssembler()}
    )
    _stream_id: int | None = None
    _pmt_pids: dict[int, int] = field(default_factory=dict)
    _programmes: dict[int, psi.ProgrammeMap] = field(default_factory=dict)
    _services: dict[int, psi.Service] = field(default_factory=dict)

    def take(self, packets: Packets) -> None:
        """Read the next packets of the stream.

        packets  uint8 (n, 188), any n
        raises   FormatError if the array is no packets
        """
        require_packets(packets)
        synchronised = packets[:, 0] == SYNC_BYTE
        errored = synchronised & ((packets[:, 1] & 0x80) != 0)
        good = np.flatnonzero(synchronised & ~errored)
        self._unsynchronised += int(np.count_nonzero(~synchronised))
        self._errored += int(np.count_nonzero(errored))
        sound = packets[good]
        pid = pids(sound)
        self._counts += np.bincount(pid, minlength=N_PIDS)
        steps = self._steps(sound, pid)
        self._take_clocks(sound, pid, good)
        self._take_sections(sound, pid, steps)
        self._total += len(packets)

    def _steps(self, sound: Packets, pid: npt.NDArray[np.uint16]) -> npt.NDArray[np.int8]:
        """Per packet 0 in sequence, 1 an exact repeat, 2 after a break; counts the breaks. (n,)"""
        steps = np.zeros(len(sound), np.int8)
        for number in np.unique(pid).tolist():
            if number == NULL_PID:
                continue
            mine = np.flatnonzero(pid == number)
            steps[mine] = self._steps_of_one(sound[mine], number)
            self._breaks[number] += int(np.count_nonzero(steps[mine] == 2))
        return steps

    def _steps_of_one(self, mine: Packets, number: int) -> npt.NDArray[np.int8]:
        before, repeated = self._last.get(number, (mine[0], False))
        first_ever = number not in self._last
        previous = np.concatenate([before[None, :], mine[:-1]])
        counter, earlier = mine[:, 3] & 15, previous[:, 3] & 15
        carries = (mine[:, 3] & 0x10) != 0
        jump_allowed = ((mine[:, 3] & 0x20) != 0) & (mine[:, 4] > 0) & ((mine[:, 5] & 0x80) != 0)
        in_sequence = counter == ((earlier + carries) & 15)
        same = carries & (counter == earlier) & (mine[:, 12:] == previous[:, 12:]).all(axis=1)
        if first_ever:
            in_sequence[0], same[0] = True, False
        steps = np.where(in_sequence | jump_allowed, 0, np.where(same, 1, 2)).astype(np.int8)
        after_repeat = np.concatenate([[repeated], steps[:-1] == 1])
        steps[(steps == 1) & after_repeat] = 2  # more than twice
        self._last[number] = (mine[-1].copy(), bool(steps[-1] == 1))
        return steps

    def _take_clocks(self, sound: Packets, pid: npt.NDArray[np.uint16], good: npt.NDArray[np.int64]) -> None:
        rows = pcr_packets(sound)
        values = read_pcr(sound[rows])
        for row, value in zip(rows.tolist(), values.tolist(), strict=True):
            clock = self._clocks.setdefault(int(pid[row]), _Clock())
            clock.take(self._total + int(good[row]), value, broken=bool(sound[row, 5] & 0x80))

    def _take_sections(self, sound: Packets, pid: npt.NDArray[np.uint16], steps: npt.NDArray[np.int8]) -> None:
        start = payload_start(sound)
        wanted = np.isin(pid, list(self._assemblers))
        at = 0
        while at < len(sound):
            rows = at + np.flatnonzero(wanted[at:])
            at = len(sound)
            for row in rows.tolist():
                known = len(self._assemblers)
                self._take_payload(sound[row], int(pid[row]), int(start[row]), int(steps[row]))
                if len(self._assemblers) != known:  # a PAT named new PMTs: look for them from here on
                    wanted, at = np.isin(pid, list(self._assemblers)), row + 1
                    break

    def _take_payload(self, packet: npt.NDArray[np.uint8], number: int, start: int, step: int) -> None:
        assembler = self._assemblers[number]
        if step == 1 or start >= 188:
            return
        if step == 2:
            assembler.drop()
        for section in assembler.take(packet[start:].tobytes(), starts=bool(packet[1] & 0x40)):
            if section.valid:
                self._read(section, number)
            else:
                self._crc_errors += 1

    def _read(self, section: Section, number: int) -> None:
        if not section.data[1] & 0x80 or not section.data[5] & 1:
            return  # short syntax, or a table that is not yet in force
        if number == PAT_PID and section.table_id == psi.PAT_TABLE:
            self._stream_id = section.extension
            self._pmt_pids.update(psi.read_pat(section))
            for pmt_pid in self._pmt_pids.values():
                self._assemblers.setdefault(pmt_pid, SectionAssembler())
        elif section.table_id == psi.PMT_TABLE and self._pmt_pids.get(section.extension) == number:
            self._programmes[section.extension] = psi.read_pmt(section)
        elif number == SDT_PID and section.table_id == psi.SDT_TABLE:
            self._services.update({service.service_id: service for service in psi.read_sdt(section)})

    def survey(self) -> StreamSurvey:
        """What has been seen so far."""
        clock = max(self._clocks.values(), key=lambda one: one.count, default=_Clock())
        longest = clock.longest / SYSTEM_CLOCK_HZ if clock.count > 1 else None
        return StreamSurvey(
            packets=self._total,
            null_packets=int(self._counts[NULL_PID]),
            errored_packets=self._errored,
            unsynchronised_packets=self._unsynchronised,
            pid_counts={int(number): int(self._counts[number]) for number in np.flatnonzero(self._counts)},
            continuity_errors={int(number): int(self._breaks[number]) for number in np.flatnonzero(self._breaks)},
            crc_errors=self._crc_errors,
            transport_stream_id=self._stream_id,
            programmes=dict(self._programmes),
            services=dict(self._services),
            clock_rate_bps=clock.rate_bps,
            clock_interval_max_s=longest,
        )


def survey(packets: Packets) -> StreamSurvey:
    """What a whole array of packets holds. packets uint8 (n, 188)"""
    reader = StreamReader()
    reader.take(packets)
    return reader.survey()


def service_name(packets: Packets) -> str | None:
    """The name a receiver would show, None where no SDT says it. packets uint8 (n, 188)"""
    service = survey(packets).service
    return service.name if service else None
