"""The sockets of the edge watch: nothing without credit, never an old frame, no other site."""

import contextlib
import struct
import threading
import time

import pytest
from starlette.applications import Starlette
from starlette.routing import WebSocketRoute
from starlette.testclient import TestClient
from starlette.websockets import WebSocketDisconnect

from tepui.web.guard import Guard
from tepui.web.live import stream, stream_traces

HOST = "127.0.0.1:8157"


class Watched:
    """Stands in for the watch: frames and snapshots that count, given when told."""

    def __init__(self):
        self.number, self.traces, self.bells, self.keys = 0, 0, set(), []
        self.is_running, self.sentence = True, ""

    def newest(self):
        return self.number, {"n": self.number}

    def newest_trace(self):
        frame = struct.pack("<BBBBIdd8x", 1, 0, 0, 0, self.traces, 0.0, 0.0)
        return self.traces, frame if self.traces else b""

    @contextlib.contextmanager
    def ringing(self, bell):
        self.bells.add(bell)
        yield
        self.bells.discard(bell)

    def press(self, key):
        self.keys.append(key)

    def give(self):
        self.traces += 1
        self.number += 1
        for bell in tuple(self.bells):
            bell()


@pytest.fixture
def watched():
    return Watched()


@pytest.fixture
def client(watched):
    async def live(socket):
        await stream(socket, watched)

    async def traces(socket):
        await stream_traces(socket, watched)

    routes = [WebSocketRoute("/live", live), WebSocketRoute("/traces", traces)]
    return TestClient(Guard(Starlette(routes=routes), hosts=[HOST], token=None), base_url=f"http://{HOST}")


def frame_of(socket):
    *_, number, _, stamp = struct.unpack_from("<BBBBIdd", socket.receive_bytes())
    return number, stamp


def test_law_a_stalled_page_gets_the_newest_and_no_more_than_its_credit(client, watched):
    with client.websocket_connect(f"ws://{HOST}/traces") as socket:
        for stamp in (1.0, 2.0):
            socket.send_text(str(stamp))
        watched.give()
        assert frame_of(socket) == (1, 1.0)
        watched.give()
        assert frame_of(socket) == (2, 2.0)
        for _ in range(500):  # the page stands still: no credit comes
            watched.give()
        time.sleep(0.1)
        socket.send_text("3.0")
        assert frame_of(socket) == (502, 3.0)  # and none of the 499 between
        socket.send_text("4.0")
        threading.Timer(0.1, watched.give).start()
        assert frame_of(socket) == (503, 4.0)  # not the same one again


@pytest.mark.parametrize("said", ["more", "nan", "inf", "1e999", ""])
def test_limit_what_is_no_credit_ends_the_stream(client, watched, said):
    with client.websocket_connect(f"ws://{HOST}/traces") as socket:
        socket.send_text(said)
        watched.give()
        with pytest.raises(WebSocketDisconnect):
            socket.receive_bytes()
    assert watched.bells == set()


def test_law_hoarded_credit_is_little(client, watched):
    with client.websocket_connect(f"ws://{HOST}/traces") as socket:
        for stamp in range(1000):
            socket.send_text(str(stamp))
        time.sleep(0.3)
        watched.give()
        assert frame_of(socket) == (1, 996.0)  # four are kept, the newest


def test_law_a_snapshot_for_every_question_and_keys_handed_on(client, watched):
    with client.websocket_connect(f"ws://{HOST}/live") as socket:
        watched.give()
        socket.send_text("next")
        assert socket.receive_json()["snapshot"] == {"n": 1}
        socket.send_text("p")
        socket.send_text("next")
        watched.give()
        assert socket.receive_json()["snapshot"] == {"n": 2}
    assert watched.keys == ["p"]


# [RFC6455] 10.2: a server that is not meant for any web page must look at Origin.
@pytest.mark.parametrize("path", ["/live", "/traces"])
@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": f"https://{HOST}"},
        {"host": "evil.example:8157"},
        {"sec-fetch-site": "cross-site"},
    ],
)
def test_law_another_site_gets_no_socket(client, path, headers):
    with pytest.raises(WebSocketDisconnect) as refused, client.websocket_connect(f"ws://{HOST}{path}", headers=headers):
        pass
    assert refused.value.code == 1008
