"""Reads the validation sets of the propagation models (tests/data/propagation/README.md says whose they are)."""

import csv
import math
from pathlib import Path

from tepui.chain.propagation.models import PathCase
from tepui.signals.terrain import Profile

DATA = Path(__file__).resolve().parent / "data" / "propagation"
ZONES = {"zone_1sea_3coast_4inland": {"1": "sea", "3": "coast", "4": "inland"},
         "zone_1coast_2inland_3sea": {"1": "coast", "2": "inland", "3": "sea"}}  # fmt: skip


def rows_of(path):
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def profile_of(path):
    rows = rows_of(path)
    height = "h_m" if "h_m" in rows[0] else "h_m_asl"
    zones = [name for name in ZONES if name in rows[0]]
    return Profile(
        distance_m=[1e3 * float(row["d_km"]) for row in rows],
        height_m=[float(row[height]) for row in rows],
        clutter_m=[float(row["clutter_m"]) for row in rows] if "clutter_m" in rows[0] else None,
        zone=tuple(ZONES[zones[0]][row[zones[0]]] for row in rows) if zones else None,
        source="validation set",
    )


def p526_cases():
    for row in rows_of(DATA / "p526" / "cases.csv"):
        case = PathCase(
            profile=profile_of(DATA / "p526" / row["profile_file"]),
            model="p526",
            frequency_hz=float(row["f_ghz"]) * 1e9,
            tx_height_m=float(row["htg_m"]),
            rx_height_m=float(row["hrg_m"]),
            vertical=row["polarisation"] == "V",
        )
        yield case, row


def p1812_cases():
    for path in sorted((DATA / "p1812").glob("*_expected.csv")):
        profile = profile_of(path.with_name(path.name.replace("_expected", "_profile")))
        for row in rows_of(path):
            case = PathCase(
                profile=profile,
                model="p1812",
                frequency_hz=float(row["f_ghz"]) * 1e9,
                tx_height_m=float(row["htg_m"]),
                rx_height_m=float(row["hrg_m"]),
                time_share=float(row["p_pct"]) / 100,
                location_share=float(row["pL_pct"]) / 100,
                vertical=row["pol_1H_2V"] == "2",
                delta_n=float(row["DN"]),
                n_0=float(row["N0"]),
                latitude_deg=float(row["phi_deg"]),
                coast_tx_m=1e3 * float(row["dct_km"]),
                coast_rx_m=1e3 * float(row["dcr_km"]),
            )
            yield case, row


def half_way_deg(row, length_m):
    """Latitude half the profile's length from the transmitter: one profile is shorter than its ends are apart."""
    tx, rx = math.radians(float(row["phit_n_deg"])), math.radians(float(row["phir_n_deg"]))
    turn = math.radians(float(row["phir_e_deg"]) - float(row["phit_e_deg"]))
    bearing = math.atan2(
        math.sin(turn) * math.cos(rx), math.cos(tx) * math.sin(rx) - math.sin(tx) * math.cos(rx) * math.cos(turn)
    )
    way = length_m / 2 / 6371e3
    return math.degrees(math.asin(math.sin(tx) * math.cos(way) + math.cos(tx) * math.sin(way) * math.cos(bearing)))


def p452_cases():
    for path in sorted((DATA / "p452").glob("*_expected.csv")):
        profile = profile_of(path.with_name(path.name.replace("_expected", "_profile")))
        for row in rows_of(path):
            case = PathCase(
                profile=profile,
                model="p452",
                frequency_hz=float(row["f_GHz"]) * 1e9,
                tx_height_m=float(row["htg_m"]),
                rx_height_m=float(row["hrg_m"]),
                time_share=float(row["p"]) / 100,
                vertical=row["pol_1_h_2_v"] == "2",
                delta_n=float(row["DN"]),
                n_0=float(row["N0"]),
                latitude_deg=half_way_deg(row, profile.length_m),
                coast_tx_m=1e3 * float(row["dct_km"]),
                coast_rx_m=1e3 * float(row["dcr_km"]),
                gains_dbi=float(row["Gt_dBi"]) + float(row["Gr_dBi"]),
                pressure_hpa=float(row["press_hPa"]),
                temperature_k=float(row["temp_deg_C"]) + 273.15,
            )
            yield case, row
