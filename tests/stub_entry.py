"""A stand-in for the command line that the workshop's processes run in tests: quick, and with every kind of end."""

import json
import sys
import time

from tepui.desk.progress import Progress


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
    if what == "slow":
        with Progress("slow") as progress:
            for step in range(1000):
                progress.tell(step / 1000)
                time.sleep(0.05)
    print(
        json.dumps({"verb": what, "words": list(words), "practice": False, "findings": [], "tables": {}, "files": []})
    )
    return 0
