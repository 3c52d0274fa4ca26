"""SigMF in and out, with the general-purpose ``sigmf`` library as the outside judge."""

import hashlib
import json
import os
import subprocess
import sys
import tracemalloc

import numpy as np
import pytest
import sigmf
from hypothesis import given, settings
from hypothesis import strategies as st

from tepui.files.recordings import open_recording, recording_files
from tepui.files.sigmf import write_sigmf
from tepui.ground.errors import ChoiceError, FormatError, RangeError, UnfinishedError
from tepui.ground.tasks import map_tasks
from tepui.signals.recording import Stretch

RATE_HZ = 9142857.142857


def noise(n, seed=1):
    rng = np.random.default_rng(seed)
    return ((rng.standard_normal(n) + 1j * rng.standard_normal(n)) * 0.2).astype(np.complex64)


def make(folder, *, stem="x", codes=None, data=None, captures=None, annotations=None, **about):
    """A SigMF pair put together by hand; ``about`` are core: fields of global, None leaves one out."""
    codes = np.arange(-50, 50, dtype="<i2") if codes is None else codes
    (folder / f"{stem}.sigmf-data").write_bytes(codes.tobytes() if data is None else data)
    stated = {"datatype": "ci16_le", "sample_rate": RATE_HZ, "version": "1.0.0", **about}
    document = {
        "global": {(key if ":" in key else f"core:{key}"): value for key, value in stated.items() if value is not None},
        "captures": [{"core:sample_start": 0, "core:frequency": 437e6}] if captures is None else captures,
        "annotations": annotations or [],
    }
    meta = folder / f"{stem}.sigmf-meta"
    meta.write_text(json.dumps(document), encoding="utf-8")
    return meta


def refusal(path, error=FormatError, **given_values):
    with pytest.raises(error) as caught:
        open_recording(path, **given_values)
    sentence = str(caught.value)
    assert sentence.endswith(".")
    assert "\n" not in sentence
    return sentence.replace(str(path.parent) + os.sep, "")


# --- reading


@pytest.mark.parametrize("ending", ["", ".sigmf-meta", ".sigmf-data"])
def test_limit_either_file_or_the_stem_opens_the_pair(tmp_path, ending):
    meta = make(tmp_path, stem="narrow 1.5 MHz")
    path = tmp_path / f"narrow 1.5 MHz{ending}"
    recording = open_recording(path)
    assert recording.name == "narrow 1.5 MHz"
    assert recording.n_samples == 50
    assert recording.sample_rate_hz == RATE_HZ
    assert recording.centre_hz == 437e6
    assert recording.remarks == ()
    assert not recording.practice
    assert recording_files(path) == (meta, tmp_path / "narrow 1.5 MHz.sigmf-data")


# Tool: the sigmf library writes the pair, and reads the samples back for comparison. It scales integers by 2^(n-1)
# about a middle of 2^(n-1); ours divide by 2^(n-1) - 1 about 0, or by 127.5 about 127.5.
@pytest.mark.parametrize(
    ("name", "codes", "bits"),
    [("ci8", "<i1", 8), ("ci16_le", "<i2", 16), ("ci16_be", ">i2", 16), ("cf32_le", "<f4", 0), ("cf32_be", ">f4", 0)],
)
def test_tool_sigmf_reads_the_same_samples(tmp_path, name, codes, bits):
    rng = np.random.default_rng(3)
    axes = rng.integers(-100, 100, 400) if bits else rng.standard_normal(400)
    data = tmp_path / "x.sigmf-data"
    data.write_bytes(axes.astype(codes).tobytes())
    theirs = sigmf.SigMFFile(
        data_file=str(data), global_info={"core:datatype": name, "core:sample_rate": 2.4e6, "core:version": "1.0.0"}
    )
    theirs.add_capture(0, metadata={"core:frequency": 1275e6, "core:datetime": "2025-01-31T20:15:00Z"})
    theirs.tofile(str(tmp_path / "x.sigmf-meta"))
    recording = open_recording(tmp_path / "x")
    scale = 2.0 ** (bits - 1) / (2.0 ** (bits - 1) - 1) if bits else 1.0
    assert recording.read(0, 200) == pytest.approx(theirs.read_samples() * scale, rel=1e-6, abs=1e-9)
    assert (recording.sample_type, recording.sample_rate_hz, recording.centre_hz) == (name, 2.4e6, 1275e6)
    assert recording.utc == "2025-01-31T20:15:00Z"


