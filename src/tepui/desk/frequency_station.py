"""What a station file says to ``frequencies``, under the names of the verb's options and in the operator's own text."""

from collections.abc import Iterable
from typing import Any

from tepui.station.figures import Figure
from tepui.station.nouns import Far, Station
from tepui.station.stages import Stage

FAR_OPTIONS = ("far_tunes", "far_raster", "far_converter", "far_error", "pull_in")


def station_options(station: Station) -> dict[str, Any]:
    """Options by name; what the file does not say is left out."""
    channel, plan = station.channel, station.plan
    found: dict[str, Any] = {
        "wanted": channel.centre.text,
        "width": channel.width.text,
        "fft": channel.fft,
        "side": channel.side,
        "signal": _listed(plan.signal),
        "raster": _text(plan.raster),
        "second_if": _listed(plan.second_if),
        "goal": _text(plan.goal),
        "order": plan.order,
        "protect": None if plan.protect is None else [one.text for one in plan.protect],
        "protect_limit": _text(plan.protect_limit),
        "shielding": _text(plan.shielding),
        "local": [f"{one.frequency.text} {_text(one.level) or ''}".strip() for one in station.locals_near] or None,
    }
    kinds = {kind: [stage for stage in station.stages if stage.kind == kind] for kind in
             ("modulator", "mixer", "filter", "amplifier")}  # fmt: skip
    if kinds["modulator"]:
        found |= _modulator(kinds["modulator"][0], station)
    if kinds["mixer"]:
        found |= _mixer(kinds["mixer"][0])
        if found["signal"] is None:
            found["signal"] = _signal(station, kinds["mixer"][-1])
    if kinds["filter"]:
        found |= _filter(kinds["filter"][0])
    shoulder = station.target.shoulder
    if shoulder is not None:
        found["shoulder"] = shoulder.text
    receivers = [one for one in station.instruments if one.kind == "receiver" and one.tunes]
    if receivers:
        found["receiver_to"] = f"{max(_upper(one.tunes) for one in receivers) / 1e6:.6g} MHz"
    return {name: value for name, value in found.items() if value is not None}


def far_options(far: Far) -> dict[str, Any]:
    """Options of one far station; what the file does not say is left out."""
    figures = (far.raster, far.converter, far.converter_error, far.pull_in)
    values = (_listed(far.tunes), *(_text(one) for one in figures))
    return {name: value for name, value in zip(FAR_OPTIONS, values, strict=True) if value is not None}


def _text(figure: Figure | None) -> str | None:
    return None if figure is None else figure.text


def _upper(figures: Iterable[Figure] | None) -> float:
    """The highest end of ranges. [Hz]"""
    return max((one.value if one.high is None else one.high for one in figures or ()), default=0.0)


def _listed(figures: Iterable[Figure] | None) -> str | None:
    return None if figures is None else ", ".join(one.text for one in figures)


def _signal(station: Station, mixer: Stage) -> str | None:
    """The one signal that the oscillator in the file leaves."""
    if mixer.frequency is None:
        return None
    wanted, oscillator = station.channel.centre.value, mixer.frequency.value
    signal = oscillator - wanted if station.channel.side == "high" else abs(wanted - oscillator)
    return f"{abs(signal) / 1e6:.6f} MHz"


def _modulator(stage: Stage, station: Station) -> dict[str, Any]:
    tunes = stage.tunes if stage.tunes is not None and all(one.is_range for one in stage.tunes) else None
    return {
        "modulator": _listed(tunes),
        "raster": _text(station.plan.raster) or _text(stage.raster),
        "level": None if stage.level is None else f"{stage.level.value:g} dBm",
        "modulator_mer": _text(stage.mer),
        "harmonics": _text(stage.harmonics),
    }


def _mixer(stage: Stage) -> dict[str, Any]:
    noise = stage.phase_noise
    return {
        "loss": _text(stage.loss),
        "lo_level": None if stage.lo_level is None else f"{stage.lo_level.value:g} dBm",
        "lo_isolation": _text(stage.lo_isolation),
        "if_isolation": _text(stage.if_isolation),
        "mixer_table": stage.spurs,
        "oscillator": _listed(stage.oscillator_tunes),
        "step": _text(stage.raster),
        "multiply": stage.multiplier,
        "reference": _text(stage.reference),
        "reference_error": _text(stage.reference_error),
        "phase_noise": None if noise is None else ", ".join(f"{one.text}: {level.text}" for one, level in noise),
    }


def _filter(stage: Stage) -> dict[str, Any]:
    return {
        "filter_width": _text(stage.width),
        "filter_poles": stage.poles,
        "filter_ripple": _text(stage.ripple),
        "filter_q": None if stage.unloaded_q is None else round(stage.unloaded_q.value),
    }
