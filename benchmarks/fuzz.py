"""Feeds damaged files to every reader: each must be read or refused with one sentence, and nothing else may happen.

./run fuzz [N] [SEED]    N inputs to each reader (100000), then 500 kills of each writer of the log

Inputs come from sound files by seeded damage (fuzz_mutators) and are the same in every run. A reader passes if it
returns or raises an error of tepui's own family whose sentence is one line and ends in a full stop.
"""

import io
import json
import os
import random
import sys
import tempfile
import time
import traceback
import wave
import zipfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import kill_log
import numpy as np
from fuzz_mutators import damaged

from tepui.desk.log import Common, add_photograph
from tepui.desk.log_exchange import content_of, run_export
from tepui.files.adif import adif_text, parse_adif
from tepui.files.archive import LINES, MANIFEST, Archive
from tepui.files.readings import read_loss_table, read_readings
from tepui.files.recordings import open_recording
from tepui.files.sigmf import DATA, META
from tepui.files.station import open_station
from tepui.files.touchstone import read_touchstone
from tepui.ground.document_reader import read_document
from tepui.ground.errors import TepuiError
from tepui.logbook.contacts import contact_of, fields_of
from tepui.logbook.records import revision_from
from tepui.logbook.store import Log
from tepui.station.example import example_text

INPUTS, SEED, KILLS = 100_000, 1, 500
HEAD_SAMPLES = 64


@dataclass(frozen=True, kw_only=True)
class Reader:
    """A reader under test: sound inputs, and what feeds it one input in a folder."""

    name: str
    seeds: Sequence[bytes]
    feed: Callable[[bytes, Path, random.Random], None]


@dataclass
class Tally:
    """What became of the inputs of one reader; ``faults`` holds the worst: a number of input and a traceback."""

    read: int = 0
    refused: int = 0
    faults: list[tuple[int, str]] = field(default_factory=list)


def fuzz(reader: Reader, *, inputs: int, seed: int, folder: Path) -> Tally:
    """Feed one reader; the same seed gives the same inputs."""
    tally = Tally()
    for number in range(inputs):
        rng = random.Random(f"{reader.name} {seed} {number}")
        data = damaged(rng.choice(reader.seeds), rng)
        try:
            reader.feed(data, folder, rng)
            tally.read += 1
        except TepuiError as refusal:
            sentence = str(refusal)
            if not sentence.endswith(".") or "Traceback" in sentence or not sentence.strip():
                tally.faults.append((number, f"not a sentence: {sentence!r}"))
            tally.refused += 1
        except Exception:
            tally.faults.append((number, traceback.format_exc()))
    return tally


def _put(folder: Path, name: str, data: bytes) -> Path:
    place = folder / name
    place.write_bytes(data)
    return place


def _opened(path: Path, **given: Any) -> None:
    recording = open_recording(path, **given)
    recording.source.read(0, min(recording.n_samples, HEAD_SAMPLES))


def _sigmf(data: bytes, folder: Path, rng: random.Random) -> None:
    """Metadata damaged, and the samples shortened now and then."""
    _put(folder, "x" + DATA, rng.randbytes(4096 if rng.random() < 0.7 else rng.randrange(4096)))
    _opened(_put(folder, "x" + META, data))


def _sigmf_seeds() -> list[bytes]:
    about = {"core:datatype": "ci16_le", "core:sample_rate": 9142857, "core:version": "1.0.0", "tepui:practice": True}
    capture = {"core:sample_start": 0, "core:frequency": 1.286e9, "core:datetime": "2026-01-31T20:15:00Z"}
    later = {"core:sample_start": 100, "core:global_index": 300, "core:header_bytes": 16, "rx:attenuator_db": 40}
    annotation = {"core:sample_start": 5, "core:sample_count": 9, "core:comment": "drop"}
    documents: list[dict[str, Any]] = [
        {"global": about, "captures": [capture], "annotations": []},
        {"global": about | {"core:datatype": "cu8"}, "captures": [capture, later], "annotations": [annotation]},
        {"global": about | {"core:dataset": "x" + DATA, "core:trailing_bytes": 8}, "captures": [later]},
    ]
    return [json.dumps(one, indent=1).encode() for one in documents]


def _raw(data: bytes, folder: Path, rng: random.Random) -> None:
    sample_type = rng.choice(("cu8", "ci8", "ci16_le", "ci16_be", "cf32_le", "cf64_le", "ci32_le", "none", ""))
    rate_hz = rng.choice((8e6, 1.0, 0.0, -1.0, 1e300, float("nan"), None))
    _opened(_put(folder, "x.raw", data), sample_type=sample_type, rate_hz=rate_hz)


