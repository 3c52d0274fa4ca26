"""What a station file says to ``frequencies``, under the names of the verb's options and in the operator's own text."""

from collections.abc import Iterable
from typing import Any

import numpy as np

from tepui.chain.filters.rod_design import shape_of
from tepui.ground.errors import ChoiceError
from tepui.prediction.plan_question import MeasuredFilter
from tepui.station.figures import Figure
from tepui.station.nouns import Far, Station
from tepui.station.order import stage_inputs_hz
from tepui.station.stages import Stage

FAR_OPTIONS = ("far_tunes", "far_raster", "far_converter", "far_error", "pull_in")
LEAST_POINTS = 5  # of a curve that is one; fewer are a loss


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
        found |= _mixer(kinds["mixer"][-1])
        if found["signal"] is None:
            found["signal"] = _signal(station, kinds["mixer"][0])
        if found["second_if"] is None and len(kinds["mixer"]) == 2:
            found["second_if"] = _signal(station, kinds["mixer"][1])
        if len(kinds["mixer"]) > 2:
            raise ChoiceError(
                f"{station.file}: the chain has {len(kinds['mixer'])} mixers, and frequency plans follow two at most."
            )
    if kinds["filter"]:
        found |= _filter(_behind_mixer(station, kinds["filter"]))
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
    """The one signal into a mixer that the oscillators in the file leave."""
    signal = stage_inputs_hz(station)[mixer.name]
    return None if signal is None or mixer.frequency is None else f"{signal / 1e6:.6f} MHz"


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
    """The filter as a prototype, and as it was measured where the file names its curve."""
    curve = stage.curve
    found: dict[str, Any] = {
        "filter_width": _text(stage.width),
        "filter_poles": stage.poles,
        "filter_ripple": _text(stage.ripple),
        "filter_q": None if stage.unloaded_q is None else round(stage.unloaded_q.value),
    }
    if curve is None or curve.assumed or len(curve.frequency_hz) < LEAST_POINTS:
        return found
    found["filter_curve"] = MeasuredFilter(frequency_hz=curve.frequency_hz, loss_db=curve.loss_db, how=curve.how)
    shape = shape_of(curve.frequency_hz, (10 ** (-curve.loss_db / 20)).astype(np.complex128))
    if stage.width is None and shape is not None:
        found["filter_width"] = f"{shape.width_hz / 1e6:.6f} MHz"
        found["filter_ripple"] = found["filter_ripple"] or "0 dB"
    return found


def _behind_mixer(station: Station, filters: list[Stage]) -> Stage:
    """The first filter behind the last mixer, or the first of all."""
    mixers = [n for n, stage in enumerate(station.stages) if stage.kind == "mixer"]
    behind = station.stages[mixers[-1] :] if mixers else ()
    return next((stage for stage in behind if stage.kind == "filter"), filters[0])