def test_limit_captures_become_stretches_with_their_settings(tmp_path):
    captures = [
        {"core:sample_start": 0, "core:frequency": 1275e6, "rx:gain_db": 20.0, "rx:attenuator_db": 6, "rx:agc": False},
        {"core:sample_start": 10, "core:frequency": 1276e6, "tepui:setting_dbm": -3.5, "tepui:terminated": True},
        {"core:sample_start": 30, "rx:frontend_gain_db": 34.0, "rx:if_gain_db": 44.0, "other:gain_db": 5},
    ]
    annotations = [{"core:sample_start": 3, "core:sample_count": 5, "core:comment": "a carrier", "x:y": [1]}]
    recording = open_recording(make(tmp_path, captures=captures, annotations=annotations))
    assert [(one.start, one.count, one.frequency_hz, dict(one.settings)) for one in recording.stretches] == [
        (0, 10, 1275e6, {"gain_db": 20.0, "attenuator_db": 6.0, "agc": False}),
        (10, 20, 1276e6, {"setting_dbm": -3.5, "terminated": True}),
        (30, 20, None, {"frontend_gain_db": 34.0, "if_gain_db": 44.0}),
    ]
    assert list(recording.annotations) == annotations


def test_limit_no_captures_is_one_stretch_of_unknown_frequency(tmp_path):
    recording = open_recording(make(tmp_path, captures=[]))
    assert recording.centre_hz is None
    assert [(one.start, one.count) for one in recording.stretches] == [(0, 50)]


@pytest.mark.parametrize(
    ("about", "captures"),
    [({"tepui:practice": True}, None), ({}, [{"core:sample_start": 0, "tepui:practice": True}])],
)
def test_limit_practice_is_recognised(tmp_path, about, captures):
    assert open_recording(make(tmp_path, captures=captures, **about)).practice


# [SigMF] core:header_bytes, the standard's own example: 4 bytes before samples 0 and 500 of a cu8 file; the first
# chunk starts at byte 4, the second at byte 1008.
def test_published_headers_among_the_samples(tmp_path):
    codes = np.random.default_rng(4).integers(0, 256, 2 * 700).astype("u1")
    data = b"HEAD" + codes[:1000].tobytes() + b"HEAD" + codes[1000:].tobytes() + b"TAIL!"
    captures = [
        {"core:sample_start": 0, "core:header_bytes": 4},
        {"core:sample_start": 500, "core:header_bytes": 4},
    ]
    make(tmp_path, data=b"", datatype="cu8", dataset="parts.dat", trailing_bytes=5, captures=captures)
    (tmp_path / "parts.dat").write_bytes(data)
    (tmp_path / "x.sigmf-data").unlink()
    recording = open_recording(tmp_path / "x.sigmf-meta")
    exact = ((codes - 127.5) / 127.5).astype(np.float32).view(np.complex64)
    assert recording.n_samples == 700
    assert recording.remarks == ()
    assert recording.read(0, 700) == pytest.approx(exact, abs=1e-7)
    assert recording.read(499, 2) == pytest.approx(exact[499:501], abs=1e-7)


def test_limit_a_torn_last_sample_is_remarked(tmp_path):
    recording = open_recording(make(tmp_path, data=np.arange(40, dtype="<i2").tobytes() + b"abc"))
    assert recording.n_samples == 20
    assert recording.remarks == ("The data end inside a sample: the last 3 bytes are left out.",)


def test_limit_captures_beyond_the_data_are_left_out(tmp_path):
    captures = [{"core:sample_start": start, "core:frequency": 1e9 + start} for start in (5, 20, 50, 90)]
    recording = open_recording(make(tmp_path, captures=captures))
    assert [(one.start, one.count) for one in recording.stretches] == [(5, 15), (20, 30)]
    assert recording.remarks == (
        "The first 5 samples belong to no capture; their tuned frequency is unknown.",
        "2 of 4 captures start beyond the end of the data and are left out.",
    )


