"""What every recipe of the demo is worth, free of noise: the ground that benchmarks stand on.

The metrics are computed by the same library that reads the raw files, from the curves of the
nominal print on a perfect platform at 21 degrees Celsius, kept in the dark.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

from demo_trials import rig
from demo_trials.physics import Cone, build
from experiments.acoustics import convert
from experiments.acoustics.curves import Distortion, Impulse, Response
from experiments.acoustics.decay import decay
from experiments.acoustics.distortion import thd_peak
from experiments.acoustics.response import deviation, effective_range, level, smoothed
from experiments.plan import Plan

__all__ = ["curve_metrics", "plan", "true_metrics", "truth"]


@cache
def plan() -> Plan:
    """Give the demo's plan, read once."""
    return Plan.from_toml(Path(__file__).with_name("experiment.toml"))


def truth(settings: Mapping[str, Any]) -> dict[str, float]:
    """Give the noise-free value of every metric of the plan for one recipe.

    Parameters
    ----------
    settings : mapping
        A recipe: the active variables of ``experiment.toml``.

    Returns
    -------
    dict of str to float
        Metric to value in the plan's unit; NaN where the curves carry none. ``breakup`` is the
        model's own first mode.
    """
    return true_metrics(build(settings))


def true_metrics(cone: Cone) -> dict[str, float]:
    """Give the noise-free metrics of one cone as it was really printed; see `truth`."""
    traces = rig.clean(cone)
    heard = curve_metrics(
        Response(rig.RESPONSE_GRID, traces.level),
        Distortion(rig.DISTORTION_GRID, harmonics=dict(enumerate(traces.percent, start=2))),
        Impulse(traces.samples, rig.RATE),
    )
    own = {
        "mass": 1000.0 * float(cone.mass),
        "breakup": convert(float(cone.modes[0]), "Hz", plan().metrics["breakup"].unit),
    }
    return {name: own[name] if name in own else heard[name] for name in plan().metrics}


def curve_metrics(
    response: Response, distortion: Distortion, impulse: Impulse
) -> dict[str, float]:
    """Compute the metrics of the plan that need no resonance to be found.

    Parameters
    ----------
    response, distortion, impulse : Response, Distortion, Impulse
        The curves of one cone.

    Returns
    -------
    dict of str to float
        ``upper_limit, deviation, thd_peak, decay, level`` in the plan's units; NaN where the
        curves carry none.
    """
    limit, unevenness, peak, loudness = (
        plan().metrics[name].options for name in ("upper_limit", "deviation", "thd_peak", "level")
    )
    smooth = smoothed(response, unevenness["smooth"])
    highest = thd_peak(distortion, peak["band"])
    found = {
        "upper_limit": (effective_range(response, limit["drop_db"], limit["band"]).upper_hz, "Hz"),
        "deviation": (deviation(smooth, unevenness["band"]).half_spread_db, "dB"),
        "thd_peak": (None if highest is None else highest.thd, "%"),
        "decay": (decay(impulse).seconds, "s"),
        "level": (level(response, loudness["band"]), "dB"),
    }
    return {
        name: float("nan") if value is None else convert(value, unit, plan().metrics[name].unit)
        for name, (value, unit) in found.items()
    }
