"""Reading packets: counters, clock, sections and tables."""

import json
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from tepui.chain.programme.clock import arrival_margins_s, pcr_packets, read_pcr, stamp_pcr
from tepui.chain.programme.information import read_pmt
from tepui.chain.programme.packets import StreamReader, pids, service_name, survey
from tepui.chain.programme.sections import Section, SectionAssembler, crc32_mpeg
from tepui.ground.errors import FormatError

DATA = Path(__file__).resolve().parents[2] / "data" / "programme"
RATE_BPS = Fraction(9952941, 1)


@pytest.fixture(scope="module")
def tableland():
    return np.fromfile(DATA / "tableland_9953kbps.ts", np.uint8).reshape(-1, 188)


def _packet(pid, counter, payload=b"", *, starts=False, adaptation=None):
    """A packet by [ISO13818-1] 2.4.3.2, stuffed with 0xFF."""
    control = (1 if payload or adaptation is None else 0) | (0 if adaptation is None else 2)
    head = bytes([0x47, (0x40 if starts else 0) | pid >> 8, pid & 0xFF, control << 4 | counter & 15])
    body = b"" if adaptation is None else bytes([len(adaptation)]) + adaptation
    data = head + body + payload
    return np.frombuffer(data + b"\xff" * (188 - len(data)), np.uint8)


def _crc_by_shifting(data):
    """[ISO13818-1] annex A, bit by bit."""
    register = 0xFFFFFFFF
    for byte in data:
        for bit in range(7, -1, -1):
            carry = (register >> 31) ^ (byte >> bit & 1)
            register = (register << 1 & 0xFFFFFFFF) ^ (0x04C11DB7 if carry else 0)
    return register


def _sdt(services, *, number=1):
    loop = b""
    for service_id, provider, name in services:
        body = bytes([0x01, len(provider)]) + provider + bytes([len(name)]) + name
        descriptor = bytes([0x48, len(body)]) + body
        loop += service_id.to_bytes(2, "big") + b"\xfc" + (0x8000 | len(descriptor)).to_bytes(2, "big") + descriptor
    inner = number.to_bytes(2, "big") + b"\xc1\x00\x00" + b"\xff\x01\xff" + loop
    head = b"\x42" + (0xF000 | len(inner) + 4).to_bytes(2, "big")
    return head + inner + _crc_by_shifting(head + inner).to_bytes(4, "big")


def _spread(section, *, pid=0x11, counter=0):
    """A section over as many packets as it needs."""
    data = b"\x00" + section
    parts = [data[at : at + 184] for at in range(0, len(data), 184)]
    return np.array([_packet(pid, counter + i, part, starts=i == 0) for i, part in enumerate(parts)])


# The catalogue of parametrised CRC algorithms gives 0x0376E6E7 as the check of CRC-32/MPEG-2 over "123456789".
def test_published_crc_check_value():
    assert crc32_mpeg(b"123456789") == 0x0376E6E7


def test_law_crc_is_that_of_the_shift_register():
    data = np.random.default_rng(1).bytes(333)
    assert crc32_mpeg(data) == _crc_by_shifting(data)
    assert crc32_mpeg(data + crc32_mpeg(data).to_bytes(4, "big")) == 0


# The maker of the recording prints these (tests/data/programme/README.md).
def test_published_stream_of_an_independent_transmitter(tableland):
    seen = survey(tableland)
    assert seen.pid_counts == {0x0000: 4, 0x0011: 1, 0x0100: 282, 0x1000: 4, 0x1FFF: 251}
    assert seen.packets == 542
    assert seen.null_packets == 251
    assert seen.transport_stream_id == 1
    assert (seen.service.name, seen.service.provider, seen.service.service_id) == ("Q1TPU Tableland TV", "Q1TPU", 7)
    assert seen.clock_rate_bps == pytest.approx(9952941.003374, abs=0.5)  # PCR are whole ticks; the cut is 0.08 s
    assert (seen.errored_packets, seen.unsynchronised_packets, seen.crc_errors) == (0, 0, 0)
    assert seen.continuity_errors == {}
    assert service_name(tableland) == "Q1TPU Tableland TV"