def test_limit_lost_samples_are_remarked(tmp_path):
    # [SigMF] core:global_index, the standard's own example, with 20 in place of 500: 20 samples were lost.
    captures = [{"core:sample_start": 0, "core:global_index": 0}, {"core:sample_start": 20, "core:global_index": 40}]
    recording = open_recording(make(tmp_path, captures=captures))
    assert recording.remarks == ("20 samples were lost before sample 20 (core:global_index).",)


def test_limit_what_is_given_replaces_the_metadata_with_a_remark(tmp_path):
    meta = make(tmp_path)
    recording = open_recording(meta, sample_type="ci8", rate_hz=8e6, frequency_hz=1.3e9)
    assert (recording.sample_type, recording.sample_rate_hz, recording.centre_hz) == ("ci8", 8e6, 1.3e9)
    assert recording.remarks == (
        "The metadata say ci16_le; the samples were read as ci8, as given.",
        "The metadata say 9142857.14286 S/s; 8000000 S/s was given and used.",
        "The metadata state other tuned frequencies; 1300000000 Hz was given and used.",
    )
    assert open_recording(meta, sample_type="ci16", rate_hz=RATE_HZ, frequency_hz=437e6).remarks == ()


def test_limit_what_is_given_fills_gaps_in_the_metadata(tmp_path):
    meta = make(tmp_path, captures=[], datatype=None, sample_rate=None)
    recording = open_recording(meta, sample_type="ci16", rate_hz=8e6, frequency_hz=1.3e9)
    assert (recording.n_samples, recording.centre_hz, recording.remarks) == (50, 1.3e9, ())


def test_limit_an_unknown_necessary_extension_is_remarked(tmp_path):
    extensions = [{"name": "odd", "version": "1.0.0", "optional": False}]
    assert "the extension odd necessary" in open_recording(make(tmp_path, extensions=extensions)).remarks[0]


@pytest.mark.parametrize(
    ("about", "sentence"),
    [
        ({"datatype": None}, "x.sigmf-meta has no core:datatype; add it, or give --type."),
        ({"datatype": 5}, "x.sigmf-meta: core:datatype in global must be text ([SigMF]), not 5."),
        (
            {"datatype": "rf32_le"},
            "x.sigmf-meta holds real samples (rf32_le); tepui needs complex ones, I and Q, such as ci16_le.",
        ),
        ({"sample_rate": None}, "x.sigmf-meta has no core:sample_rate; add it, or give --rate."),
        (
            {"sample_rate": "fast"},
            'x.sigmf-meta: core:sample_rate in global must be a finite number ([SigMF]), not "fast".',
        ),
        ({"num_channels": 2}, "x.sigmf-meta holds 2 channels in one file; tepui reads one, so split it first."),
        (
            {"offset": 100},
            "x.sigmf-meta is a later part of a split recording (core:offset 100); join the parts, or take core:offset "
            "out and renumber the captures.",
        ),
        (
            {"metadata_only": True},
            "x.sigmf-meta says that it comes without samples (core:metadata_only); the data are needed.",
        ),
        (
            {"dataset": "../secret"},
            "x.sigmf-meta: core:dataset must be a file name without a folder ([SigMF]), not '../secret'.",
        ),
        (
            {"dataset": "[" * 300},
            "x.sigmf-meta: core:dataset has 300 characters; a file's name has at most 255 bytes (NTFS, ext4 and "
            "others): [[[[[[[[[[[[[[[[[[[[...",
        ),
        ({"dataset": "gone.dat"}, "x.sigmf-meta has no gone.dat beside it; the samples are missing."),
        (
            {"tepui:practice": "yes"},
            'x.sigmf-meta: tepui:practice in global must be true or false ([SigMF]), not "yes".',
        ),
        ({"captures": {}}, "x.sigmf-meta: captures must be a list of objects ([SigMF])."),
        (
            {"captures": [{"core:sample_start": 0}, {"core:sample_start": 1.5}]},
            "x.sigmf-meta: core:sample_start in captures[1] must be a whole number from 0 on ([SigMF]), not 1.5.",
        ),
        (
            {"captures": [{"core:sample_start": 9}, {"core:sample_start": 5}]},
            "x.sigmf-meta: captures must stand in the order of core:sample_start ([SigMF]), but 5 follows 9.",
        ),
        (
            {"captures": [{"core:sample_start": 50}]},
            "x.sigmf-meta: the first capture starts at sample 50, but the data hold 50 samples only.",
        ),
        (
            {"captures": [{"core:sample_start": 0, "rx:gain_db": 1, "tepui:gain_db": 2}]},
            "x.sigmf-meta: captures[0] states gain_db twice, as 2.0 and 1.0.",
        ),
        ({"data": b""}, "x.sigmf-data is empty; nothing was recorded."),
        ({"data": b"abc"}, "x.sigmf-data ends before its first whole sample (ci16_le, 4 bytes each)."),
    ],
)
def test_limit_unusable_metadata_are_one_sentence(tmp_path, about, sentence):
    assert refusal(make(tmp_path, **about)) == sentence


