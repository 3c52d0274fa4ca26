"""The edge watch on a page: started and ended by its form, looked at through a websocket, turned by keys.

Theory  The page asks for the next snapshot when it has drawn the one before: what a stalled browser has missed is never
        sent. The server keeps the newest only.
Source  our own design; [RFC6455] for the websocket.
Holds   One watch for all pages; whoever looks sees the same.
"""

import asyncio
from collections.abc import Mapping
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.websockets import WebSocket, WebSocketDisconnect

from tepui.desk.watching import KEYS, Watching
from tepui.web.forms import Option

ENTRY = "tepui.cli.verbs.watch:screened"
WAIT_S = 1.0
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


async def stream(socket: WebSocket, watching: Watching) -> None:
    """Send the newest snapshot for every "next", and hand on keys."""
    await socket.accept()
    seen = -1
    try:
        while True:
            asked = await socket.receive_text()
            if asked in KEYS:
                await run_in_threadpool(watching.press, asked)
                continue
            told: dict[str, Any] = {"running": watching.is_running, "sentence": watching.sentence, "snapshot": None}
            if watching.is_running:
                seen, snapshot = await run_in_threadpool(watching.newest, seen, timeout_s=WAIT_S)
                told |= {"running": watching.is_running, "sentence": watching.sentence, "snapshot": snapshot}
            else:
                await asyncio.sleep(0.5)
            await socket.send_json(told)
    except (WebSocketDisconnect, RuntimeError):
        return
