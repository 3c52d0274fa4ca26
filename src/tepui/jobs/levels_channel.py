"""The channel and the programme: mode, rate, the picture's share, and where a narrow receiver looks.

Theory  Net rate by the standard's arithmetic; what the picture may take is what is left after sound, tables and
        headroom.
Source  [EN300744] 4.4 and 4.7; [TR101290] 9.7 for the windows of the shoulders.
Holds   Channels whose mode is stated.
"""

from tepui.ground.findings import Finding, Table, Value
from tepui.jobs.levels_chain import Chain
from tepui.jobs.plan_statements import computed, not_known, words
from tepui.prediction.edges import WINDOW_HZ, side_tunings


def channel_findings(chain: Chain) -> list[Finding]:
    """Mode and rate, and the picture's budget."""
    mode = chain.station.channel.mode
    if mode is None:
        return [
            not_known(
                "station",
                "net_bit_rate_bps",
                "bit/s",
                "the mode is not whole: fft, guard, constellation and code_rate in [channel] would settle it.",
            )
        ]
    rate = float(mode.net_bit_rate_bps)
    found = [
        words("station", "mode", mode.text(), standing="given", source="[channel] of the station file"),
        computed("station", "net_bit_rate_bps", rate, "bit/s", digits=None, source="[EN300744] 4.7"),
    ]
    programme = chain.station.programme
    if programme.audio is None and programme.tables is None and programme.headroom is None:
        return found
    headroom = 0.0 if programme.headroom is None else programme.headroom.value
    spent = sum(0.0 if one is None else one.value for one in (programme.audio, programme.tables))
    video = rate * (1 - headroom) - spent
    if video <= 0:
        text = f"nothing is left for a picture: {rate / 1e6:.3f} Mbit/s carry the sound, tables and headroom asked."
        return [*found, not_known("station", "video_rate_max_bps", "bit/s", text)]
    remark = f"Net rate less {headroom:.0%} of headroom and {spent / 1e6:.3g} Mbit/s of sound and tables."
    left = computed(
        "station", "video_rate_max_bps", video, "bit/s", digits=None, source="net rate divided", remark=remark
    )
    return [*found, left]


def narrow_table(chain: Chain) -> Table:
    """For every narrow receiver and each side: the window, and the centres that serve."""
    columns = (
        ("instrument", ""),
        ("side", ""),
        ("window_low_hz", "Hz"),
        ("window_high_hz", "Hz"),
        ("centre_low_hz", "Hz"),
        ("centre_high_hz", "Hz"),
    )
    rows: list[tuple[Value, ...]] = []
    occupied = chain.mode.occupied_width_hz
    for one in chain.station.instruments:
        if not one.is_receiver or one.usable is None or one.usable.value >= occupied + 2 * WINDOW_HZ[1]:
            continue
        dc = 0.0 if one.dc_width is None else one.dc_width.value
        for side in side_tunings(
            centre_hz=chain.station.channel.centre.value, occupied_hz=occupied, usable_hz=one.usable.value, dc_hz=dc
        ):
            ends: tuple[Value, Value] = (side.centre_low_hz, side.centre_high_hz) if side.possible else (None, None)
            rows.append((one.name, side.side, side.window_low_hz, side.window_high_hz, *ends))
    return Table(name="narrow_settings", columns=columns, rows=tuple(rows))
