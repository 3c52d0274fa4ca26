"""What a path's loss depends on, and every term of the model that worked it out.

Theory  The operator names the model; one kernel with switches gives its terms. Land, coast and sea decide how often
        air ducts form over the path, and so how much of the time the far field is stronger than usual.
Source  [P.526-15] 4.5; [P.1812-8] annex 1; [P.452-18] annex 1; [P.525-4] free space.
Holds   The ranges of each recommendation, refused outside. Over 30 MHz; time shares up to 50 %.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tepui.chain.propagation import path_kernels as k
from tepui.chain.propagation.gases import STANDARD_PRESSURE_HPA, STANDARD_TEMPERATURE_K, gas_attenuation_db_km
from tepui.ground.checks import require_between, require_one_of, require_positive
from tepui.ground.errors import RangeError
from tepui.signals.terrain import Profile

MODELS = ("free-space", "knife-edge", "p526", "p1812", "p452")
EARTH_RADIUS_KM = 6371.0
BETA_RADIUS_KM = 3 * EARTH_RADIUS_KM
P526_RADIUS_M = 8.5e6
DELTA_N, N_0 = 45.0, 325.0
NOT_NEAR_COAST_M = 500e3
DTT_LOCATION_STD_DB = 5.5
BARE_ENDS_KM = 0.05  # clutter within 50 m of a terminal is left out, as the P.452-18 validation set has it
ROUNDED_C = {"p526": 0.3, "p1812": 0.2998, "p452": 0.2998}  # GHz m, as the validation sets take it
FREQUENCY_GHZ = {
    "free-space": (0.01, 300.0, "ITU-R P.525"),
    "knife-edge": (0.01, 300.0, "ITU-R P.526 4.1"),
    "p526": (0.01, 300.0, "ITU-R P.526 3.1.1"),
    "p1812": (0.03, 6.0, "ITU-R P.1812-8"),
    "p452": (0.1, 50.0, "ITU-R P.452-18"),
}
Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class PathCase:
    """One path and the conditions it is judged under.

    tx_height_m, rx_height_m  antennas above ground
    time_share      share of time, above 0, at most 0.5, for which the loss is not exceeded
    location_share  share of locations reached (P.1812 only), 0.01 to 0.99
    earth_radius_m  effective; None takes the model's own (P.526) or follows delta_n
    latitude_deg    of the path's middle; None assumes 50 degrees
    sea_fraction    of the path; a profile with zones knows better
    gains_dbi       of both antennas towards each other, summed (P.452 couples scatter to them)
    """

    profile: Profile
    model: str
    frequency_hz: float
    tx_height_m: float
    rx_height_m: float
    time_share: float = 0.5
    location_share: float = 0.5
    location_std_db: float = DTT_LOCATION_STD_DB
    vertical: bool = False
    earth_radius_m: float | None = None
    delta_n: float = DELTA_N
    n_0: float = N_0
    latitude_deg: float | None = None
    sea_fraction: float = 0.0
    coast_tx_m: float = NOT_NEAR_COAST_M
    coast_rx_m: float = NOT_NEAR_COAST_M
    gains_dbi: float = 0.0
    pressure_hpa: float = STANDARD_PRESSURE_HPA
    temperature_k: float = STANDARD_TEMPERATURE_K

    def __post_init__(self) -> None:
        require_one_of("model", self.model, MODELS, source="models built in")
        low, high, source = FREQUENCY_GHZ[self.model]
        require_between("frequency", self.frequency_hz / 1e9, low, high, unit="GHz", source=source)
        for name, height_m in (("transmit", self.tx_height_m), ("receive", self.rx_height_m)):
            require_positive(f"{name} antenna height above ground", height_m, unit="m")
            require_between(f"{name} antenna height above ground", height_m, 0, 20e3, unit="m", source="this program")
        if self.model == "p1812":
            for name, height_m in (("transmit", self.tx_height_m), ("receive", self.rx_height_m)):
                require_between(f"{name} antenna height", height_m, 1, 3000, unit="m", source="ITU-R P.1812-8")
        least = {"p1812": 0.01, "p452": 1e-5}.get(self.model, 1e-6)
        require_between("time", 100 * self.time_share, 100 * least, 50, unit="%", source=source)
        require_between("locations", 100 * self.location_share, 1, 99, unit="%", source="ITU-R P.1812-8")
        require_between("location spread", self.location_std_db, 0, 30, unit="dB", source="this program's limit")
        require_between("sea fraction", self.sea_fraction, 0, 1, unit="", source="a share of the path")
        require_between("delta N", self.delta_n, 1, 156, unit="N-units/km", source="k = 157/(157 - delta N)")
        require_between("N0", self.n_0, 200, 450, unit="N-units", source="refractivities that occur, ITU-R P.453")
        require_between("pressure", self.pressure_hpa, 500, 1100, unit="hPa", source="air near the ground")
        require_between("temperature", self.temperature_k - 273.15, -60, 60, unit="degC", source="air near the ground")
        for name, coast_m in (("transmitter", self.coast_tx_m), ("receiver", self.coast_rx_m)):
            require_between(f"distance of the {name} to the coast", coast_m / 1e3, 0, 20000, unit="km",
                            source="a distance on Earth")  # fmt: skip
        if self.earth_radius_m is not None:
            require_between("Earth radius", self.earth_radius_m / 1e3, 1000, 1e6, unit="km", source="this program")
        if self.latitude_deg is not None:
            require_between("latitude", self.latitude_deg, -90, 90, unit="deg", source="a latitude")
        length_km = self.profile.length_m / 1e3
        if self.model == "p1812":
            require_between("path length", length_km, 0.25, 3000, unit="km", source="ITU-R P.1812-8")
        require_between("path length", length_km, 1e-3, 10000, unit="km", source="ITU-R P.452-18")

    @property
    def median_radius_km(self) -> float:
        """Effective Earth radius of the median of time. [km]"""
        if self.earth_radius_m is not None:
            return self.earth_radius_m / 1e3
        if self.model in ("p1812", "p452"):
            return EARTH_RADIUS_KM * 157.0 / (157.0 - self.delta_n)
        return P526_RADIUS_M / 1e3

    @property
    def middle_deg(self) -> float:
        """Latitude used for the share of time with ducts. [deg]"""
        return 50.0 if self.latitude_deg is None else self.latitude_deg


@dataclass(frozen=True, kw_only=True)
class Zones:
    """How land and sea share a path: sea fraction, longest runs of land and of inland. [1], [km]"""

    sea_fraction: float
    land_km: float
    inland_km: float


def zones_along(case: PathCase) -> Zones:
    """Sea fraction and longest continuous runs; a point stands for half the way to each neighbour."""
    x = case.profile.distance_m / 1e3
    if case.profile.zone is None:
        land = float(x[-1]) * (1 - case.sea_fraction)
        return Zones(sea_fraction=case.sea_fraction, land_km=land, inland_km=land)
    edges = np.concatenate([[x[0]], 0.5 * (x[1:] + x[:-1]), [x[-1]]])
    kind = np.array(case.profile.zone)
    sea = float(np.diff(edges)[kind == "sea"].sum() / x[-1])
    return Zones(sea_fraction=sea, land_km=_longest(edges, kind != "sea"), inland_km=_longest(edges, kind == "inland"))


def _longest(edges: Floats, inside: npt.NDArray[np.bool_]) -> float:
    best = run = 0.0
    for number, here in enumerate(inside):
        run = run + float(edges[number + 1] - edges[number]) if here else 0.0
        best = max(best, run)
    return best


def duct_share(zones: Zones, *, latitude_deg: float) -> tuple[float, float]:
    """beta_0, the percentage of time with strong ducts, and tau of the inland run. [%], [1]"""
    tau = 1 - math.exp(-4.12e-4 * zones.inland_km**2.41)
    mu1 = (10 ** (-zones.land_km / (16 - 6.6 * tau)) + 10 ** (-5 * (0.496 + 0.354 * tau))) ** 0.2
    mu1, phi = min(mu1, 1.0), abs(latitude_deg)
    if phi > 70:
        return 4.17 * mu1 * mu1**0.3, tau
    return 10 ** (-0.015 * phi + 1.67) * mu1 * mu1 ** (-0.935 + 0.0176 * phi), tau


def location_loss_db(*, location_share: float, location_std_db: float) -> float:
    """Loss to add so that this share of the locations is reached. [dB]"""
    if location_share == 0.5:
        return 0.0
    from scipy.special import ndtri

    return float(ndtri(location_share) * location_std_db)


@dataclass(frozen=True, kw_only=True)
class PathLoss:
    """Every term of one path; ``term`` reads one by its place in ``path_kernels``.

    loss_db   the model's basic transmission loss
    """

    case: PathCase
    zones: Zones
    terms: Floats
    loss_db: float

    def term(self, place: int) -> float:
        """One term by its place."""
        return float(self.terms[place])


def ground_with_clutter(case: PathCase) -> Floats:
    """Heights of the actual profile: clutter on top, the ends bare, as the model takes it. [m]"""
    profile = case.profile
    if profile.clutter_m is None:
        return profile.height_m
    x = profile.distance_m / 1e3
    bare = np.zeros(len(x), bool)
    bare[[0, -1]] = True
    if case.model == "p452":
        bare |= (x < BARE_ENDS_KM - 1e-9) | (x > x[-1] - BARE_ENDS_KM + 1e-9)
    return np.where(bare, profile.height_m, profile.height_m + profile.clutter_m)


def kernel_inputs(case: PathCase, zones: Zones) -> Floats:
    """The row of numbers the kernel takes; heights of the antennas are still above ground."""
    f = case.frequency_hz / 1e9
    given = np.zeros(k.N_INPUTS)
    given[k.P_F_GHZ], given[k.P_WAVELENGTH] = f, ROUNDED_C.get(case.model, 0.299792458) / f
    given[k.P_HTS], given[k.P_HRS] = case.tx_height_m, case.rx_height_m
    given[k.P_AE_50], given[k.P_AE_B] = case.median_radius_km, BETA_RADIUS_KM
    given[k.P_SEA], given[k.P_VERTICAL] = zones.sea_fraction, float(case.vertical)
    given[k.P_TIME] = 100 * case.time_share
    given[k.P_BETA_0], given[k.P_TAU] = duct_share(zones, latitude_deg=case.middle_deg)
    given[k.P_COAST_T], given[k.P_COAST_R] = case.coast_tx_m / 1e3, case.coast_rx_m / 1e3
    given[k.P_N0], given[k.P_GAINS] = case.n_0, case.gains_dbi
    given[k.P_MODEL] = {"p1812": k.MODEL_1812, "p452": k.MODEL_452}.get(case.model, k.MODEL_526)
    if case.model == "p1812":
        given[k.P_LOCATION] = location_loss_db(location_share=case.location_share, location_std_db=case.location_std_db)
    if case.model == "p452":
        for place, vapour in ((k.P_GAMMA, 7.5 + 2.5 * zones.sea_fraction), (k.P_GAMMA_DRY, 3.0)):
            given[place] = sum(
                gas_attenuation_db_km(
                    frequency_hz=case.frequency_hz,
                    pressure_hpa=case.pressure_hpa,
                    temperature_k=case.temperature_k,
                    vapour_g_m3=vapour,
                )
            )
    return given


def path_loss(case: PathCase) -> PathLoss:
    """Work out one path by the model it names.

    raises  RangeError where both antennas stand in one place
    """
    zones = zones_along(case)
    given, terms = kernel_inputs(case, zones), np.zeros(k.N_TERMS)
    height = np.ascontiguousarray(case.profile.height_m)
    given[k.P_HTS] += height[0]
    given[k.P_HRS] += height[-1]
    x = case.profile.distance_m / 1e3
    if len(x) == 2:
        x, height, raised = np.array([0.0, x[1] / 2, x[1]]), np.array([height[0], height.mean(), height[1]]), None
    else:
        raised = ground_with_clutter(case)
    ground = height if raised is None else np.ascontiguousarray(raised)
    k.one_path(np.ascontiguousarray(x), np.array(height), np.array(ground), given, terms)
    loss = float(terms[k.TOTAL])
    if case.model == "free-space":
        loss = float(terms[k.FREE])
    if not math.isfinite(loss):
        raise RangeError("The path has no loss that can be worked out; do the antennas stand below the ground?")
    return PathLoss(case=case, zones=zones, terms=terms, loss_db=loss)