def _raw_seeds() -> list[bytes]:
    rng = np.random.default_rng(1)
    return [rng.standard_normal(400).astype("<f4").tobytes(), rng.integers(0, 256, 999).astype(np.uint8).tobytes()]


def _wav(data: bytes, folder: Path, rng: random.Random) -> None:
    _opened(_put(folder, "x.wav", data))


def _wav_seeds() -> list[bytes]:
    made = []
    for width in (1, 2, 3, 4):
        held = io.BytesIO()
        with wave.open(held, "wb") as file:
            file.setnchannels(2)
            file.setsampwidth(width)
            file.setframerate(2_400_000)
            file.writeframes(bytes(range(240)) * width)
        made.append(held.getvalue())
    return made


def _adif(data: bytes, folder: Path, rng: random.Random) -> None:
    read = parse_adif(data, name="x.adi")
    for number, record in enumerate(read.records):
        body, utc, _ = contact_of(record, header=read.header, where=f"record {number}")
        again = fields_of(body, utc)
        if [tuple(one) for one in again] != list(record):
            raise AssertionError(f"changed on the way through: {record} {again}")
    text = adif_text(read.records, header=read.header, program_version="0", utc="2026-01-31T20:15:00Z")
    if read.records and parse_adif(text.encode(), name="again").records != read.records:
        raise AssertionError(f"changed by writing: {read.records}")


def _adif_seeds() -> list[bytes]:
    record = b"<CALL:5>Q2DEF <QSO_DATE:8:D>20260131 <TIME_ON:4>2015 <FREQ:7>1286.00 <RST_SENT:2>P4 <MODE:3>ATV "
    record += b"<APP_OTHER_X:3:N>1.5 <NOTES:6>clear! <GRIDSQUARE:6>HI46ob <eor>\n"
    return [
        b"A log\n<ADIF_VER:5>3.1.4 <USERDEF1:4:N>AREA <EOH>\n" + record * 3,
        record * 2,
        "<CALL:6>Q1ÅBC <QSO_DATE:8>20260131<EOR>".encode(),
    ]


def _readings(data: bytes, folder: Path, rng: random.Random) -> None:
    path = _put(folder, "x.csv", data)
    (read_readings if rng.random() < 0.5 else read_loss_table)(path)


def _readings_seeds() -> list[bytes]:
    table = (
        b"setting_dbm,power_dbm,shoulder_worst_db,supply_a\n3,29.0,-37.6,4.1\n6,32.0,-36.5,4.4\n# later\n9,34.9,,5\n"
    )
    return [table, b"-11;6.3\n-10;3.4\n0;0.9\n6;10.7\n"]


def _document(data: bytes, folder: Path, rng: random.Random) -> None:
    read_document(data.decode("utf-8", "replace"), name="x.json")


def _document_seeds() -> list[bytes]:
    finding = {"about": "station", "key": "mer_db", "kind": "result", "value": 31.4, "unit": "dB", "low": 31.0}
    finding |= {"high": 32.0, "standing": "measured", "limit": None, "limit_sense": None, "limit_source": None}
    finding |= {"margin": None, "source": "test", "remark": "", "contributions": [{"name": "a", "share": 0.5}]}
    table = {"columns": [{"key": "delay_s", "unit": "s"}], "rows": [[0.0], [None]]}
    document = {"tepui": "0.1.0", "schema": 1, "verb": "receive", "station": None, "practice": False}
    document |= {"utc": "2026-01-31T20:15:00Z", "inputs": [{"path": "a", "bytes": 1, "sha256": "0" * 64}]}
    document |= {"findings": [finding], "tables": {"echoes": table}, "files": ["a.svg"]}
    return [json.dumps(document).encode()]


def _archive(data: bytes, folder: Path, rng: random.Random) -> None:
    with Archive(_put(folder, "x.zip", data)) as archive:
        _, wanted = content_of(archive)
        for name, *_ in wanted:
            archive.unpack(name, io.BytesIO())


