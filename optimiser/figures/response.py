"""Picture: responses laid over each other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure, FigureBase

from optimiser.figures.overlay import Line, note_cones, overlay
from optimiser.figures.style import (
    LIGHT,
    TYPE,
    axes_in,
    empty,
    finite_range,
    frequency_axis,
    hertz,
    new_figure,
)

__all__ = ["draw_response", "response_panel"]


_LETTER = 0.021  # width of a letter, as a share of the axes


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
    figure = new_figure(2.5)
    response_panel(figure, lines, best=best, limits=limits, unit=unit)
    return figure


def response_panel(
    figure: FigureBase,
    lines: Sequence[Line],
    *,
    best: int | None = None,
    limits: Mapping[str, float] | None = None,
    unit: str = "dB",
) -> None:
    """Draw responses into a part of a picture; see `draw_response`."""
    axes = axes_in(figure)
    overlay(axes, lines, best)
    across = finite_range(*[line.x[line.x > 0] for line in lines]) or (20.0, 20000.0)
    frequency_axis(axes, *across)
    _level_limits(axes, lines)
    axes.set_ylabel(f"level ({unit})")
    _mark(axes, limits or {})
    note_cones(axes, lines, best)


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
    inside = [(at, name) for name, at in limits.items() if np.isfinite(at) and low <= at <= high]
    ends: list[float] = []  # how far the words of each row reach
    for at, name in sorted(inside):
        axes.axvline(at, color=LIGHT["ink"], linewidth=0.9, linestyle=(0, (3, 2)), zorder=5)
        words = f"{name} {hertz(at, unit=True)}"
        share = float(np.log(at / low) / np.log(high / low))
        width = _LETTER * len(words)
        start = share - width if share > 0.5 else share
        row = next((place for place, end in enumerate(ends) if end < start), len(ends))
        ends[row : row + 1] = [start + width]
        axes.annotate(
            words,
            (at, 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(-2 if share > 0.5 else 2, 2 + 10 * row),
            textcoords="offset points",
            ha="right" if share > 0.5 else "left",
            va="bottom",
            fontsize=TYPE,
            color=LIGHT["ink"],
        )
