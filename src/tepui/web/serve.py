"""Starting the bench: a free port, the address said once, the browser opened, and an orderly end.

Theory  Loopback only, unless the room is asked for: then a token stands in the address and a warning beside it.
Source  our own design.
Holds   One server process; Ctrl-C ends it and what it was at.
"""

import os
import socket
import sys
import threading
import time
import webbrowser
from pathlib import Path

import uvicorn

from tepui.desk.watching import Watching
from tepui.desk.workshop import Workshop
from tepui.files.atomic import write_text_whole
from tepui.ground.errors import InputError, UnfinishedError
from tepui.station.example import example_text
from tepui.web.app import build_app
from tepui.web.chain import Chain
from tepui.web.guard import new_token
from tepui.web.live import ENTRY as WATCH
from tepui.web.state import RESULTS, BenchState

HOME, ROOM = "this machine", "lan"
ENTRY = "tepui.cli.main:main"
USUAL_PORT, TRIED_PORTS = 8157, 20
MOST_CONNECTIONS, MOST_MESSAGE = 200, 1 << 12


def serve(folder: Path, *, station: str, port: int | None, open_browser: bool, reach: str, practice: bool) -> int:
    """Serve the bench of a folder until it is stopped; returns the exit code.

    station  name of the station file in it
    port     None takes the usual one, or the next that is free
    reach    HOME for this machine alone, ROOM for others with the token
    """
    listener = _listener(port, everywhere=reach == ROOM)
    chosen = listener.getsockname()[1]
    token = new_token() if reach == ROOM else None
    hosts = [f"{name}:{chosen}" for name in ("127.0.0.1", "localhost")]
    own = _own_address() if reach == ROOM else None
    if own is not None:
        hosts.append(f"{own}:{chosen}")
    workshop = Workshop(folder / RESULTS, entry=ENTRY, within=folder)
    watching = Watching(entry=WATCH)
    state = BenchState(
        folder=folder,
        workshop=workshop,
        watching=watching,
        chain=Chain(folder, workshop, name=station, practice=practice),
        practice=practice,
    )
    address = f"http://127.0.0.1:{chosen}/"
    _say(f"the bench of {folder} is at {address} (Ctrl-C ends it)")
    room = f"http://{own or 'this machine'}:{chosen}/?token="
    if token is not None:
        _say(
            f"one other device in the room: {room}{token} - whoever opens this address first can read and change this "
            "bench, and nothing on the way is encrypted; use it in your own network only"
        )
    if practice and not (folder / station).exists():
        write_text_whole(folder / station, example_text())
    if practice and not any(state.files((".sigmf-meta",))):
        workshop.submit(["demo", "--folder", str(folder / "first-run")], title="practice station", pictures=False)
    server = uvicorn.Server(
        uvicorn.Config(
            build_app(
                state,
                hosts=hosts,
                token=token,
                told=lambda following: _say(
                    f"a device was let in and the token is used up; the next: {room}{following}"
                ),
            ),
            log_level="warning",
            access_log=False,
            ws="websockets-sansio",
            ws_max_size=MOST_MESSAGE,
            ws_per_message_deflate=False,
            limit_concurrency=MOST_CONNECTIONS,
            timeout_graceful_shutdown=1,
        )
    )
    if open_browser:
        threading.Thread(target=_open_when_up, args=(server, address), daemon=True).start()
    try:
        server.run(sockets=[listener])
    except KeyboardInterrupt:
        _say("the bench is closed; what it measured lies in its folder")
    finally:
        watching.stop()
        workshop.close()
        listener.close()
    return 0


def _listener(port: int | None, *, everywhere: bool) -> socket.socket:
    """A bound socket: the port that was asked for, or the first free one from the usual on.

    raises  InputError where the port asked for is taken, UnfinishedError where none is free
    """
    host = "0.0.0.0" if everywhere else "127.0.0.1"
    for candidate in [port] if port is not None else range(USUAL_PORT, USUAL_PORT + TRIED_PORTS):
        listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        if os.name == "posix":  # a port that was left a moment ago; elsewhere the option would share one in use
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((host, candidate))
            listener.listen()  # who comes before the server is up waits a moment and is not turned away
        except OSError as problem:
            listener.close()
            if port is not None:
                why = f"port {port} cannot be had ({problem.strerror}); name another with --port, or leave it out."
                raise InputError(why) from problem
            continue
        return listener
    raise UnfinishedError(f"no port from {USUAL_PORT} on is free; name one with --port.")


def _own_address() -> str | None:
    """The address of this machine in its own network; nothing is sent to find it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # [RFC5737] an address that leads nowhere
            return str(probe.getsockname()[0])
        except OSError:
            return None


def _open_when_up(server: uvicorn.Server, address: str) -> None:
    for _ in range(200):
        if server.started:
            webbrowser.open(address)
            return
        time.sleep(0.05)


def _say(sentence: str) -> None:
    print(f"tepui: {sentence}", file=sys.stderr, flush=True)
