"""Splitting the spread of one metric into its sources: mounting, print, session."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pandas as pd

from optimiser.mixed import MixedFit, MixedModel
from optimiser.one_way_analysis import one_way, pooled_interval
from optimiser.profiles import variance_interval
from optimiser.repeats import Tied

__all__ = ["Part", "Sources", "behind", "split", "tied_model"]

Labels = npt.NDArray[np.intp]

MEASUREMENT, PRINT, SESSION = "measurement", "print", "session"
WITH_PRINT, WITH_SESSION = "print and measurement", "session and measurement"
ALL = "print, session and measurement"

_AGAIN = "Mount a measured cone again in the same session."
_COARSE = "Every repeat of a cone reads the same: entered once, or read too coarsely to differ."
_SHARED = (
    "Repeats lie in sessions of their own, so mounting and session cannot be told apart: mount "
    "the reference cone twice in one session."
)
_REPLICATE = "Print a measured recipe again and measure both in one session."
_UNTIED = (
    "The recipe's prints were heard in sessions that nothing ties together: measure them in one "
    "session, or a reference cone in both."
)
_WITH_MOUNTING = (
    "No cone was measured twice, so print and mounting cannot be told apart: mount one again in "
    "the same session."
)
_ENTERED_ONCE = (
    "The value was entered once a cone, so print and reading cannot be told apart: take a "
    "cone's value again."
)
_NO_LINK = "No cone was heard in two sessions: measure the reference cone in each."


@dataclass(frozen=True)
class Part:
    """One source, or several that cannot be told apart, on the scale that was learnt.

    Parameters
    ----------
    variance, low, high : float
        Estimate and 90 % interval.
    degrees : int
        Independent comparisons behind it.
    effective : float
        Degrees of freedom of the estimate itself, ``2 variance^2 / var(variance)``.
    """

    variance: float
    low: float
    high: float
    degrees: int
    effective: float


@dataclass(frozen=True)
class Sources:
    """The known sources by name, and for each unknown one what would tell it."""

    parts: dict[str, Part] = field(default_factory=dict)
    lacking: dict[str, str] = field(default_factory=dict)


def tied_model(tied: Tied) -> tuple[Tied, MixedModel | None]:
    """Give the mixed model that the measurements can carry, and the rows it stands on.

    Effects are named ``session`` and ``print``. ``print`` is absent where no cone was measured
    twice (the residual then holds print and mounting), and where no two prints of a recipe can
    be compared (each cone then has a mean of its own). None where nothing can be compared.
    """
    if not len(tied):
        return tied, None
    effects = {}
    if len(set(tied.session.tolist())) > 1 and not tied.entered_once:
        effects[SESSION] = tied.session
    full = MixedModel(tied.values, tied.group, {**effects, PRINT: tied.item})
    if not full.comparisons(PRINT, tuple(effects)):
        tied = _within_cones(tied)
        if not len(tied):
            return tied, None
        effects = {name: tied.session for name in effects}
    elif _repeated(tied.item):
        effects[PRINT] = tied.item
    model = MixedModel(tied.values, tied.group, effects)
    if SESSION in effects and not model.comparisons(SESSION):
        del effects[SESSION]
        model = MixedModel(tied.values, tied.group, effects)
    return tied, model


def _within_cones(tied: Tied) -> Tied:
    """Compare each cone with itself only."""
    kept = tied.take(np.bincount(tied.item)[tied.item] > 1)
    return Tied(
        kept.values, kept.logarithmic, kept.item, kept.item, kept.session, kept.sessions,
        kept.entered_once,
    )  # fmt: skip


def _repeated(labels: Labels) -> bool:
    return len(np.unique(labels)) < len(labels)


def split(tied: Tied) -> Sources:
    """Split the spread by restricted maximum likelihood; say what would tell the rest.

    Parameters
    ----------
    tied : Tied
        The metric's values.

    Returns
    -------
    Sources
    """
    lacking = _lacking(tied)
    rows, model = tied_model(tied)
    if model is None:
        parts = _together(tied)
    elif model.pure < 1 or model.coarse or not model.varies:
        parts = _together(tied)
        if model.pure and _repeated(rows.item):
            lacking[MEASUREMENT] = _COARSE
    else:
        parts = _modelled(model)
        if PRINT not in model.names and _repeated(rows.item):
            parts[MEASUREMENT] = parts.pop(WITH_PRINT)
    return Sources(parts, {name: why for name, why in lacking.items() if name not in parts})


def _modelled(model: MixedModel) -> dict[str, Part]:
    """Fit the model and give each of its variances an interval."""
    fit = model.fit()
    effective = _effective(model, fit)
    parts = {}
    for name in ("residual", *model.names):
        others = tuple(other for other in model.names if other == SESSION and name == PRINT)
        degrees = model.pure if name == "residual" else model.comparisons(name, others)
        low, high = variance_interval(model, fit, name, degrees)
        parts[name] = Part(fit.variances[name], low, high, degrees, effective[name])
    residual = parts.pop("residual")
    return {MEASUREMENT if PRINT in model.names else WITH_PRINT: residual, **parts}


def _effective(model: MixedModel, fit: MixedFit) -> dict[str, float]:
    """Satterthwaite's degrees of freedom from the information; infinite for a variance of 0."""
    names = [*model.names, "residual"]
    found = np.array([fit.variances[name] for name in names])
    here = np.flatnonzero(found > 1e-9 * found.max())
    scaled = model.information(fit.variances) * np.outer(found, found)
    error = np.diagonal(np.linalg.pinv(scaled[np.ix_(here, here)]))
    effective = dict.fromkeys(names, math.inf)
    for place, variance in zip(here, error, strict=True):
        # Twice the square over the variance, both in units of the estimate.
        effective[names[place]] = float(2.0 / variance) if variance > 0 else float(model.pure)
    return effective


