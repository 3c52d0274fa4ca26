"""Bare samples without a header: what they are is told by whoever recorded them.

Theory  I, Q, I, Q, ... from the first byte on.
Source  [SigMF] core:datatype names the stored forms.
Holds   Type and rate must be given; the tuned frequency may be unknown.
"""

from pathlib import Path

from tepui.files.rates import require_rate
from tepui.files.sample_file import FileSamples, lay_out, size_of
from tepui.files.sample_types import sample_type_named
from tepui.ground.errors import FormatError
from tepui.signals.recording import Recording, Stretch


def open_raw(
    path: Path, *, sample_type: str | None, rate_hz: float | None, frequency_hz: float | None = None
) -> Recording:
    """Open a file of bare samples.

    raises  FormatError naming the options that are missing; ChoiceError for an unknown type; RangeError for the rate
    """
    missing = [option for option, value in (("--type", sample_type), ("--rate", rate_hz)) if value is None]
    if sample_type is None or rate_hz is None:
        raise FormatError(
            f"{path} is neither SigMF nor WAV; a raw recording needs {' and '.join(missing)} as well "
            "(such as --type ci16_le --rate 8MHz, and --frequency where it is known)."
        )
    stored_type = sample_type_named(sample_type)
    require_rate(rate_hz, path=path)
    pieces, torn = lay_out(path, stored_type, end_byte=size_of(path), headers=[(0, 0)])
    count = pieces[0].count
    return Recording(
        name=path.stem,
        sample_rate_hz=rate_hz,
        n_samples=count,
        stretches=(Stretch(start=0, count=count, frequency_hz=frequency_hz),),
        sample_type=stored_type.name,
        remarks=torn,
        source=FileSamples(path=path, sample_type=stored_type, pieces=pieces),
    )
