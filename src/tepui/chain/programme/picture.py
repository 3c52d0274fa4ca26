"""A picture out of a received transport stream: the proof that no figure replaces.

Theory  Pictures are coded from others before them, so one that begins whole is looked for: of the pictures that the
        decoder does not call damaged the last is taken, as the decoder has then settled. Where there is none, the
        last damaged one shows what the viewer would see, and is told as damaged.
Source  [ISO13818-1] for the stream; the decoder's own word for damage.
Holds   The first video stream of the first programme. Reads at most ``MOST_BYTES`` from the beginning.
"""

import io
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

MOST_BYTES = 1 << 24
MOST_PICTURES = 50


@dataclass(frozen=True, kw_only=True, eq=False)
class ReceivedPicture:
    """One picture. pixels (rows, columns, 3); number counts the decoded ones from 1; whole: not damaged."""

    pixels: npt.NDArray[np.uint8]
    number: int
    whole: bool
    codec: str


def received_picture(stream: bytes) -> ReceivedPicture | None:
    """A picture of the stream, or None where nothing can be decoded."""
    import av

    best: ReceivedPicture | None = None
    number = 0
    try:
        with av.open(io.BytesIO(stream[:MOST_BYTES]), format="mpegts") as container:
            if not container.streams.video:
                return None
            video = container.streams.video[0]
            for packet in container.demux(video):
                try:
                    frames = packet.decode()
                except av.FFmpegError:  # damaged, or its beginning was not received
                    continue
                for frame in frames:
                    number += 1
                    whole = not frame.is_corrupt
                    if best is None or whole >= best.whole:
                        pixels = np.ascontiguousarray(frame.to_ndarray(format="rgb24"))
                        name = str(video.codec_context.name)
                        best = ReceivedPicture(pixels=pixels, number=number, whole=whole, codec=name)
                if number >= MOST_PICTURES:
                    break
    except (av.FFmpegError, ValueError):
        return best
    return best
