"""A stand-in for the command line that the workshop's processes run in tests: quick, and with every kind of end."""

import json
import signal
import sys
import time
from pathlib import Path

from tepui.desk.progress import Progress


def stopped(*_):
    raise KeyboardInterrupt


def run(words):
    """Behave as the first word says."""
    what = words[0]
    if what == "refuse":
        print("tepui: nothing of this can be used.", file=sys.stderr)
        return 2
    if what == "die":
        import os

        os._exit(9)
    if what == "raise":
        raise ZeroDivisionError("one over nothing")
    if what == "parent":
        import multiprocessing

        child = multiprocessing.get_context("spawn").Process(target=time.sleep, args=(0,))
        child.start()
        child.join()
    if what == "whole":
        signal.signal(signal.SIGTERM, stopped)
        try:
            with Progress("whole") as progress:
                for step in range(1000):
                    progress.tell((step + 1) / 1001)
                    time.sleep(0.05)
        except KeyboardInterrupt:
            Path(words[1]).write_text("whole", encoding="utf-8")
            print("tepui: ended whole.", file=sys.stderr)
            return 130
    if what == "slow":
        with Progress("slow") as progress:
            for step in range(1000):
                progress.tell(step / 1000)
                time.sleep(0.05)
    print(
        json.dumps({"verb": what, "words": list(words), "practice": False, "findings": [], "tables": {}, "files": []})
    )
    return 0
