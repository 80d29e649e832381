"""Picture: what was measured against what was foretold with that cone left out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from optimiser.answers import Calibration
from optimiser.figures.style import (
    LIGHT,
    TYPE,
    Floats,
    axis_label,
    empty,
    finite_range,
    heading,
    new_figure,
    round_ticks,
    tune,
)

__all__ = ["draw_calibration"]


def draw_calibration(
    checks: Sequence[Calibration], *, labels: Mapping[str, str] | None = None
) -> Figure:
    """Draw each metric's leave-one-out check: one panel a metric, 90 % intervals.

    Parameters
    ----------
    checks : sequence of Calibration
        The checks to draw.
    labels : mapping of str to str, optional
        Words for names.

    Returns
    -------
    matplotlib.figure.Figure
    """
    checks = [check for check in checks if check.cones >= 3 and len(check.table)]
    if not checks:
        return empty("No calibration: it needs at least three measured cones.")
    columns = 1 if len(checks) == 1 else 2
    rows = -(-len(checks) // columns)
    figure = new_figure(0.6 + (2.3 if columns == 1 else 1.75) * rows)
    grid = figure.subplots(rows, columns, squeeze=False)
    for spare in grid.flat[len(checks) :]:
        spare.set_visible(False)
    for axes, check in zip(grid.flat, checks, strict=False):
        _panel(tune(axes), check, labels)
    figure.supxlabel("foretold without that cone", fontsize=TYPE, color=LIGHT["ink"])
    figure.supylabel("measured", fontsize=TYPE, color=LIGHT["ink"])
    heading(
        figure,
        "Leave one cone out, 90 % intervals; open triangles fell outside",
    )
    return figure


def _panel(axes: Axes, check: Calibration, labels: Mapping[str, str] | None) -> None:
    """Draw one metric."""
    table = check.table
    seen, mean, low, high = (
        table[key].to_numpy(float) for key in ("observed", "mean", "low", "high")
    )
    inside = (low <= seen) & (seen <= high)
    axes.set_xlim(*_roomy(mean, low, high))
    axes.set_ylim(*_roomy(seen))
    axes.axline((seen[0], seen[0]), slope=1, color=LIGHT["quiet"], linewidth=0.8, zorder=1)
    axes.hlines(seen, low, high, color=LIGHT["quiet"], linewidth=0.9, zorder=2)
    axes.plot(mean[inside], seen[inside], "o", color=LIGHT["sea"], markersize=3.2, zorder=4)
    axes.plot(
        mean[~inside],
        seen[~inside],
        "^",
        color=LIGHT["lead"],
        markerfacecolor=LIGHT["paper"],
        markersize=4.6,
        zorder=5,
    )
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_locator(round_ticks(4))
    name = axis_label(check.metric, check.unit, labels, width=24)
    axes.set_title(
        f"{name}\n{check.inside} of {check.cones} inside",
        fontsize=TYPE,
        color=LIGHT["ink"],
        loc="left",
    )


def _roomy(*arrays: Floats) -> tuple[float, float]:
    """Give limits that show every value, with some room."""
    low, high = finite_range(*arrays) or (0.0, 1.0)
    room = 0.08 * (high - low) or 0.5
    return low - room, high + room
