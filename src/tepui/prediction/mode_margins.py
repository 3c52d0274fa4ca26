"""Every mode against the C/N to expect: margin, bit rate, and the one to take.

Theory  The margin is the C/N less what the mode requires for a bit error rate of 2e-4 after Viterbi, less what a real
        receiver loses. A clear path with narrow beams is near Gaussian; one main path with echoes is Ricean; where no
        path dominates the channel is Rayleigh.
Source  [EN300744] annex A, table A.1 (table dvbt_required_cn, the edition named); 2 dB for a receiver's loss, from
        memory of receiver specifications.
Holds   Non-hierarchical modes. The two editions differ; the one used is always named.
"""

from dataclasses import dataclass
from fractions import Fraction

from tepui.ground.checks import require_one_of
from tepui.prediction.link import margin_with_errors_db
from tepui.signals.dvbt.mode import CODE_RATES, CONSTELLATIONS, Mode
from tepui.tables.load import load_table

EDITIONS = ("V1.6.1", "V1.1.2 to V1.5.1")
CHANNELS = {"gaussian": "Gaussian", "ricean": "Ricean F1", "rayleigh": "Rayleigh P1"}
IMPLEMENTATION_LOSS_DB = 2.0
CLEAR_SHARE = 0.6
DIRECTIVE_DBI = 6.0


@dataclass(frozen=True, kw_only=True)
class ModeMargin:
    """One mode on this link. required_cn_db includes the receiver's loss."""

    mode: Mode
    required_cn_db: float
    margin_db: float

    @property
    def net_bit_rate_bps(self) -> float:
        """Net rate of the mode. [bit/s]"""
        return float(self.mode.net_bit_rate_bps)


def channel_for_path(*, visible: bool, clearance_share: float, scattered: bool, rx_gain_dbi: float) -> tuple[str, str]:
    """Kind of channel and the reason, from what the path is like."""
    if scattered:
        return "rayleigh", "the signal arrives by scatter, so no single path dominates"
    if rx_gain_dbi < DIRECTIVE_DBI:
        return "rayleigh", f"the receive antenna has less than {DIRECTIVE_DBI:g} dBi and takes echoes from all around"
    if visible and clearance_share >= CLEAR_SHARE:
        return "gaussian", "line of sight with 0.6 of the first Fresnel zone free and a directive antenna"
    if visible:
        return "ricean", "line of sight that grazes the ground, so a reflection stands beside the direct path"
    return "ricean", "one main path over the edge, echoes beside it, a directive antenna"


def required_cn_db(*, constellation: str, code_rate: Fraction, channel: str, edition: str) -> float:
    """C/N the standard asks for. [dB]

    raises  ChoiceError
    """
    require_one_of("channel", channel, tuple(CHANNELS), source="EN 300 744 annex A")
    require_one_of("edition", edition, EDITIONS, source="EN 300 744 annex A, table A.1")
    text = load_table("dvbt_required_cn").cell(
        "required_cn_db",
        constellation=constellation,
        code_rate=str(code_rate),
        channel_model=CHANNELS[channel],
        edition=edition,
    )
    return float(text)


def mode_margins(
    *,
    like: Mode,
    cn_db: float,
    channel: str,
    edition: str,
    implementation_loss_db: float,
    transmitter_mer_db: float | None = None,
) -> tuple[ModeMargin, ...]:
    """Every constellation and code rate with the width, FFT size and guard of ``like``, in order of bit rate."""
    found = []
    for constellation in CONSTELLATIONS:
        for rate in CODE_RATES:
            mode = Mode(
                width_hz=like.width_hz,
                n_fft=like.n_fft,
                guard=like.guard,
                constellation=constellation,
                code_rate=rate,
            )
            asked = required_cn_db(constellation=constellation, code_rate=rate, channel=channel, edition=edition)
            required = asked + implementation_loss_db
            margin = margin_with_errors_db(cn_db, required_cn_db=required, transmitter_mer_db=transmitter_mer_db)
            found.append(ModeMargin(mode=mode, required_cn_db=required, margin_db=margin))
    return tuple(sorted(found, key=lambda one: (one.mode.net_bit_rate_bps, one.required_cn_db)))


def best_mode(margins: tuple[ModeMargin, ...], *, margin_db: float) -> ModeMargin | None:
    """Highest bit rate that keeps the margin; at one rate the mode that needs less. None where none keeps it."""
    meeting = [one for one in margins if one.margin_db >= margin_db]
    return max(meeting, key=lambda one: (one.mode.net_bit_rate_bps, one.margin_db), default=None)