def test_limit_an_unknown_type_lists_the_known_ones(tmp_path):
    sentence = refusal(make(tmp_path, datatype="ci12"))
    assert sentence.startswith("x.sigmf-meta: core:datatype ci12 is not one of ci8, cu8, ci16_le,")


@pytest.mark.parametrize("rate", [0, -8e6, 9.14, 1e13])
def test_limit_impossible_rates_are_refused(tmp_path, rate):
    sentence = refusal(make(tmp_path, sample_rate=rate), RangeError)
    assert sentence == (
        f"x.sigmf-meta: a sample rate of {rate:g} S/s cannot be right (1 kS/s to 10 GS/s, tepui's own limit); "
        "correct it, or give --rate."
    )
    assert open_recording(tmp_path / "x", rate_hz=8e6).sample_rate_hz == 8e6


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("{", "x.sigmf-meta is not valid JSON at line 1, column 2; SigMF metadata must be."),
        ("[]", "x.sigmf-meta is JSON but no object, so it is not SigMF metadata ([SigMF])."),
        ("{}", "x.sigmf-meta has no global object, so it is not SigMF metadata ([SigMF])."),
        ('{"global": {"core:datatype": "ci8", "core:sample_rate": NaN}}', "must be a finite number"),
        ("[" * 100_000, "x.sigmf-meta is nested too deeply to be SigMF metadata."),
        ("", "x.sigmf-meta is not valid JSON at line 1, column 1; SigMF metadata must be."),
    ],
)
def test_limit_broken_metadata_are_one_sentence(tmp_path, text, sentence):
    meta = make(tmp_path)
    meta.write_text(text, encoding="utf-8")
    assert sentence in refusal(meta)


def test_limit_metadata_that_are_no_text(tmp_path):
    meta = make(tmp_path)
    meta.write_bytes(b"\xff\xfe\x00\x01")
    assert refusal(meta) == "x.sigmf-meta is not text in UTF-8, so it is not SigMF metadata ([SigMF])."


def test_limit_missing_halves_are_named(tmp_path):
    meta = make(tmp_path)
    (tmp_path / "x.sigmf-data").unlink()
    assert refusal(meta) == "x.sigmf-meta has no x.sigmf-data beside it; the samples are missing."
    meta.unlink()
    assert refusal(meta) == "x.sigmf-meta cannot be found."
    (tmp_path / "x.sigmf-data").write_bytes(bytes(range(64)))
    assert refusal(tmp_path / "x.sigmf-data") == (
        "x.sigmf-data has no x.sigmf-meta beside it; put it there, or give --type and --rate."
    )
    assert open_recording(tmp_path / "x.sigmf-data", sample_type="ci8", rate_hz=1e6).n_samples == 32


@pytest.mark.parametrize(("values", "word"), [([np.nan, 1], "is not a finite number"), ([0, 0], "nothing but zeros")])
def test_limit_samples_nobody_can_use(tmp_path, values, word):
    codes = np.tile(np.array(values, dtype="<f4"), 100)
    assert word in refusal(make(tmp_path, codes=codes, datatype="cf32_le"))


