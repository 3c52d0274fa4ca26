"""A small real transport stream: test card and tone, coded, named and multiplexed at exactly the channel's rate.

Theory  The modulator takes packets at its own rate and no other, so every gap is filled with null packets and every
        PCR is set to its byte position at that rate, an exact fraction. The result is then read back: a frame that
        arrives after its time means that the payload did not fit.
Source  [ISO13818-1] 2.4.2 (timing), [TR101290] 5.2 (intervals of tables and clock), [EN300468] 6.2.33 and service
        types 0x01 and 0x16 (from memory). Coding by the general libraries behind PyAV.
Holds   One service, held in memory. The same input gives the same bytes with the same library versions.
"""

import io
from collections.abc import Iterator
from fractions import Fraction
from typing import Any

import numpy as np
import numpy.typing as npt

from tepui.chain.programme.budget import Budget, share_rate
from tepui.chain.programme.card import PICTURES_PER_S, TestCard
from tepui.chain.programme.clock import PACKET_BITS, arrival_margins_s, stamp_pcr
from tepui.chain.programme.ident import tone
from tepui.chain.programme.packets import NULL_PID, pids
from tepui.ground.checks import require_one_of, require_positive
from tepui.ground.errors import RangeError, UnfinishedError

SOUND_RATE_HZ = 48_000
SOUND_FRAME = 1152  # samples in a frame of MPEG layer II
VIDEO_PID, AUDIO_PID, PMT_PID = 0x0100, 0x0101, 0x1000
CLOCK_INTERVAL_MS = 30
DELAY_US = 700_000  # from arrival to decoding; TR 101 290 3.10 allows 1 s
EXTRA_S = 0.4  # coded beyond the end, so that the cut stream is full to its last packet
GROUP = 12  # pictures from one that stands alone to the next
NETWORK_ID = 0xFF01  # a value for private, temporary use (ETSI TS 101 162, from memory)
NULL_PACKET = np.array([0x47, NULL_PID >> 8, NULL_PID & 0xFF, 0x10] + 184 * [0xFF], np.uint8)
VIDEO_CODECS = {"H.264": ("libx264", 0x16), "MPEG-2": ("mpeg2video", 0x01)}


def make_stream(
    *,
    service_name: str,
    provider: str,
    net_bit_rate_bps: Fraction,
    duration_s: float,
    call: str | None = None,
    video: str = "H.264",
    size: tuple[int, int] = (352, 288),
    service_id: int = 1,
) -> npt.NDArray[np.uint8]:
    """Packets of one service, at exactly ``net_bit_rate_bps``.

    service_name, provider  what a receiver shows
    duration_s              the whole packets that fit into it are returned
    call                    callsign on the card and in the tone; None takes the provider
    video                   "H.264" or "MPEG-2" (for receivers of the first generation)
    size                    picture width and height
    returns                 uint8 (n, 188), n = floor(duration_s x rate / 1504)
    raises                  RangeError where the rate is too low, ChoiceError for the codec
    """
    require_one_of("video", video, VIDEO_CODECS, source="the coders of the library at hand")
    require_positive("duration_s", duration_s, unit="s")
    budget = share_rate(net_bit_rate_bps=net_bit_rate_bps, pixels_per_s=size[0] * size[1] * PICTURES_PER_S)
    card = TestCard(call=call or provider, title=service_name, size=size)
    names = {"service_name": service_name, "service_provider": provider}
    options = _multiplex_options(budget, service_id=service_id, service_type=VIDEO_CODECS[video][1])
    data = _multiplex(card, budget, codec=VIDEO_CODECS[video][0], options=options, names=names, length_s=duration_s)
    packets = np.frombuffer(data, np.uint8).reshape(-1, 188)
    n_packets = int(Fraction(duration_s) * net_bit_rate_bps / PACKET_BITS)
    if len(packets) < n_packets:
        raise UnfinishedError(f"The multiplexer gave {len(packets)} packets where {n_packets} were needed; our fault.")
    whole = _without_cut_frames(packets, n_packets)
    stamped = stamp_pcr(whole, net_bit_rate_bps=net_bit_rate_bps)
    _require_in_time(stamped, net_bit_rate_bps)
    return stamped


