"""The sections of the report in the order of the chain: which findings lead each of them, which tables, which words.

Theory  A section shows what decides: its pictures, the few numbers they exist for, the tables one builds or sets by.
        Every other number of the same documents stands in the list at the end, with its source.
Source  our own design.
Holds   Verbs that are named here; another verb's documents show every short table they have.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

Columns = Mapping[str, Sequence[str]]


@dataclass(frozen=True, kw_only=True)
class Section:
    """One section: title, the verbs whose documents fill it, what brings it where there is none.

    keys    findings that are shown here, in this order
    tables  name of table -> its columns that are shown; empty: every short table whole
    """

    title: str
    verbs: tuple[str, ...]
    brings: str
    keys: tuple[str, ...] = ()
    tables: Columns = field(default_factory=dict)


SECTIONS = (
    Section(
        title="Frequency plan",
        verbs=("frequencies", "mode"),
        brings="tepui frequencies",
        keys=(
            *("plan_verdict", "mode_recommended", "wanted_hz", "if_hz", "lo_hz", "image_hz", "inverted"),
            *("channel_low_hz", "channel_high_hz", "worst_in_channel_db", "worst_near_db", "rejection_lo_db"),
            *("rejection_image_db", "claimed_rejection_db", "net_bit_rate_bps", "video_rate_max_bps"),
            *("guard_path_m", "required_cn_db"),
        ),
        tables={
            "plans": ("rank", "if_hz", "lo_hz", "side", "worst_in_channel_db", "rejection_lo_db", "verdict", "reason"),
            "products_behind_filter": (*("product", "centre_hz", "width_hz", "place", "level_db", "behind_filter_db"),),
        },
    ),
    Section(
        title="Levels, predicted and measured",
        verbs=("levels", "check"),
        brings="tepui levels",
        keys=(
            *("output_dbm", "output_w", "output_rss_db", "output_worst_db", "power_pep_w", "worst_stage"),
            *("next_decibel_db", "mer_target_db", "mer_as_measured_db", "next_reading"),
        ),
        tables={
            "mer_budget": ("term", "mer_db", "mer_low_db", "mer_high_db", "share"),
            "distortion": ("stage", "amplifier_model", "shoulder_own_db", "shoulder_low_db", "shoulder_high_db"),
        },
    ),
    Section(
        title="Filter",
        verbs=("filter", "tune"),
        brings="tepui filter",
        keys=(
            *("structure", "poles", "ripple_db", "centre_hz", "width_3db_hz", "insertion_loss_db", "return_loss_db"),
            *("unloaded_q", "external_q", "rejection_worst_db", "yield_share", "drift_hz", "reentrant_hz"),
            *("centre_error_hz", "loss_midband_db"),
        ),
        tables={
            "rods": ("rod", "length_m", "to_next_m", "to_wall_m", "tap_m", "screw_m", "shorted_at"),
            "cut_list": ("part", "part_count", "length_m", "breadth_m", "diameter_m"),
            "elements": (),
            "advice": (),
            "resonators": (),
            "couplings": (),
            "sequence": (),
        },
    ),
    Section(
        title="Spectra and shoulders",
        verbs=("spectrum", "watch"),
        brings="tepui spectrum",
        keys=(
            *("shoulder_worst_db", "shoulder_lower_db", "shoulder_upper_db", "shoulder_worst_shown_db"),
            *("occupied_width_99_hz", "centre_frequency_hz", "frequency_offset_hz", "crest_0_01pct_db"),
            *("band_ripple_db", "band_tilt_db", "floor_db", "mask_margin_db"),
        ),
        tables={"lines": ()},
    ),
    Section(
        title="Drive",
        verbs=("drive",),
        brings="tepui drive",
        keys=(
            *("shoulder_target_db", "drive_recommended_dbm", "shoulder_recommended_db", "power_recommended_dbm"),
            *("drive_crossing_dbm", "power_crossing_dbm", "drive_guarded_dbm", "mer_ceiling_db", "compression_db"),
            *("shoulder_slope", "amplifier_model", "crest_after_db"),
        ),
        tables={
            "drive_readings": (
                *("setting_dbm", "power_dbm", "shoulder_worst_shown_db", "shoulder_worst_db", "shoulder_low_db"),
                *("shoulder_high_db", "standing"),
            ),
            "price_of_next": (*("setting_dbm", "power_dbm", "shoulder_worst_db", "mer_ceiling_db", "compression_db"),),
        },
    ),
    Section(
        title="Reception",
        verbs=("receive", "demo", "stream"),
        brings="tepui receive --picture",
        keys=(
            *("dvbt_found", "service_name", "channel_width_hz", "fft_size", "guard_fraction", "constellation"),
            *("code_rate", "mer_db", "margin_db", "ber_before_viterbi", "ber_after_viterbi", "packets"),
            *("packets_uncorrectable", "net_bit_rate_bps", "frequency_offset_hz", "sample_clock_ppm"),
            *("error_free_seconds",),
        ),
        tables={"echoes": (), "locks": ()},
    ),
    Section(
        title="Path",
        verbs=("path", "coverage", "receivers"),
        brings="tepui path",
        keys=(
            *("distance_m", "bearing_out_deg", "bearing_back_deg", "path_visible", "fresnel_clearance"),
            *("obstacle_distance_m", "obstacle_height_m", "clear_rise_m", "path_model", "loss_free_space_db"),
            *("loss_diffraction_db", "loss_total_db", "fading_allowance_db", "eirp_dbm", "receive_level_dbm"),
            *("noise_power_dbm", "cn_db", "mer_expected_db", "channel_model", "mode_choice", "dominant_unknown"),
            *("covered_share",),
        ),
        tables={
            "mode_margins": (
                *("fft_size", "constellation", "code_rate", "guard_fraction", "net_bit_rate_bps", "required_cn_db"),
                "margin_db",
            ),
            "wind_down": (),
            "rules_at_hand": (),
        },
    ),
    Section(title="Exposure, supply and heat", verbs=("care",), brings="tepui check"),
    Section(title="Programme", verbs=("programme",), brings="tepui programme"),
    Section(title="Faults looked for", verbs=("diagnose",), brings="tepui diagnose"),
)
OPTIONAL = ("Programme", "Faults looked for")
CARE_VERBS = ("check", "levels", "path")
EXPOSURE = ("eirp", "exposure", "near_field", "keep_clear", "distance_nominal", "distance_worst", "distance_ground")
SUPPLY = ("supply", "battery", "cable_drop", "start_current", "air_flow")
HEAT = ("heat", "sink", "efficiency", "case", "junction", "hot")
CARE_PARTS = (("Exposure", EXPOSURE), ("Supply", SUPPLY), ("Heat", HEAT))


def care_part(key: str) -> str | None:
    """Which part of the care section a finding of this key belongs to, or None."""
    return next((part for part, starts in CARE_PARTS if key.startswith(starts)), None)
