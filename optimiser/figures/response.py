"""Picture: responses laid over each other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from optimiser.figures.overlay import Line, note_cones, overlay
from optimiser.figures.style import (
    LIGHT,
    TYPE,
    empty,
    finite_range,
    frequency_axis,
    hertz,
    new_axes,
)

__all__ = ["draw_response"]


def draw_response(
    lines: Sequence[Line],
    *,
    best: int | None = None,
    limits: Mapping[str, float] | None = None,
    unit: str = "dB",
) -> Figure:
    """Draw responses over a logarithmic frequency axis.

    Parameters
    ----------
    lines : sequence of Line
        Curves, x in Hz, y in dB.
    best : int, optional
        The cone to emphasise.
    limits : mapping of str to float, optional
        Frequencies in Hz to mark with their names: range limits, break-up.
    unit : str, optional
        Unit of the level as read: ``dB`` or ``dB SPL``.

    Returns
    -------
    matplotlib.figure.Figure
    """
    lines = [line for line in lines if np.any((line.x > 0) & np.isfinite(line.y))]
    if not lines:
        return empty("No response has been measured yet.")
    figure, axes = new_axes(2.5)
    overlay(axes, lines, best)
    across = finite_range(*[line.x[line.x > 0] for line in lines]) or (20.0, 20000.0)
    frequency_axis(axes, *across)
    _level_limits(axes, lines)
    axes.set_ylabel(f"level ({unit})", fontsize=TYPE, color=LIGHT["ink"])
    _mark(axes, limits or {})
    note_cones(axes, lines, best)
    return figure


def _level_limits(axes: Axes, lines: Sequence[Line]) -> None:
    """Show at most 60 dB below the top, so that a deep notch does not flatten everything."""
    span = finite_range(*[line.y for line in lines])
    if span is None:
        return
    top, low = span[1], max(span[0], span[1] - 60)
    room = max(top - low, 6.0)
    axes.set_ylim(low - 0.25 * room, top + 0.14 * room)


def _mark(axes: Axes, limits: Mapping[str, float]) -> None:
    """Mark frequencies by a dashed line and its name above the curves."""
    low, high = axes.get_xlim()
    inside = [(name, at) for name, at in limits.items() if np.isfinite(at) and low <= at <= high]
    ordered = sorted(inside, key=lambda pair: pair[1])
    for index, (name, at) in enumerate(ordered):
        axes.axvline(at, color=LIGHT["ink"], linewidth=0.9, linestyle=(0, (3, 2)), zorder=5)
        share = np.log(at / low) / np.log(high / low)
        axes.annotate(
            f"{name} {hertz(at, unit=True)}",
            (at, 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(-2 if share > 0.5 else 2, 2 + 10 * (index % 2 if len(ordered) > 2 else 0)),
            textcoords="offset points",
            ha="right" if share > 0.5 else "left",
            va="bottom",
            fontsize=TYPE,
            color=LIGHT["ink"],
        )
