"""``demo`` at the desk: the practice station sends, a modelled receiver records, the recording is received as any.

Nothing of what was put in reaches the receiving side but the recording file itself.
"""

import json
import sys
import time
from pathlib import Path

from tepui.desk.keep import keep_bytes, keep_text, require_folder
from tepui.desk.receive import ReceiveResult, receive_files
from tepui.files.sigmf import write_sigmf
from tepui.ground.document import document_text
from tepui.ground.errors import InputError
from tepui.practice.bench import PracticeRun, run_bench
from tepui.practice.station import MARL_BAY

DEFAULT_FOLDER = Path("practice-marl-bay")
DURATION_S = 0.6
SEED = 23
NAME = "marl-bay"
OURS = "practice.json"


def run_demo(*, folder: Path | None, as_json: bool) -> int:
    """The verb: send, record, receive, keep everything in one folder, print the findings."""
    place = folder if folder is not None else DEFAULT_FOLDER
    _require_ours(place)
    begun = time.monotonic()
    _say("the practice station Q1ABC at Marl Bay makes a stream, modulates, amplifies; a modelled receiver records")
    run = run_bench(MARL_BAY, duration_s=DURATION_S, seed=SEED)
    place.mkdir(exist_ok=True)
    recording = _keep(run, place)
    _say(f"recorded after {time.monotonic() - begun:.1f} s; now it is received like any other recording")
    result = receive_files([recording], out=place / f"{NAME}-received.ts", plots=place / "pictures", verb="demo")
    kept = _with_files(result, place, recording)
    keep_text(place / "findings.json", document_text(kept.document))
    _say(f"done after {time.monotonic() - begun:.1f} s; everything is in {place}")
    sys.stdout.write(document_text(kept.document) if as_json else kept.text)
    return kept.exit_code


def _require_ours(place: Path) -> None:
    """Refuse a folder that holds anything but an earlier demo's files.

    raises  InputError
    """
    require_folder(place)
    if place.is_dir() and any(place.iterdir()) and not _is_ours(place / OURS):
        raise InputError(f"{place} holds files that no demo made; name another place with --folder.")


def _is_ours(marker: Path) -> bool:
    """Whether an earlier demo wrote this file: only then may its folder be written to again."""
    try:
        about = json.loads(marker.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return False
    return isinstance(about, dict) and about.get("practice") is True and about.get("station") == MARL_BAY.name


def _keep(run: PracticeRun, place: Path) -> Path:
    station = run.station
    about = {
        "practice": True,
        "station": station.name,
        "call": station.call,
        "mode": station.mode.text(),
        "cell_id": station.mode.cell_id,
        "amplifier_backoff_db": station.amplifier.backoff_db,
        "level_dbm": station.path.level_dbm,
        "carrier_to_noise_db": run.cn_db,
        "frequency_offset_hz": station.path.frequency_offset_hz,
        "sample_clock_ppm": station.path.sample_clock_ppm,
        "echoes": [{"delay_s": echo.delay_s, "level_db": echo.level_db} for echo in station.path.echoes],
        "seed": SEED,
    }
    keep_text(place / OURS, json.dumps(about, indent=2) + "\n")
    keep_bytes(place / f"{NAME}-sent.ts", run.packets.tobytes())
    stem = place / NAME
    written = write_sigmf(
        stem,
        run.recording.blocks(1 << 20),
        sample_rate_hz=run.recording.sample_rate_hz,
        sample_type="ci16_le",
        frequency_hz=run.recording.centre_hz,
        practice=True,
        description="Practice: made by the simulated bench, not measured on any transmitter.",
    )
    return written.meta_path


def _with_files(result: ReceiveResult, place: Path, recording: Path) -> ReceiveResult:
    own = [str(path) for path in (place / OURS, place / f"{NAME}-sent.ts", recording, place / "findings.json")]
    document = {**result.document, "station": MARL_BAY.name, "files": [*own, *result.document["files"]]}
    text = result.text.rstrip("\n") + "\n" + "\n".join(f"  {name}" for name in own) + "\n"
    return ReceiveResult(document=document, text=text, exit_code=result.exit_code)


def _say(sentence: str) -> None:
    print(f"tepui: {sentence}", file=sys.stderr, flush=True)
