"""The live view: traces a second over a socket and, if asked, in Chromium; what of a core the server takes for it.

The server runs in this process, the practice receiver and its watch in their own two, whoever looks in another: the
processor time of this process is the server's share. Reference: the traces that the watch made in the same time.
Run: .venv/bin/python benchmarks/bench_live.py [SECONDS] [--browser]
"""

import asyncio
import multiprocessing
import os
import struct
import sys
import tempfile
import threading
import time
from pathlib import Path

import uvicorn

from tepui.desk.watching import Watching
from tepui.desk.workshop import Workshop
from tepui.web.app import build_app
from tepui.web.chain import Chain
from tepui.web.live import ENTRY
from tepui.web.serve import MOST_MESSAGE, _listener
from tepui.web.state import RESULTS, BenchState

FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking"]
SETTLE_S = 8.0


async def _listen(port, seconds):
    import websockets

    count, gaps, before, first, last = 0, [], None, None, None
    async with websockets.connect(f"ws://127.0.0.1:{port}/watch/traces", origin=f"http://127.0.0.1:{port}") as socket:
        for _ in range(3):
            await socket.send(str(time.monotonic()))
        end = time.monotonic() + seconds
        while (now := time.monotonic()) < end:
            frame = await socket.recv()
            await socket.send(str(now))
            count += 1
            gaps.append(0.0 if before is None else time.monotonic() - before)
            before = time.monotonic()
            last = struct.unpack_from("<I", frame, 4)[0]
            first = last if first is None else first
    gaps.sort()
    return count / seconds, (last - first) / seconds, gaps[len(gaps) // 2], gaps[int(0.99 * len(gaps))]


def listen(port, seconds, pipe):
    """In a process of its own: frames over the socket, as a page takes them."""
    pipe.send(asyncio.run(_listen(port, seconds)))


def browse(port, seconds, pipe):
    """In a process of its own: frames drawn by Chromium."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        path = os.environ.get("CHROMIUM", "/usr/bin/chromium")
        browser = playwright.chromium.launch(executable_path=path, args=FLAGS)
        page = browser.new_page(viewport={"width": 1280, "height": 900})
        page.goto(f"http://127.0.0.1:{port}/watch")
        page.wait_for_timeout(3000)
        before = int(page.locator("[data-watch]").get_attribute("data-drawn") or 0)
        page.wait_for_timeout(1000 * seconds)
        drawn = int(page.locator("[data-watch]").get_attribute("data-drawn") or 0) - before
        browser.close()
    pipe.send((drawn / seconds,))


def main(seconds, *, browser):
    """Measure and print."""
    folder = Path(tempfile.mkdtemp())
    listener = _listener(0, everywhere=False)
    port = listener.getsockname()[1]
    workshop = Workshop(folder / RESULTS, entry="tepui.cli.main:main", within=folder)
    watching = Watching(entry=ENTRY)
    state = BenchState(
        folder=folder, workshop=workshop, watching=watching, chain=Chain(folder, workshop), practice=True
    )
    app = build_app(state, hosts=[f"127.0.0.1:{port}"], token=None)
    config = uvicorn.Config(
        app, log_level="error", access_log=False, ws="websockets-sansio", ws_max_size=MOST_MESSAGE,
        ws_per_message_deflate=False,
    )  # fmt: skip
    server = uvicorn.Server(config)
    threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True).start()
    watching.start(["--receiver", "practice"])
    while not watching.newest_trace()[1]:
        time.sleep(0.1)
    time.sleep(SETTLE_S)
    context = multiprocessing.get_context("spawn")
    for kind in (listen, browse) if browser else (listen,):
        ours, theirs = context.Pipe()
        looker = context.Process(target=kind, args=(port, seconds, theirs))
        looker.start()
        rates = ours.recv()
        looker.join()
        print(kind.__name__, " ".join(f"{rate:.3g}" for rate in rates))
    share = _share(port, seconds)
    print(f"server: {100 * share:.1f} % of a core at a page's pace; load {os.getloadavg()[0]:.1f}")
    watching.stop()
    workshop.close()
    server.should_exit = True


def _share(port, seconds):
    """Processor time of this process over the time that one looker takes frames."""
    context = multiprocessing.get_context("spawn")
    ours, theirs = context.Pipe()
    looker = context.Process(target=listen, args=(port, seconds, theirs))
    looker.start()
    time.sleep(2.0)
    begun, used = time.monotonic(), time.process_time()
    ours.recv()
    share = (time.process_time() - used) / (time.monotonic() - begun)
    looker.join()
    return share


if __name__ == "__main__":
    given = [word for word in sys.argv[1:] if word != "--browser"]
    main(float(given[0]) if given else 15.0, browser="--browser" in sys.argv)
