"""Practice receivers with steps of gain: an 8-bit narrow one and a 12-bit one, every fault a stated figure.

Theory  In signal order: a pad; the front end (front_end.py) with steps of gain ahead of its mixer; the oscillator, off
        by the crystal's error and with phase noise, so that neighbours mix into a quiet window; the filter at the
        intermediate frequency, here B(f) = 1 / sqrt(1 + (f/f3)^(2 n)) with a tilt, and the steep filter ahead of the
        sampling; steps of gain; unequal I and Q, which fold r y* over the signal; a line at zero frequency; a
        converter of N bits with noise of its own. One crystal serves oscillator and sample clock.
Source  front_end.py; receiver.py for I and Q and for phase noise; Butterworth's response; uniform rounding (Bennett
        1948). Sizes of faults: common practice for the classes (no published source), and of the same order as the
        test recordings of tests/data/sweeps. Steps' errors, drawn by ``with_faults``, are normal.
Holds   Faults stand still over a recording. No automatic gain. The filters turn no phase.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from tepui.ground.checks import require_between, require_one_of, require_positive
from tepui.practice.blocks import roll_off
from tepui.practice.front_end import FrontEnd
from tepui.practice.receiver import PhaseNoise

Floats = npt.NDArray[np.float64]
FILTER_EDGES = (0.45, 0.55)  # of the sample rate: the sampling filter closes; the outer twentieth folds a little


@dataclass(frozen=True, kw_only=True)
class GainSteps:
    """A gain that is set in steps. errors_db: true less nominal, one a step."""

    nominal_db: tuple[float, ...]
    errors_db: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        if self.errors_db and len(self.errors_db) != len(self.nominal_db):
            require_one_of("The number of errors", len(self.errors_db), (len(self.nominal_db),), source="steps")

    def true_db(self, name: str, nominal_db: float) -> float:
        """What a step truly gives. [dB]

        raises  ChoiceError where there is no such step
        """
        require_one_of(name, nominal_db, self.nominal_db, source="steps of the practice receiver")
        return nominal_db + (self.errors_db[self.nominal_db.index(nominal_db)] if self.errors_db else 0.0)


@dataclass(frozen=True, kw_only=True)
class SteppedReceiver:
    """A receiver, and what it does to a signal.

    bits                  of the converter, 8 to 16
    sample_rate_hz        as stated; true rate and true tuning are ``crystal_ppm`` higher
    usable_hz             width between the falling edges of its filter, for whoever plans tunings
    front_end             stages that bend, and noise
    frontend_gain, if_gain   steps ahead of and behind the mixer
    full_scale_dbm        at the converter: level of a steady carrier that just fills it; +4 dBm is 1 V peak to peak
    filter_cutoff_hz, filter_order   f3 and n of the filter at the intermediate frequency
    filter_tilt_db        gain at +half the sample rate over that at -half
    image_db, image_phase_rad   power of r relative to the signal; -30 to -40 dB uncorrected, -50 to -60 corrected
    dc_dbfs               line at zero frequency relative to full scale; None for none
    crystal_ppm           20 to 50 ppm for plain crystals, 0.5 to 2 with temperature compensation
    phase_noise           None for an ideal oscillator
    converter_noise_lsb   rms on each axis, besides rounding; 0.2 to 0.5 of a step
    pad_error_db          of every dB of pad: true less nominal over nominal
    max_input_dbm         for whoever plans pads: more would harm a real one; +10 dBm is common
    """

    name: str
    bits: int
    sample_rate_hz: float
    usable_hz: float
    front_end: FrontEnd
    frontend_gain: GainSteps
    if_gain: GainSteps
    filter_cutoff_hz: float
    filter_order: int = 4
    filter_tilt_db: float = 0.0
    full_scale_dbm: float = 4.0
    image_db: float = -35.0
    image_phase_rad: float = 0.8
    dc_dbfs: float | None = -40.0
    crystal_ppm: float = 0.0
    phase_noise: PhaseNoise | None = None
    converter_noise_lsb: float = 0.3
    pad_error_db: float = 0.0
    max_input_dbm: float = 10.0

    def __post_init__(self) -> None:
        require_between("bits", self.bits, 8, 16, unit="bit", source="converters of such receivers")
        require_positive("sample_rate_hz", self.sample_rate_hz, unit="Hz")
        require_positive("filter_cutoff_hz", self.filter_cutoff_hz, unit="Hz")
        require_between("converter_noise_lsb", self.converter_noise_lsb, 0, 8, unit="steps", source="this bench")

    @property
    def sample_type(self) -> str:
        """How such receivers hand over their samples, in SigMF's names."""
        return "cu8" if self.bits == 8 else "ci16_le"

    def filter_amplitude(self, offset_hz: Floats) -> Floats:
        """Both filters and the tilt together, 1 in the middle. (n,) [1]"""
        slow = (1 + (offset_hz / self.filter_cutoff_hz) ** (2 * self.filter_order)) ** -0.5
        begin, end = (edge * self.sample_rate_hz for edge in FILTER_EDGES)
        tilt = 10 ** (self.filter_tilt_db * offset_hz / self.sample_rate_hz / 20)
        return np.asarray(slow * tilt * roll_off(offset_hz, pass_edge=begin, stop_edge=end))

    def filter_db(self, offset_hz: npt.ArrayLike) -> Floats:
        """The same in decibels: what a stitching has to find out. (n,)"""
        return np.asarray(20 * np.log10(np.maximum(self.filter_amplitude(np.asarray(offset_hz, np.float64)), 1e-9)))


