"""Whether a cone was driven as the session's other cones were: only what the data carry.

A changed gain moves level and every distortion figure and looks like a better or worse cone. Two
things show it: the level recorded on a loopback channel, which no cone can change, and a level
that stands far outside that of the session's other cones.
"""

from __future__ import annotations

import statistics
from collections.abc import Sequence
from typing import Final

import numpy as np

from experiments.acoustics.deconvolution import loopback_peak
from experiments.acoustics.options import Sweep
from experiments.acoustics.wav import is_wav, pick_channel, read_wav
from experiments.ledger import Ledger
from experiments.measuring import Measured
from experiments.plan import Metric
from experiments.records import Caution, Curve, Measurement, StoredCurve

__all__ = ["DRIVE_DIFFERS", "drive_cautions"]

DRIVE_DIFFERS: Final = "drive_differs"
"""Code of the caution."""

_LOOPBACK_DB: Final = 0.5  # common practice, no source
_COMPARED: Final = 3  # recordings of other cones whose loopback is read
_FEWEST: Final = 4  # other cones for a spread
_FAR: Final = 5.0  # times the spread
_LEAST_DB: Final = 3.0  # recipes differ, so less is no sign


def drive_cautions(ledger: Ledger, cone: int, session: str, measured: Measured) -> list[Caution]:
    """Compare a measurement with those of the session's other cones.

    Parameters
    ----------
    ledger : Ledger
        What was measured before.
    cone : int
        The cone that was measured now.
    session : str
        The sitting.
    measured : Measured
        What its files gave.

    Returns
    -------
    list of Caution
        At most one for the loopback channel and one for each metric that is a level.
    """
    others = [one for one in ledger.measurements() if one.session == session and one.cone != cone]
    levels = [
        caution
        for name, metric in ledger.plan.metrics.items()
        if metric.measure == "level_db" and name not in measured.by_hand
        for caution in _level_caution(metric, measured.values.get(name), _values(others, name))
    ]
    return [*_loopback_caution(ledger, others, measured.curves), *levels]


def _values(others: Sequence[Measurement], name: str) -> list[float]:
    """Give each other cone's last value."""
    last = {one.cone: one.values.get(name) for one in others}
    return [value for value in last.values() if value is not None]


def _level_caution(metric: Metric, value: float | None, others: list[float]) -> list[Caution]:
    if value is None or len(others) < _FEWEST:
        return []
    middle = statistics.median(others)
    # 1.4826 makes the median deviation a standard deviation for a normal spread.
    spread = 1.4826 * statistics.median(abs(other - middle) for other in others)
    away = value - middle
    if abs(away) <= max(_FAR * spread, _LEAST_DB):
        return []
    return [
        Caution(
            DRIVE_DIFFERS,
            f"{metric.label}: {abs(away):.1f} dB {'above' if away > 0 else 'below'} the median of "
            f"the session's {len(others)} other cones, which spread by {spread:.1f} dB; check "
            "that drive, gain and distance are theirs.",
        )
    ]


def _loopback_caution(
    ledger: Ledger, others: Sequence[Measurement], curves: Sequence[StoredCurve]
) -> list[Caution]:
    own = [level for level in map(_loopback_level, curves) if level is not None]
    if not own:
        return []
    levels: list[float] = []
    for one in reversed(others):
        if len(levels) == _COMPARED:
            break
        found = map(_loopback_level, ledger.iterate_curves(measurement=one.id))
        levels += [level for level in found if level is not None][:1]
    if not levels:
        return []
    away = own[0] - statistics.median(levels)
    if abs(away) <= _LOOPBACK_DB:
        return []
    return [
        Caution(
            DRIVE_DIFFERS,
            f"loopback channel: {abs(away):.1f} dB {'above' if away > 0 else 'below'} that of the "
            f"session's other recordings ({len(levels)} compared); the drive is not that of the "
            "other cones, so levels and distortion do not compare.",
        )
    ]


def _loopback_level(curve: StoredCurve | Curve) -> float | None:
    """Level of the sweep on the loopback channel, dB re full scale."""
    channel, sweep = curve.options.get("loopback"), curve.options.get("sweep")
    if curve.kind != "sweep" or channel is None or sweep is None or not is_wav(curve.content):
        return None
    recording = read_wav(curve.content, curve.name)
    samples, _ = pick_channel(recording, channel, curve.name)
    peak = loopback_peak(samples, Sweep(**sweep), recording.rate)
    return float(20 * np.log10(max(peak, 1e-9)))
