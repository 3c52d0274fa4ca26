"""Opens any recording: SigMF by its name, WAV by its first bytes, everything else as raw samples.

Theory  A file is what it contains. Its name decides only for SigMF, whose data file has no mark of its own.
Source  [SigMF] file endings; the first bytes of other formats are their own published signatures.
Holds   A picture, a film or an archive is refused by its signature, lest its bytes be taken for samples.
"""

from pathlib import Path

from tepui.files.raw import open_raw
from tepui.files.sample_file import size_of
from tepui.files.sigmf import DATA, META, open_sigmf, sigmf_files
from tepui.files.wav import is_wav, open_wav
from tepui.ground.errors import FormatError
from tepui.signals.recording import Recording, require_usable_samples

# (offset, bytes, what it is, certain): an uncertain one is short enough to begin a raw recording by chance.
SIGNATURES = (
    (0, b"\x89PNG\r\n\x1a\n", "a PNG picture", True),
    (6, b"JFIF\x00", "a JPEG picture", True),
    (6, b"Exif\x00", "a JPEG picture", True),
    (0, b"\xff\xd8\xff", "a JPEG picture", False),
    (0, b"GIF87a", "a GIF picture", True),
    (0, b"GIF89a", "a GIF picture", True),
    (0, b"II*\x00", "a TIFF picture", False),
    (0, b"MM\x00*", "a TIFF picture", False),
    (0, b"BM", "a BMP picture", False),
    (8, b"WEBP", "a WebP picture", False),
    (0, b"%PDF-", "a PDF document", True),
    (0, b"PK\x03\x04", "a zip archive", False),
    (0, b"\x1f\x8b\x08", "a gzip archive", False),
    (257, b"ustar", "a tar archive", True),
    (0, b"fLaC", "a FLAC sound file", False),
    (0, b"OggS", "an Ogg sound file", False),
    (4, b"ftyp", "an MP4 film", False),
    (0, b"\x1a\x45\xdf\xa3", "a Matroska film", False),
    (0, b"SQLite format 3\x00", "a database", True),
    (0, b"RIFX", "a big-endian WAV file", False),
)
HEAD_BYTES = 512


def open_recording(
    path: Path | str,
    *,
    sample_type: str | None = None,
    rate_hz: float | None = None,
    frequency_hz: float | None = None,
) -> Recording:
    """Open a SigMF pair (either file or their stem), an I/Q WAV file or a file of raw samples.

    sample_type, rate_hz  needed for raw samples; elsewhere they replace what the file says, with a remark
    frequency_hz          what the receiver was tuned to, where the file does not say
    raises                FormatError, RangeError or ChoiceError, one sentence, for anything that cannot be used
    """
    path = Path(path)
    recording = _opened(path, sample_type=sample_type, rate_hz=rate_hz, frequency_hz=frequency_hz)
    require_usable_samples(recording)
    return recording


def recording_files(path: Path | str) -> tuple[Path, ...]:
    """The files a recording is made of, for those who keep or hash them; they need not exist."""
    path = Path(path)
    pair = sigmf_files(path)
    is_pair = path in pair or (not path.is_file() and pair[0].is_file())
    return tuple(one for one in pair if one.is_file()) if is_pair and pair[0].is_file() else (path,)


def _opened(path: Path, *, sample_type: str | None, rate_hz: float | None, frequency_hz: float | None) -> Recording:
    meta_path = sigmf_files(path)[0]
    if path.name.endswith(META) or (meta_path.is_file() and (path.name.endswith(DATA) or not path.is_file())):
        return open_sigmf(path, sample_type=sample_type, rate_hz=rate_hz, frequency_hz=frequency_hz)
    if path.is_dir():
        raise FormatError(f"{path} is a folder; {_inside(path)}.")
    if path.name.endswith(DATA) and None in (sample_type, rate_hz):
        raise FormatError(f"{path} has no {meta_path.name} beside it; put it there, or give --type and --rate.")
    size_of(path)
    with path.open("rb") as handle:
        head = handle.read(HEAD_BYTES)
    if is_wav(head):
        if sample_type is not None:
            raise FormatError(f"{path} is a WAV file and says itself how its samples are stored; leave out --type.")
        return open_wav(path, rate_hz=rate_hz, frequency_hz=frequency_hz)
    _refuse_other_formats(path, head, raw_wanted=None not in (sample_type, rate_hz))
    return open_raw(path, sample_type=sample_type, rate_hz=rate_hz, frequency_hz=frequency_hz)


def _inside(folder: Path) -> str:
    names = sorted(one.name for one in folder.iterdir() if one.name.endswith((META, ".wav")))
    return f"give one recording in it, such as {names[0]}" if names else "give the recording itself"


def _refuse_other_formats(path: Path, head: bytes, *, raw_wanted: bool) -> None:
    for offset, mark, what, certain in SIGNATURES:
        if head[offset : offset + len(mark)] == mark and (certain or not raw_wanted):
            raise FormatError(f"{path} is {what}, not a recording; give SigMF, I/Q WAV or raw samples.")
    if not raw_wanted and all(head[place : place + 1] == b"G" for place in (0, 188, 376)):
        raise FormatError(f"{path} is a transport stream, not a recording; give SigMF, I/Q WAV or raw samples.")