NARROW_8_BIT = SteppedReceiver(
    name="8-bit narrow receiver",
    bits=8,
    sample_rate_hz=2.4e6,
    usable_hz=1.8e6,
    front_end=FrontEnd(rf_width_hz=None),
    frontend_gain=GainSteps(nominal_db=tuple(float(g) for g in range(0, 36, 2))),
    if_gain=GainSteps(nominal_db=tuple(float(g) for g in range(0, 62, 2))),
    filter_cutoff_hz=1.03e6,
    crystal_ppm=20.0,
    phase_noise=PhaseNoise(plateau_dbc_hz=-95.0, corner_hz=10e3),
)
MIDDLE_12_BIT = SteppedReceiver(
    name="12-bit receiver",
    bits=12,
    sample_rate_hz=10e6,
    usable_hz=8e6,
    front_end=FrontEnd(first_noise_figure_db=3.5, input_intercept_dbm=8.0, mixer_intercept_dbm=22.0),
    frontend_gain=GainSteps(nominal_db=tuple(float(g) for g in range(0, 36, 6))),
    if_gain=GainSteps(nominal_db=tuple(float(g) for g in range(0, 51))),
    filter_cutoff_hz=4.6e6,
    filter_order=6,
    image_db=-54.0,
    dc_dbfs=-55.0,
    crystal_ppm=1.0,
    phase_noise=PhaseNoise(plateau_dbc_hz=-100.0, corner_hz=10e3),
    converter_noise_lsb=0.5,
)


def with_faults(
    receiver: SteppedReceiver, *, seed: int, step_std_db: float = 0.5, phase_std_rad: float | None = None
) -> SteppedReceiver:
    """The same class of receiver, another piece of it: faults drawn from a seed.

    step_std_db    of each gain step; steps stay within three of these
    phase_std_rad  of the mixer's third-order product against compression; None draws it all round the circle
    """
    generator = np.random.default_rng([3, seed])

    def drawn(steps: GainSteps) -> GainSteps:
        errors = np.clip(generator.normal(0, step_std_db, len(steps.nominal_db)), -3 * step_std_db, 3 * step_std_db)
        return GainSteps(nominal_db=steps.nominal_db, errors_db=tuple(float(error) for error in errors))

    turn = generator.uniform(-np.pi, np.pi) if phase_std_rad is None else generator.normal(0, phase_std_rad)
    return replace(
        receiver,
        frontend_gain=drawn(receiver.frontend_gain),
        if_gain=drawn(receiver.if_gain),
        front_end=replace(receiver.front_end, mixer_phase_rad=float(turn)),
        crystal_ppm=float(receiver.crystal_ppm * generator.normal()),
        image_db=float(receiver.image_db + generator.normal(0, 3.0)),
        image_phase_rad=float(generator.uniform(-np.pi, np.pi)),
        filter_cutoff_hz=float(receiver.filter_cutoff_hz * (1 + 0.03 * generator.normal())),
        filter_tilt_db=float(0.3 * generator.normal()),
    )
