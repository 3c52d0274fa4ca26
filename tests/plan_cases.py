"""Questions for frequency plans that several tests ask."""

from tepui.chain.conversion.mixer import MixerDrive
from tepui.chain.filters.coupled import BandpassDesign
from tepui.prediction.plan_question import LocalService, PlanQuestion

DRIVE = MixerDrive(
    signal_dbm=-15, lo_dbm=7, loss_db=8, loss_doubt_db=1, lo_isolation_db=28, lo_isolation_doubt_db=6,
    if_isolation_db=25, if_isolation_doubt_db=10, harmonic_db=-40,
)  # fmt: skip
FILTER = BandpassDesign(centre_hz=2346e6, width_hz=40e6, n_poles=3, ripple_db=0.1, unloaded_q=1200)


def quarry_edge(if_mhz=(474, 578, 690, 786, 858), **more):
    """The 13 cm scenario, its IFs in the order given."""
    settled = {
        "wanted_hz": 2346e6, "width_hz": 8e6, "signal_width_hz": 6816 / 896e-6, "side": "low", "near_hz": 12e6,
        "drive": DRIVE, "design": FILTER, "if_hz": tuple(one * 1e6 for one in if_mhz),
        "locals_near": (LocalService(centre_hz=690e6, width_hz=8e6),),
    }  # fmt: skip
    return PlanQuestion(**{**settled, **more})
