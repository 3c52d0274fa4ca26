"""The edge watch on a page: started and ended by its form, looked at through a websocket, turned by keys.

Theory  The page asks for the next snapshot when it has drawn the one before: what a stalled browser has missed is never
        sent. The server keeps the newest only. For traces the page gives credit, a few at first and one more for each
        it has drawn; each frame brings back the stamp of its credit, so that the page knows what was on the way while
        it stood still, and leaves that out.
Source  our own design; [RFC6455] for the websocket.
Holds   One watch for all pages; whoever looks sees the same.
"""

import asyncio
import contextlib
import math
import time
from collections import deque
from collections.abc import Mapping

from starlette.concurrency import run_in_threadpool
from starlette.websockets import WebSocket, WebSocketDisconnect

from tepui.desk.watch_frames import stamped
from tepui.desk.watching import KEYS, Watching
from tepui.web.forms import Option

ENTRY = "tepui.cli.verbs.watch:screened"
WAIT_S = 1.0
MOST_CREDITS = 4
NOT_UNDERSTOOD = 1008  # [RFC6455] 7.4.1: a message against the rules
OPTIONS = (
    Option(name="receiver", label="Receiver", hint="practice, or one that tepui receivers lists", example="practice"),
    Option(name="centre", label="Channel centre", hint="not needed in practice", example="1286 MHz"),
    Option(name="width", label="Channel width", hint="not needed in practice", example="7 MHz"),
    Option(name="gain", label="Gain", hint="of one element", example="LNA=20 dB"),
    Option(name="attenuator", label="Pads before the receiver", example="20 dB"),
    Option(name="usable", label="Usable width", hint="of the receiver", example="1.8 MHz"),
)


def watch_words(given: Mapping[str, str]) -> list[str]:
    """The words of the verb; what is empty is left out."""
    words = []
    for option in OPTIONS:
        text = given.get(option.name, "").strip()
        if text:
            words += [option.flag, text]
    return words


class _Bell:
    """Rung from the watch's thread, heard in the loop of the sockets."""

    def __init__(self) -> None:
        self._loop = asyncio.get_running_loop()
        self._rung = asyncio.Event()

    def ring(self) -> None:
        """Something is new."""
        self._loop.call_soon_threadsafe(self._rung.set)

    async def heard(self) -> None:
        """Wait until it was rung, or a while."""
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(self._rung.wait(), WAIT_S)
        self._rung.clear()


async def stream(socket: WebSocket, watching: Watching) -> None:
    """Send the newest snapshot for every "next", and hand on keys."""
    await socket.accept()
    bell, seen = _Bell(), -1
    with contextlib.suppress(WebSocketDisconnect, RuntimeError), watching.ringing(bell.ring):
        while True:
            asked = await socket.receive_text()
            if asked in KEYS:
                await run_in_threadpool(watching.press, asked)
                continue
            until = time.monotonic() + WAIT_S
            while watching.newest()[0] == seen and time.monotonic() < until:
                await bell.heard()
            seen, snapshot = watching.newest()
            told = {"running": watching.is_running, "sentence": watching.sentence, "snapshot": snapshot}
            await socket.send_json(told)


async def stream_traces(socket: WebSocket, watching: Watching) -> None:
    """Send the newest frame of traces for every credit: a text that is a number, which comes back in the frame."""
    await socket.accept()
    bell, credits = _Bell(), deque[float](maxlen=MOST_CREDITS)
    with contextlib.suppress(WebSocketDisconnect, RuntimeError), watching.ringing(bell.ring):
        taking = asyncio.create_task(_take_credits(socket, credits, bell))
        seen = watching.newest_trace()[0] - 1
        try:
            while not taking.done():
                number, frame = watching.newest_trace()
                if credits and number > seen and frame:
                    seen = number
                    await socket.send_bytes(stamped(frame, credits.popleft()))
                    continue
                await bell.heard()
        finally:
            taking.cancel()
        await socket.close(NOT_UNDERSTOOD)


async def _take_credits(socket: WebSocket, credits: deque[float], bell: _Bell) -> None:
    """Hear credits until the page is gone or says something else; it never fails."""
    with contextlib.suppress(WebSocketDisconnect, RuntimeError, ValueError, KeyError):
        while math.isfinite(stamp := float(await socket.receive_text())):
            credits.append(stamp)
            bell.ring()
    bell.ring()