def test_tool_an_independent_reader_sees_the_same(tableland):
    answer = json.loads((DATA / "tableland_9953kbps.ffprobe.json").read_text(encoding="utf-8"))["programs"][0]
    seen = survey(tableland)
    programme = seen.programmes[answer["program_id"]]
    assert programme.clock_pid == answer["pcr_pid"]
    assert {hex(one.pid) for one in programme.streams} == {one["id"] for one in answer["streams"]}
    assert [one.codec for one in programme.streams] == ["H.264", "MPEG-1 audio"]
    assert seen.services[answer["program_id"]].name == answer["tags"]["service_name"]
    assert seen.services[answer["program_id"]].provider == answer["tags"]["service_provider"]
    assert seen.pid_counts[answer["pmt_pid"]] == 4


@pytest.mark.parametrize("block", [1, 7, 541])
def test_law_the_answer_does_not_depend_on_the_blocks(tableland, block):
    damaged = np.delete(tableland, [100, 101, 300], axis=0)
    reader = StreamReader()
    for at in range(0, len(damaged), block):
        reader.take(damaged[at : at + block])
    assert reader.survey() == survey(damaged)


def test_law_a_lost_packet_breaks_one_counter(tableland):
    video = np.flatnonzero(pids(tableland) == 0x100)
    assert survey(np.delete(tableland, video[40], axis=0)).continuity_errors == {0x100: 1}
    assert survey(np.delete(tableland, video[[40, 41, 90]], axis=0)).continuity_errors == {0x100: 2}


def test_limit_a_packet_with_the_error_flag_is_counted_and_not_believed(tableland):
    damaged = tableland.copy()
    row = int(np.flatnonzero(pids(tableland) == 0x11)[0])
    damaged[row, 1] |= 0x80
    seen = survey(damaged)
    assert seen.errored_packets == 1
    assert 0x11 not in seen.pid_counts
    assert seen.service is None
    assert service_name(damaged) is None


def test_limit_a_garbled_section_is_not_believed(tableland):
    damaged = tableland.copy()
    row = int(np.flatnonzero(pids(tableland) == 0x11)[0])
    damaged[row, 40] ^= 4
    seen = survey(damaged)
    assert seen.crc_errors == 1
    assert seen.services == {}


# [ISO13818-1] 2.4.3.3: the counter stands still without payload; one exact repeat is allowed, a third is not.
def test_published_counter_rules():
    payload = bytes(range(184))
    sent = [_packet(0x40, 3, payload), _packet(0x40, 3, payload), _packet(0x40, 4, payload)]
    assert survey(np.array(sent)).continuity_errors == {}
    assert survey(np.array([sent[0], sent[0], sent[0], sent[2]])).continuity_errors == {0x40: 1}
    other = _packet(0x40, 3, payload[::-1])
    assert survey(np.array([sent[0], other])).continuity_errors == {0x40: 1}
    still = _packet(0x40, 3, adaptation=b"\x00" * 183)
    assert survey(np.array([sent[0], still, sent[2]])).continuity_errors == {}
    announced = _packet(0x40, 9, payload[:100], adaptation=b"\x80")
    assert survey(np.array([sent[0], announced])).continuity_errors == {}
    around = [_packet(0x40, counter, payload) for counter in range(40)]
    assert survey(np.array(around)).continuity_errors == {}


def test_law_a_section_over_many_packets_is_put_together():
    services = [(number, b"Q1ABC", b"Channel %03d" % number) for number in range(1, 60)]
    packets = _spread(_sdt(services))
    assert len(packets) > 8
    seen = survey(packets)
    assert {number: one.name for number, one in seen.services.items()} == {n: f"Channel {n:03d}" for n in range(1, 60)}
    assert seen.crc_errors == 0
    lost = survey(np.delete(packets, 4, axis=0))
    assert lost.services == {}
    assert lost.continuity_errors == {0x11: 1}