@given(
    junk=st.recursive(
        st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
        lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
        max_leaves=5,
    ),
    part=st.sampled_from(["global", "captures", "annotations"]),
    key=st.sampled_from(
        [
            "core:datatype",
            "core:sample_rate",
            "core:offset",
            "core:num_channels",
            "core:dataset",
            "core:extensions",
            "core:sample_start",
            "core:frequency",
            "core:header_bytes",
            "core:datetime",
            "rx:gain_db",
            "tepui:practice",
        ]
    ),
    whole=st.booleans(),
)
@settings(max_examples=150, deadline=None)
def test_law_any_metadata_is_a_recording_or_one_sentence(tmp_path_factory, junk, part, key, whole):
    folder = tmp_path_factory.mktemp("junk")
    meta = make(folder)
    document = json.loads(meta.read_text(encoding="utf-8"))
    if whole:
        document[part] = junk
    elif part == "global":
        document[part][key] = junk
    else:
        document[part] = [{"core:sample_start": 0, key: junk}]
    meta.write_text(json.dumps(document), encoding="utf-8")
    try:
        recording = open_recording(meta)
    except (FormatError, RangeError) as error:
        assert str(error).endswith(".")  # noqa: PT017 - either outcome is right
    else:
        assert recording.n_samples > 0


def test_law_memory_does_not_grow_with_the_recording(tmp_path):
    codes = np.random.default_rng(5).integers(-1000, 1000, 2 * 2_000_000).astype("<i2")
    recording = open_recording(make(tmp_path, codes=codes))
    block_bytes = 65536 * 8
    tracemalloc.start()
    try:
        for block in recording.blocks(65536):
            assert len(block)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert peak < 4 * block_bytes  # the recording is 30 blocks long


def test_law_threads_read_what_one_reads(tmp_path):
    codes = np.random.default_rng(6).integers(-1000, 1000, 2 * 300_000).astype("<i2")
    recording = open_recording(make(tmp_path, codes=codes))
    starts = list(range(0, 300_000, 7919))
    blocks = map_tasks(lambda start: recording.read(start, 7919), starts, workers=8)
    assert np.array_equal(np.concatenate(blocks), recording.read(0, 300_000))


def test_limit_a_file_that_shrinks_meanwhile(tmp_path):
    recording = open_recording(make(tmp_path))
    (tmp_path / "x.sigmf-data").write_bytes(b"abcd")
    with pytest.raises(UnfinishedError, match=r"x.sigmf-data has become shorter while it was being read; run again\."):
        recording.read(0, 50)
    (tmp_path / "x.sigmf-data").unlink()
    with pytest.raises(UnfinishedError, match=r"x.sigmf-data could not be read \("):
        recording.read(0, 50)


# --- writing


@pytest.mark.parametrize("name", ["ci8", "cu8", "ci16_le", "cf32_le"])
def test_tool_sigmf_accepts_what_is_written(tmp_path, name):
    # Tool: the sigmf library validates against the standard's schema, checks the checksum and reads the samples.
    samples = noise(5000)
    blocks = [samples[:1], samples[1:4000], samples[4000:]]
    written = write_sigmf(
        tmp_path / "x",
        iter(blocks),
        sample_rate_hz=RATE_HZ,
        sample_type=name,
        frequency_hz=437e6,
        settings={"attenuator_db": 6.0, "terminated": False},
        practice=True,
        utc="2025-01-31T20:15:00Z",
        description="A bench that is not there",
    )
    theirs = sigmf.fromfile(str(written.meta_path))
    theirs.validate()
    assert theirs.get_global_field("core:datatype") == name
    assert theirs.get_global_field("tepui:practice") is True
    capture = theirs.get_capture_info(0)
    assert capture["core:frequency"] == 437e6
    assert capture["tepui:attenuator_db"] == 6.0
    assert capture["core:datetime"] == "2025-01-31T20:15:00Z"
    step = {"ci8": 1 / 64, "cu8": 1 / 64, "ci16_le": 1 / 16384, "cf32_le": 1e-7}[name]
    assert np.abs(theirs.read_samples() - samples).max() < step
    assert written.n_samples == 5000
    assert written.sha512 == hashlib.sha512((tmp_path / "x.sigmf-data").read_bytes()).hexdigest()