def _without_cut_frames(packets: npt.NDArray[np.uint8], n_packets: int) -> npt.NDArray[np.uint8]:
    """The first ``n_packets``; a frame whose end lies beyond them gives way to null packets."""
    kept = packets[:n_packets].copy()
    for pid in (VIDEO_PID, AUDIO_PID):
        mine = np.flatnonzero(pids(packets) == pid)
        starts = mine[(packets[mine, 1] & 0x40) != 0]
        inside, beyond = starts[starts < n_packets], starts[starts >= n_packets]
        ends = mine[mine < beyond[0]] if len(beyond) else mine
        if len(inside) and ends[-1] >= n_packets:
            cut = mine[(mine >= inside[-1]) & (mine < n_packets)]
            kept[cut] = NULL_PACKET
    return kept


def _require_in_time(packets: npt.NDArray[np.uint8], net_bit_rate_bps: Fraction) -> None:
    for pid in (VIDEO_PID, AUDIO_PID):
        margins_s = arrival_margins_s(packets, pid=pid, net_bit_rate_bps=net_bit_rate_bps)
        if len(margins_s) and margins_s.min() < 0:
            raise RangeError(
                f"The programme does not fit {float(net_bit_rate_bps) / 1e3:.0f} kbit/s: a frame would arrive "
                f"{-margins_s.min():.2f} s after its time (ISO/IEC 13818-1 2.4.2); choose a smaller picture or a "
                "faster mode."
            )


def _multiplex_options(budget: Budget, *, service_id: int, service_type: int) -> dict[str, str]:
    return {
        "muxrate": str(round(budget.net_bps)),
        "max_delay": str(DELAY_US),
        "pcr_period": str(CLOCK_INTERVAL_MS),
        "pat_period": str(budget.table_interval_s),
        "sdt_period": str(budget.name_interval_s),
        "mpegts_service_id": str(service_id),
        "mpegts_service_type": str(service_type),
        "mpegts_transport_stream_id": "1",
        "mpegts_original_network_id": str(NETWORK_ID),
        "mpegts_start_pid": str(VIDEO_PID),
        "mpegts_pmt_start_pid": str(PMT_PID),
    }


def _multiplex(
    card: TestCard, budget: Budget, *, codec: str, options: dict[str, str], names: dict[str, str], length_s: float
) -> bytes:
    import av

    target = io.BytesIO()
    n_pictures = int(np.ceil((length_s + EXTRA_S) * PICTURES_PER_S))
    with av.open(target, "w", format="mpegts", options=options) as container:
        container.metadata.update(names)
        picture = _picture_coder(container, card, budget, codec)
        sound = container.add_stream("mp2", rate=SOUND_RATE_HZ, layout="mono")
        sound.bit_rate = budget.sound_bps
        frames = _sound_frames(card.call)
        sound_end_s = 0.0
        for number in range(n_pictures):
            container.mux(picture.encode(_picture_frame(card, number)))
            while sound_end_s <= number / PICTURES_PER_S:
                container.mux(sound.encode(next(frames)))
                sound_end_s += SOUND_FRAME / SOUND_RATE_HZ
        container.mux(picture.encode(None))
        container.mux(sound.encode(None))
    return target.getvalue()


def _picture_coder(container: Any, card: TestCard, budget: Budget, codec: str) -> Any:
    kbit = budget.picture_bps // 1000
    buffer_kbit = max(1, kbit * 2 // 5)  # 0.4 s at its own rate, well inside the delay
    if codec == "libx264":
        settings = f"bitrate={kbit}:vbv-maxrate={kbit}:vbv-bufsize={buffer_kbit}:keyint={GROUP}:min-keyint={GROUP}"
        options = {"preset": "veryfast", "x264-params": f"{settings}:scenecut=0:bframes=0:rc-lookahead=0"}
    else:
        options = {"maxrate": f"{kbit}k", "bufsize": f"{buffer_kbit}k", "g": str(GROUP), "bf": "0"}
    coder = container.add_stream(codec, rate=PICTURES_PER_S, options={**options, "threads": "1"})
    coder.width, coder.height = card.size
    coder.pix_fmt = "yuv420p"
    coder.bit_rate = 1000 * kbit
    return coder


def _picture_frame(card: TestCard, number: int) -> Any:
    import av

    frame = av.VideoFrame.from_ndarray(card.picture(number), format="rgb24")
    frame.pts = number
    return frame


def _sound_frames(call: str) -> Iterator[Any]:
    import av

    start = 0
    while True:
        samples = tone(call=call, start=start, count=SOUND_FRAME, rate_hz=SOUND_RATE_HZ)
        frame = av.AudioFrame.from_ndarray((32767 * samples).astype(np.int16)[None, :], format="s16", layout="mono")
        frame.sample_rate = SOUND_RATE_HZ
        frame.pts = start
        yield frame
        start += SOUND_FRAME
