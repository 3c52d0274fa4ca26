"""What was asked of ``path``, in SI; places and files are still names."""

from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from tepui.ground.quantity import Quantity
from tepui.prediction.beside import Beside


@dataclass(frozen=True, kw_only=True)
class LinkRequest:
    """The link as asked on the command line, in SI."""

    width_hz: float
    n_fft: int
    guard: Fraction
    power: Quantity
    tx_feeder: Quantity
    tx_gain: Quantity
    tx_mer_db: float | None
    tx_pointing_deg: float
    rx_gain_dbi: float
    rx_feeder_db: float
    rx_noise_figure_db: float
    rx_pointing_deg: float
    polarisation_turn_deg: float
    preamplifier_gain_db: float | None
    preamplifier_noise_db: float | None
    preamplifier_place: str
    external_noise_db: float | None
    antenna_k: float | None
    noise_place: str | None
    channel: str
    edition: str
    implementation_loss_db: float
    margin_db: float
    tx_azimuth_deg: float | None = None
    tx_pattern: Path | None = None
    rx_pattern: Path | None = None


@dataclass(frozen=True, kw_only=True)
class BackRequest:
    """The way back: the far transmitter and the own receiver.

    frequency_hz  None where it is the channel of the way out
    needed_cn_db  of a talk-back of another kind; None where it is television too
    """

    power: Quantity
    noise_figure_db: float
    external_noise_db: float | None
    frequency_hz: float | None = None
    width_hz: float | None = None
    needed_cn_db: float | None = None
    tx_gain: Quantity | None = None
    tx_feeder: Quantity | None = None
    rx_gain_dbi: float | None = None
    rx_feeder_db: float | None = None


@dataclass(frozen=True, kw_only=True)
class CareRequest:
    """What the station owner must look after: exposure and licence sheet.

    candidates_hz  centres of further channels for the sheet
    long_array     whether the aperture is an array and no dish
    """

    exposure: bool = False
    aperture_m: float | None = None
    long_array: bool = False
    licence: bool = False
    candidates_hz: tuple[float, ...] = ()
    country: str | None = None
    rules: Path | None = None


@dataclass(frozen=True, kw_only=True)
class PathRequest:
    """One path as asked.

    remarks  what is to be said of how the question came about
    """

    start: str | None
    end: str | None
    name: str | None
    profile: Path | None
    terrain: tuple[Path, ...]
    terrain_kind: str | None
    missing_is_sea: bool
    fill_voids: bool
    clutter_height_m: float | None
    declination_deg: float | None
    frequency_hz: float
    tx_height_m: float
    rx_height_m: float
    model: str
    earth_radius_m: float | None
    delta_n: float
    n_0: float
    time_share: float
    location_share: float
    location_std_db: float
    vertical: bool
    sea_fraction: float
    coast_tx_m: float
    coast_rx_m: float
    latitude_deg: float | None
    pressure_hpa: float
    temperature_k: float
    clutter_loss: Quantity | None
    link: LinkRequest | None
    back: BackRequest | None = None
    care: CareRequest = CareRequest()
    rain_mm_h: float | None = None
    beside: Beside | None = None
    remarks: tuple[str, ...] = ()
