"""Picture: kept cones over time, with bands, law and limit."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from optimiser.ageing_records import Ageing, Lines, MetricAgeing
from optimiser.figures.style import (
    LIGHT,
    TYPE,
    cones_text,
    empty,
    heading,
    label_of,
    new_figure,
    plain,
    round_ticks,
    tune,
)

__all__ = ["draw_ageing"]

_TIME = {
    "light_hours": "hours of light",
    "age_days": "age (days)",
    "temperature_c": "temperature (°C)",
    "humidity_percent": "relative humidity (%)",
}
_CLIMATES = ("temperature_c", "humidity_percent")
_MARKS = "osD^vPX*"
_COLOURS = ("sea", "lead", "straw", "soft")
_MOST_NAMED = 7


def draw_ageing(answer: Ageing, *, labels: Mapping[str, str] | None = None) -> Figure:
    """Draw one strip a metric over the time that cones were kept.

    Marks are measurements, lines each cone's own value with its 90 % band, free of session and
    noise. The dashed line is the limit, or poor; beyond the dotted one nothing was heard yet.

    Parameters
    ----------
    answer : Ageing
        The answer to draw.
    labels : mapping of str to str, optional
        Words for names.

    Returns
    -------
    matplotlib.figure.Figure
    """
    shown = [(each, each.lines) for each in answer.metrics if each.lines is not None]
    climate = answer.by in _CLIMATES
    if not shown:
        return empty(
            "Nothing to draw: no cone was heard at several values of it. Measure kept cones "
            "again on warmer, colder, drier or damper days."
            if climate
            else "No ageing to draw: no cone was heard at two ages. Keep some cones and measure "
            "them again later."
        )
    figure = new_figure(1.3 + 1.3 * len(shown))
    grid = figure.subplots(len(shown), 1, sharex=True, squeeze=False)[:, 0]
    cones = list(dict.fromkeys(cone for _, lines in shown for cone in lines.cones))
    for axes, (metric, lines) in zip(grid, shown, strict=True):
        tune(axes)
        _strip(axes, metric, lines, cones, labels)
        if answer.at is not None and lines.grid[0] < answer.at <= lines.grid[-1]:
            axes.axvline(answer.at, color=LIGHT["ink"], linewidth=0.9)
        if not climate:
            axes.axvline(
                answer.longest, color=LIGHT["quiet"], linewidth=0.9, linestyle=(0, (1, 2))
            )
    grid[-1].set_xlabel(_TIME[answer.by], fontsize=TYPE, color=LIGHT["ink"])
    grid[-1].xaxis.set_major_locator(round_ticks(5))
    _name_cones(figure, cones)
    heading(
        figure,
        f"{cones_text(answer.cones)} heard at several values; lines: the cone itself without "
        "session offsets, 90 % bands"
        if climate
        else f"{cones_text(answer.cones)} heard at several ages; lines: the cone itself without "
        "session offsets, 90 % bands; dashed: limit or poor; dotted: longest time seen"
        + (f"; upright line: {answer.at:g} {answer.unit}" if answer.at is not None else ""),
    )
    return figure


def _strip(
    axes: Axes,
    metric: MetricAgeing,
    lines: Lines,
    cones: list[str],
    labels: Mapping[str, str] | None,
) -> None:
    """Draw one metric; the values seen set its scale, not the far end of a wide band."""
    for row, cone in enumerate(lines.cones):
        place = cones.index(cone)
        colour = LIGHT[_COLOURS[place % len(_COLOURS)]]
        axes.fill_between(
            lines.grid, lines.low[row], lines.high[row], color=colour, alpha=0.16, linewidth=0
        )
        axes.plot(lines.grid, lines.mean[row], color=colour, linewidth=1.1, zorder=3)
        axes.plot(
            lines.times[row],
            lines.values[row],
            _MARKS[place % len(_MARKS)],
            color=colour,
            markersize=4.2,
            zorder=4,
        )
    axes.set_ylim(*_ends(lines))
    if np.isfinite(lines.bound):
        axes.axhline(lines.bound, color=LIGHT["ink"], linewidth=0.9, linestyle=(0, (4, 3)))
    room = 0.02 * float(np.ptp(lines.grid))
    axes.set_xlim(lines.grid[0] - room, lines.grid[-1] + room)
    axes.yaxis.set_major_locator(round_ticks(4))
    title = label_of(metric.metric, labels)
    axes.set_title(
        f"{title} ({plain(lines.unit, 12)})" if lines.unit else title,
        loc="left",
        fontsize=TYPE,
        color=LIGHT["ink"],
        pad=2,
    )


def _ends(lines: Lines) -> tuple[float, float]:
    """Give the strip's ends: all that was seen and the lines, bands as far as they stay near."""
    seen = np.concatenate([*lines.values, lines.mean.ravel()])
    low, high = float(seen.min()), float(seen.max())
    room = 0.6 * (high - low) or 0.05 * abs(high) or 1.0
    low = max(low - room, min(float(lines.low.min()), low - 0.1 * room))
    high = min(high + room, max(float(lines.high.max()), high + 0.1 * room))
    span = high - low
    # A bound near what was seen is shown, one far off would flatten all else.
    if low - span < lines.bound < high + span:
        low, high = min(low, lines.bound - 0.05 * span), max(high, lines.bound + 0.05 * span)
    return low, high


def _name_cones(figure: Figure, cones: list[str]) -> None:
    """Name the cones beside their marks, below the strips."""
    marks = [
        Line2D(
            [],
            [],
            color=LIGHT[_COLOURS[place % len(_COLOURS)]],
            marker=_MARKS[place % len(_MARKS)],
            markersize=4.2,
            linewidth=1.1,
            label=plain(f"cone {cone}", 10),
        )
        for place, cone in enumerate(cones[:_MOST_NAMED])
    ]
    if len(cones) > _MOST_NAMED:
        rest = f"and {len(cones) - _MOST_NAMED} more"
        marks.append(Line2D([], [], linewidth=0, label=rest))
    figure.legend(
        handles=marks,
        loc="outside lower left",
        ncols=4,
        fontsize=TYPE,
        labelcolor=LIGHT["ink"],
        frameon=False,
        handlelength=1.4,
        columnspacing=1.0,
    )