def test_law_sections_follow_one_another_inside_a_packet():
    first, second = _sdt([(1, b"A", b"One")]), _sdt([(2, b"B", b"Two")])
    both = first + second
    cut = len(first) - 5
    assembler = SectionAssembler()
    assert assembler.take(b"\x00" + both[:cut], starts=True) == []
    done = assembler.take(bytes([5]) + both[cut:], starts=True)
    assert [one.extension for one in done] == [1, 1]
    assert all(one.valid for one in done)


def test_law_the_service_of_the_pat_comes_first(tableland):
    extra = _spread(_sdt([(2, b"X", b"Elsewhere")]), counter=9)
    seen = survey(np.concatenate([extra, tableland]))
    assert seen.services[2].name == "Elsewhere"
    assert seen.service.name == "Q1TPU Tableland TV"


# [ISO13818-1] table 2-34 and [EN300468] 6.3: AC-3 is private data named by a descriptor (0x6A).
def test_published_private_streams_are_named_by_their_descriptor():
    streams = b"\x24\xe1\x00\xf0\x00" + b"\x06\xe1\x01\xf0\x03\x6a\x01\x00" + b"\x99\xe1\x02\xf0\x00"
    inner = b"\x00\x05\xc1\x00\x00" + b"\xe1\x00\xf0\x00" + streams
    data = b"\x02" + (0xB000 | len(inner) + 4).to_bytes(2, "big") + inner + b"\x00" * 4
    found = read_pmt(Section(table_id=2, extension=5, data=data, valid=True))
    assert [(one.pid, one.codec) for one in found.streams] == [
        (0x100, "HEVC"),
        (0x101, "AC-3"),
        (0x102, "stream type 0x99"),
    ]
    assert (found.service_id, found.clock_pid) == (5, 0x100)


def test_law_clock_survives_its_wrap(tableland):
    rate = Fraction(8_000_000)
    near_end = tableland.copy()
    first = pcr_packets(tableland)[0]
    value = ((1 << 33) - 2) << 15 | 0x3F << 9
    near_end[first, 6:12] = np.frombuffer(value.to_bytes(6, "big"), np.uint8)
    stamped = stamp_pcr(near_end, net_bit_rate_bps=rate)
    values = read_pcr(stamped[pcr_packets(stamped)])
    assert values[0] > values[1]
    seen = survey(stamped)
    assert seen.clock_rate_bps == pytest.approx(8e6, abs=1.0)
    assert 0.02 < seen.clock_interval_max_s < 0.1


def test_law_a_frame_that_comes_late_has_a_negative_margin(tableland):
    early = arrival_margins_s(tableland, pid=0x100, net_bit_rate_bps=RATE_BPS)
    assert len(early) >= 1
    late = arrival_margins_s(
        stamp_pcr(tableland, net_bit_rate_bps=RATE_BPS / 30), pid=0x100, net_bit_rate_bps=RATE_BPS / 30
    )
    assert early.min() > 0 > late.min()


@pytest.mark.parametrize("shape", [(188,), (2, 204)])
def test_limit_what_is_no_packet_is_refused(shape):
    with pytest.raises(FormatError, match="rows of 188 bytes"):
        survey(np.zeros(shape, np.uint8))


def test_limit_noise_is_counted_as_unsynchronised():
    noise = np.random.default_rng(5).integers(0, 256, (400, 188), dtype=np.uint8)
    noise[:, 0] = 0x12
    seen = survey(noise)
    assert seen.unsynchronised_packets == 400
    assert seen.pid_counts == {}
    assert seen.clock_rate_bps is None


def test_limit_any_bytes_behind_a_sync_are_read_without_a_fault():
    noise = np.random.default_rng(6).integers(0, 256, (4000, 188), dtype=np.uint8)
    noise[:, 0] = 0x47
    noise[::3, 1:3] = (0x40, 0x11)
    noise[1::3, 1:3] = (0x40, 0x00)
    seen = survey(noise)
    assert seen.packets == 4000
    assert seen.services == {}