def _archive_seeds() -> list[bytes]:
    """A sound archive, and ones put together again with a damaged or foreign member, which bytes alone seldom reach."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        _log_of(folder / "log.sqlite")
        sys_out, sys.stdout = sys.stdout, io.StringIO()
        try:
            run_export(Common(log=folder / "log.sqlite"), folder / "log.zip")
        finally:
            sys.stdout = sys_out
        sound = (folder / "log.zip").read_bytes()
    made = [sound] * 20
    with zipfile.ZipFile(io.BytesIO(sound)) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    rng = random.Random(3)
    for _ in range(20):
        other = {name: damaged(data, rng) if rng.random() < 0.5 else data for name, data in members.items()}
        extra = rng.choice((None, "../out", "/etc/x", "files/" + "0" * 64, "C:\\x", MANIFEST, LINES, "a" * 300))
        held = io.BytesIO()
        with zipfile.ZipFile(held, "w") as archive:
            for name, data in other.items():
                archive.writestr(name, data)
            if extra is not None and extra not in other:
                archive.writestr(extra, b"x")
        made.append(held.getvalue())
    return made


def _log_of(path: Path) -> None:
    sys_out, sys.stdout = sys.stdout, io.StringIO()
    try:
        with Log(path, create=True, write=True) as log:
            log.add("note", {"text": "first"})
            log.edit(1, {"text": "second"})
            log.add("reading", {"point": "after mixer", "key": "power_dbm", "value": -23.0, "unit": "dBm"})
        picture = path.with_name("a.png")
        picture.write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(50))
        add_photograph(Common(log=path), picture, "the filter")
    finally:
        sys.stdout = sys_out


def _line(data: bytes, folder: Path, rng: random.Random) -> None:
    revision_from(data.decode("utf-8", "replace"), where="line 1")


def _line_seeds() -> list[bytes]:
    with tempfile.TemporaryDirectory() as name:
        _log_of(Path(name) / "log.sqlite")
        return (Path(name) / "log.copy.jsonl").read_bytes().splitlines()


STATION = example_text().encode()
TOUCHSTONE = b"! filter\n# MHz S RI R 50\n1280 0.1 0.2 0.9 0.0 0.9 0.0 0.1 -0.2\n1290 0.1 0.1 0.8 0.1 0.8 0.1 0.1 0.1\n"


def readers() -> list[Reader]:
    """Every reader there is."""
    found = [
        Reader(name="SigMF", seeds=_sigmf_seeds(), feed=_sigmf),
        Reader(name="raw", seeds=_raw_seeds(), feed=_raw),
        Reader(name="WAV", seeds=_wav_seeds(), feed=_wav),
        Reader(name="ADIF", seeds=_adif_seeds(), feed=_adif),
        Reader(name="archive", seeds=_archive_seeds(), feed=_archive),
        Reader(name="log line", seeds=_line_seeds(), feed=_line),
        Reader(name="readings", seeds=_readings_seeds(), feed=_readings),
        Reader(name="document", seeds=_document_seeds(), feed=_document),
    ]

    def station(data: bytes, folder: Path, rng: random.Random) -> None:
        open_station(_put(folder, "station.toml", data))

    def touchstone(data: bytes, folder: Path, rng: random.Random) -> None:
        read_touchstone(_put(folder, "x.s2p", data))

    found.append(Reader(name="station", seeds=[STATION], feed=station))
    found.append(Reader(name="Touchstone", seeds=[TOUCHSTONE], feed=touchstone))
    return found


def main(words: Sequence[str]) -> int:
    """Feed every reader, kill the log's writer, and say what happened."""
    if not all(word.isdecimal() for word in words) or len(words) > 2:
        print("tepui: fuzz takes how many inputs each reader gets, and a seed: ./run fuzz 2000 1.", file=sys.stderr)
        return 2
    inputs = int(words[0]) if words else INPUTS
    seed = int(words[1]) if len(words) > 1 else SEED
    bad = 0
    with tempfile.TemporaryDirectory(dir="/dev/shm" if os.path.isdir("/dev/shm") else None) as name:
        for reader in readers():
            begun = time.monotonic()
            tally = fuzz(reader, inputs=inputs, seed=seed, folder=Path(name))
            took_s = time.monotonic() - begun
            print(
                f"{reader.name:<10} {inputs} inputs: {tally.read} read, {tally.refused} refused, "
                f"{len(tally.faults)} faults, {took_s:.0f} s",
                flush=True,
            )
            for number, words_of in tally.faults[:3]:
                print(f"  input {number}: {words_of}")
            bad += len(tally.faults)
    if hasattr(os, "fork"):
        for line in kill_log.told(KILLS, seed):
            print(f"{'log':<10} {line}", flush=True)
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
