"""The curves of one cone as pictures, one a kind, the plan's metrics marked."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

from experiments.acoustics import Distortion, Impulse, Response
from experiments.acoustics.catalogue import MEASURES, convert
from experiments.acoustics.distortion import thd_peak
from experiments.errors import ExperimentError
from optimiser import figures
from optimiser.heard import envelope_of, line_of
from optimiser.page.pictures import Picture, picture
from optimiser.stored_curves import read_stored

if TYPE_CHECKING:
    from experiments.measuring import Measured
    from experiments.plan import Plan
    from experiments.records import Curve as Stored

__all__ = ["curve_pictures", "curves_heard", "curves_stored"]

Curves = dict[str, Response | Distortion | Impulse]

_MARKED = {"lower_limit_hz": "from", "upper_limit_hz": "to", "breakup_hz": "break-up"}


def curves_stored(files: Iterable[Stored]) -> tuple[Curves, list[str]]:
    """Read raw files again: the last curve of each kind, and which files cannot be read."""
    own: Curves = {}
    besides: Curves = {}
    unread = []
    for file in files:
        try:
            read = read_stored(file)
        except ExperimentError as error:
            unread.append(f"{file.name}: not drawn ({error}).")
            continue
        for kind, curve in read.items():
            (own if kind == file.kind else besides)[kind] = curve
    return {**besides, **own}, unread


def curves_heard(measured: Measured) -> Curves:
    """Give the curve of each kind in files that were just heard; a file of its own comes first."""
    besides = {kind: curve for one in measured.heard for kind, curve in one.curves.items()}
    return {**besides, **{one.kind: one.curve for one in measured.heard if one.kind != "sweep"}}


def curve_pictures(
    plan: Plan, cone: int, curves: Curves, values: Mapping[str, float | None]
) -> dict[str, Picture]:
    """Draw curves of a cone.

    Parameters
    ----------
    plan : Plan
        Its metrics are marked.
    cone : int
        The cone.
    curves : dict of str to curve
        By kind.
    values : mapping of str to float or None
        Metric to value.

    Returns
    -------
    dict of str to Picture
        By kind.
    """
    drawn = {}
    response, distortion, impulse = (
        curves.get(kind) for kind in ("response", "distortion", "impulse")
    )
    if response is not None:
        told = _marks(plan, values, _MARKED)
        words = ", ".join(f"{name} {value:.4g} Hz" for name, value in told.items())
        figure = figures.draw_response([line_of(response, cone)], limits=told)
        drawn["response"] = picture(figure, "response", f"Response of cone {cone}.", words)
    if distortion is not None:
        peak = _peak(plan, distortion) if isinstance(distortion, Distortion) else None
        figure = figures.draw_distortion([line_of(distortion, cone)], peak=peak)
        caption = f"Total harmonic distortion of cone {cone}, at the fundamental's frequency"
        caption += "; the ring: its largest inside the metric's band." if peak else "."
        drawn["distortion"] = picture(figure, "distortion", caption)
    if isinstance(impulse, Impulse):
        decay = _marks(plan, values, {"decay_ms": "decay"}).get("decay", math.nan)
        figure = figures.draw_impulse(line_of(impulse, cone), envelope_of(impulse), decay_ms=decay)
        caption = f"Impulse response of cone {cone} with its envelope and the 5 % line."
        drawn["impulse"] = picture(figure, "impulse", caption)
    return drawn


def _peak(plan: Plan, curve: Distortion) -> tuple[float, float] | None:
    """Give where the largest THD lies for the plan's metric of it, in Hz and percent."""
    for metric in plan.metrics.values():
        if metric.measure == "thd_peak_percent":
            found = thd_peak(curve, metric.options.get("band"))
            return None if found is None else (found.frequency, found.thd)
    return None


def _marks(
    plan: Plan, values: Mapping[str, float | None], wanted: Mapping[str, str]
) -> dict[str, float]:
    """Give the values of some measures in the measures' own units, by the names to mark."""
    found = {}
    for name, metric in plan.metrics.items():
        value = values.get(name)
        if metric.measure in wanted and value is not None and math.isfinite(value):
            unit = MEASURES[metric.measure].unit
            found[wanted[metric.measure]] = convert(value, metric.unit, unit)
    return found
