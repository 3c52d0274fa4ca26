"""Programme and service information: PAT, PMT and SDT sections turned into what a viewer would call the channel.

Theory  The PAT names one PMT per service, the PMT its streams and clock, the SDT its provider and name.
Source  [ISO13818-1] 2.4.4.3 (PAT), 2.4.4.8 (PMT), table 2-34 (stream types); [EN300468] 5.2.3 (SDT), 6.2.33
        (service descriptor), 6.3 (descriptor tags). Stream types and descriptor tags from memory.
Holds   Sections whose CRC has been checked. A descriptor that runs over its loop ends the loop.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from tepui.chain.programme.sections import Section
from tepui.chain.programme.text import decode_text

PAT_TABLE, PMT_TABLE, SDT_TABLE = 0x00, 0x02, 0x42
SERVICE_DESCRIPTOR = 0x48

STREAM_TYPES = {
    0x01: "MPEG-1 video",
    0x02: "MPEG-2 video",
    0x03: "MPEG-1 audio",
    0x04: "MPEG-2 audio",
    0x0F: "AAC",
    0x11: "AAC LATM",
    0x1B: "H.264",
    0x24: "HEVC",
}
PRIVATE_PES = 0x06
_PRIVATE_DESCRIPTORS = {0x56: "teletext", 0x59: "subtitles", 0x6A: "AC-3", 0x7A: "enhanced AC-3"}


@dataclass(frozen=True, kw_only=True)
class Stream:
    """One elementary stream of a service."""

    pid: int
    stream_type: int
    codec: str


@dataclass(frozen=True, kw_only=True)
class ProgrammeMap:
    """One PMT: where the clock is and what the streams are."""

    service_id: int
    clock_pid: int
    streams: tuple[Stream, ...]


@dataclass(frozen=True, kw_only=True)
class Service:
    """One entry of the SDT; name and provider are empty where it carries none."""

    service_id: int
    service_type: int
    provider: str
    name: str


def descriptors(data: bytes) -> Iterator[tuple[int, bytes]]:
    """Tag and payload of each descriptor of a loop."""
    at = 0
    while at + 2 <= len(data) and at + 2 + data[at + 1] <= len(data):
        yield data[at], data[at + 2 : at + 2 + data[at + 1]]
        at += 2 + data[at + 1]


def read_pat(section: Section) -> dict[int, int]:
    """Service id -> PID of its PMT; the network entry (service 0) is left out."""
    body = section.body
    entries = (body[at : at + 4] for at in range(0, len(body) - 3, 4))
    pairs = ((int.from_bytes(e[:2], "big"), int.from_bytes(e[2:], "big") & 0x1FFF) for e in entries)
    return {service: pid for service, pid in pairs if service}


def _codec(stream_type: int, loop: bytes) -> str:
    if stream_type == PRIVATE_PES:
        names = [_PRIVATE_DESCRIPTORS[tag] for tag, _ in descriptors(loop) if tag in _PRIVATE_DESCRIPTORS]
        return names[0] if names else "private data"
    return STREAM_TYPES.get(stream_type, f"stream type 0x{stream_type:02X}")


def read_pmt(section: Section) -> ProgrammeMap:
    """The streams of one service and the PID of its clock."""
    body = section.body
    clock_pid = int.from_bytes(body[0:2], "big") & 0x1FFF
    at = 4 + (int.from_bytes(body[2:4], "big") & 0x0FFF)
    streams = []
    while at + 5 <= len(body):
        length = int.from_bytes(body[at + 3 : at + 5], "big") & 0x0FFF
        pid = int.from_bytes(body[at + 1 : at + 3], "big") & 0x1FFF
        streams.append(Stream(pid=pid, stream_type=body[at], codec=_codec(body[at], body[at + 5 : at + 5 + length])))
        at += 5 + length
    return ProgrammeMap(service_id=section.extension, clock_pid=clock_pid, streams=tuple(streams))


def _service(service_id: int, payload: bytes) -> Service:
    split = 2 + payload[1]
    name = payload[split + 1 : split + 1 + payload[split]] if split < len(payload) else b""
    return Service(
        service_id=service_id,
        service_type=payload[0],
        provider=decode_text(payload[2:split]).strip(),
        name=decode_text(name).strip(),
    )


def read_sdt(section: Section) -> list[Service]:
    """The services that one SDT section describes."""
    body = section.body[3:]
    services = []
    at = 0
    while at + 5 <= len(body):
        length = int.from_bytes(body[at + 3 : at + 5], "big") & 0x0FFF
        service_id = int.from_bytes(body[at : at + 2], "big")
        for tag, payload in descriptors(body[at + 5 : at + 5 + length]):
            if tag == SERVICE_DESCRIPTOR and len(payload) >= 3:
                services.append(_service(service_id, payload))
        at += 5 + length
    return services