def _together(tied: Tied) -> dict[str, Part]:
    """Give what can be pooled where no single source can be told."""
    parts = {}
    table = pd.DataFrame({"group": tied.group, "session": tied.session})
    pairs = np.asarray(table.groupby(["group", "session"], sort=False).ngroup(), dtype=np.intp)
    if _repeated(tied.item):
        pools = {WITH_SESSION: tied.item, WITH_PRINT: pairs}
    else:
        pools = {WITH_PRINT: pairs}
        if tied.entered_once or not _repeated(pairs):
            pools = {WITH_PRINT if tied.entered_once else ALL: tied.group}
    for name, groups in pools.items():
        found = one_way(tied.values, groups) if len(tied) else None
        if found is not None and found.within_degrees and found.within > 0:
            degrees = found.within_degrees
            low, high = pooled_interval(found.residual_sd, degrees)
            parts[name] = Part(found.within_square, low**2, high**2, degrees, float(degrees))
    return parts


def _lacking(tied: Tied) -> dict[str, str]:
    """Say for each source what would tell it, were it not told."""
    pairs = pd.DataFrame({"group": tied.group, "item": tied.item, "session": tied.session})
    repeated = bool(len(tied)) and _repeated(tied.item)
    linked = bool((pairs.groupby("item")["session"].nunique() > 1).any())
    replicated = bool((pairs.groupby("group")["item"].nunique() > 1).any())
    measurement, session = _SHARED if repeated else _AGAIN, _SHARED if linked else _NO_LINK
    if tied.entered_once:
        measurement = session = _COARSE
    if not replicated:
        return {MEASUREMENT: measurement, PRINT: _REPLICATE, SESSION: session}
    apart = _UNTIED if repeated else _ENTERED_ONCE if tied.entered_once else _WITH_MOUNTING
    return {MEASUREMENT: measurement, PRINT: apart, SESSION: session}


def behind(tied: Tied, source: str) -> tuple[int, int]:
    """Count the cones and the measurements that tell a source.

    Parameters
    ----------
    tied : Tied
    source : str
        Its name; of joined sources the first counts.
    """
    by, within = {
        MEASUREMENT: (tied.item, np.arange(len(tied))),
        PRINT: (tied.group, tied.item),
        SESSION: (tied.group, tied.session),
    }[source.split(" ")[0].rstrip(",")]
    table = pd.DataFrame({"by": by, "within": within, "item": tied.item})
    table = table[table.groupby("by")["within"].transform("nunique") > 1]
    return int(table["item"].nunique()), len(table)