def test_law_what_is_written_reads_back(tmp_path):
    samples = noise(1000)
    stretches = (
        Stretch(start=0, count=400, frequency_hz=1275e6, settings={"gain_db": 20.0, "practice": True}),
        Stretch(start=400, count=600, settings={"setting_dbm": -3.0, "agc": False}),
    )
    annotations = [{"core:sample_start": 7, "core:sample_count": 3, "core:label": "line"}]
    written = write_sigmf(
        tmp_path / "x",
        [samples],
        sample_rate_hz=8e6,
        sample_type="cf32_le",
        stretches=stretches,
        annotations=annotations,
        practice=True,
    )
    sigmf.fromfile(str(written.meta_path)).validate()
    recording = open_recording(written.meta_path)
    assert recording.stretches == stretches
    assert list(recording.annotations) == annotations
    assert recording.practice
    assert np.array_equal(recording.read(0, 1000), samples)


def test_limit_samples_beyond_full_scale_are_cut_and_counted(tmp_path):
    written = write_sigmf(tmp_path / "x", [np.array([0.5, 2 + 2j, -3j], np.complex64)], sample_rate_hz=8e6)
    assert written.n_cut == 2
    assert open_recording(tmp_path / "x").read(1, 1) == pytest.approx([1 + 1j])


def broken_blocks(error):
    yield noise(1000, seed=8)
    raise error


@pytest.mark.parametrize("error", [KeyboardInterrupt(), UnfinishedError("The receiver is gone."), ValueError("no")])
def test_law_an_interrupted_write_leaves_the_old_pair_alone(tmp_path, error):
    write_sigmf(tmp_path / "x", [noise(100)], sample_rate_hz=8e6)
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    with pytest.raises(type(error)):
        write_sigmf(tmp_path / "x", broken_blocks(error), sample_rate_hz=8e6)
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == before


def test_law_a_killed_write_leaves_the_old_pair_alone(tmp_path):
    write_sigmf(tmp_path / "x", [noise(100)], sample_rate_hz=8e6)
    before = open_recording(tmp_path / "x").read(0, 100)
    code = (
        "import os, sys, pathlib, numpy as np\n"
        "from tepui.files.sigmf import write_sigmf\n"
        "def blocks():\n"
        "    yield np.ones(1000, np.complex64)\n"
        "    os._exit(9)\n"
        "write_sigmf(pathlib.Path(sys.argv[1]), blocks(), sample_rate_hz=8e6)\n"
    )
    assert subprocess.run([sys.executable, "-c", code, str(tmp_path / "x")], check=False).returncode == 9
    assert np.array_equal(open_recording(tmp_path / "x").read(0, 200), before)


@pytest.mark.parametrize(
    ("blocks", "changes", "error", "sentence"),
    [
        ([], {}, UnfinishedError, "was not written: not one sample came"),
        (
            [np.array([np.nan], np.complex64)],
            {},
            UnfinishedError,
            "was not written: a sample .* is not a finite number",
        ),
        (
            [noise(5)],
            {"sample_type": "ci12"},
            ChoiceError,
            "The written sample type must be ci16_le, cf32_le, cu8 or ci8",
        ),
        ([noise(5)], {"settings": {"gain": 5.0}}, ChoiceError, "A receiver setting must be attenuator_db"),
        ([noise(5)], {"sample_rate_hz": 0.0}, RangeError, "The sample rate must be a number above zero"),
        ([noise(5)], {"stretches": [Stretch(start=1, count=4)]}, RangeError, "must begin where the one before it ends"),
        ([noise(5)], {"stretches": [Stretch(start=0, count=4)]}, RangeError, "cover 4 samples, but 5 were written"),
    ],
)
def test_limit_what_cannot_be_written_leaves_nothing(tmp_path, blocks, changes, error, sentence):
    with pytest.raises(error, match=sentence):
        write_sigmf(tmp_path / "x", blocks, **{"sample_rate_hz": 8e6, **changes})
    assert list(tmp_path.iterdir()) == []


def test_limit_a_folder_that_is_not_there(tmp_path):
    with pytest.raises(UnfinishedError, match=r"could not be written \(.*\); make room or choose another place\."):
        write_sigmf(tmp_path / "gone" / "x", [noise(5)], sample_rate_hz=8e6)
