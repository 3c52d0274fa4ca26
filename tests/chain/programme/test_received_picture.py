"""A picture out of a received stream: what a general library's coder put in comes out, whole or told as damaged."""

import io

import av
import numpy as np
import pytest
from PIL import Image

from tepui.chain.programme.picture import received_picture
from tepui.desk.receive import _keep_picture

HIGH, WIDE, PACKET = 96, 128, 188


def stream_of(pictures):
    """A transport stream by PyAV, every fourth picture a key picture."""
    target = io.BytesIO()
    with av.open(target, "w", format="mpegts") as container:
        coder = container.add_stream("mpeg2video", rate=25, options={"g": "4", "bf": "0", "qscale": "2"})
        coder.width, coder.height, coder.pix_fmt = WIDE, HIGH, "yuv420p"
        coder.bit_rate = 2_000_000
        for number, pixels in enumerate(pictures):
            frame = av.VideoFrame.from_ndarray(pixels, format="rgb24")
            frame.pts = number
            container.mux(coder.encode(frame))
        container.mux(coder.encode(None))
    return target.getvalue()


@pytest.fixture(scope="module")
def made():
    """Twelve pictures of four large grey fields that change places, and their stream."""
    fields = np.array([[40, 200], [120, 80]], np.uint8)
    pictures = [
        np.repeat(np.kron(np.roll(fields, n, axis=1), np.ones((HIGH // 2, WIDE // 2), np.uint8))[..., None], 3, axis=2)
        for n in range(12)
    ]
    return pictures, stream_of(pictures)


def test_tool_the_last_whole_picture_comes_out(made):
    pictures, stream = made
    found = received_picture(stream)
    assert found.whole
    assert found.codec == "mpeg2video"
    assert np.abs(found.pixels.astype(int) - pictures[found.number - 1]).mean() < 6


def test_limit_with_packets_lost_there_is_a_picture_or_none_and_never_a_fault(made):
    packets = np.frombuffer(made[1], np.uint8).reshape(-1, PACKET)
    rng = np.random.default_rng(3)
    for share in (0.02, 0.2, 0.9):
        kept = packets[rng.random(len(packets)) > share]
        found = received_picture(kept.tobytes())
        assert found is None or found.pixels.shape == (HIGH, WIDE, 3)


def test_tool_the_kept_picture_is_a_png_that_others_read(made, tmp_path):
    path = tmp_path / "picture.png"
    assert _keep_picture(path, made[1])
    with Image.open(path) as image:
        assert (image.format, image.size) == ("PNG", (WIDE, HIGH))
    assert not _keep_picture(tmp_path / "none.png", b"")
    assert not (tmp_path / "none.png").exists()


@pytest.mark.parametrize("stream", [b"", b"x" * 5000, bytes([0x47, 0x1F, 0xFF, 0x10]) + bytes(184)])
def test_limit_nothing_in_it_is_none(stream):
    assert received_picture(stream) is None
