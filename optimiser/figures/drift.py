"""Picture: the reference cone's readings from session to session, with their limits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from optimiser.control_chart import LEAST_READINGS
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
from optimiser.uncertainty import Chart, Drift, Offset

__all__ = ["draw_drift"]

_MOST_NAMES = 8


def draw_drift(answer: Drift, *, labels: Mapping[str, str] | None = None) -> Figure:
    """Draw one strip a metric over the sessions in order.

    Dots are the reference cone's readings, the dashed lines its control limits (from five
    sessions on), diamonds readings that left them; bars are the offsets of the mixed model, from
    every cone heard in several sessions, with their 90 % intervals. Without a reference cone the
    bars stand alone.

    Parameters
    ----------
    answer : Drift
        The answer to draw.
    labels : mapping of str to str, optional
        Words for names.

    Returns
    -------
    matplotlib.figure.Figure
    """
    sessions = [sitting.session for sitting in answer.sittings]
    strips = _strips(answer)
    if not strips:
        return empty(
            "No drift to draw: no cone was heard in two sessions. Measure the reference cone "
            "in each."
        )
    figure = new_figure(1.15 + 0.86 * len(strips))
    grid = figure.subplots(len(strips), 1, sharex=True, squeeze=False)[:, 0]
    for axes, (name, unit, chart) in zip(grid, strips, strict=True):
        tune(axes)
        bars = [each for each in answer.offsets if each.metric == name and each.offset.known]
        _bars(axes, sessions, bars, chart)
        if chart is not None:
            _readings(axes, sessions, chart)
        else:
            axes.axhline(0, color=LIGHT["ink"], linewidth=0.8)
        axes.yaxis.set_major_locator(round_ticks(3))
        axes.margins(y=0.14)
        title = label_of(name, labels)
        axes.set_title(
            f"{title} ({plain(unit, 12)})" if unit else title,
            loc="left",
            fontsize=TYPE,
            color=LIGHT["ink"],
            pad=2,
        )
    _name_sessions(grid[-1], sessions)
    heading(figure, _head(answer))
    return figure


def _strips(answer: Drift) -> list[tuple[str, str, Chart | None]]:
    """Give each strip's metric, unit and chart; charts where there are any, else offsets."""
    if answer.charts:
        return [(chart.metric, chart.unit, chart) for chart in answer.charts]
    known = {
        each.metric: "% of value" if each.relative else each.unit
        for each in answer.offsets
        if each.offset.known
    }
    return [(metric, unit, None) for metric, unit in known.items()]


def _bars(axes: Axes, sessions: Sequence[str], bars: list[Offset], chart: Chart | None) -> None:
    """Draw the offsets' intervals around the readings of the usual sessions, or around zero."""
    usual = {bar.session for bar in bars if bar.usual}
    pairs = zip(chart.sessions, chart.values, strict=True) if chart is not None else ()
    values = [value for session, value in pairs if session in usual]
    centre = float(np.mean(values)) if values else chart.centre if chart is not None else 0.0
    for bar in bars:
        ends = np.array([bar.offset.low, bar.offset.mean, bar.offset.high])
        if chart is not None:
            ends = centre * (1 + ends / 100) if bar.relative else centre + ends
        at = sessions.index(bar.session)
        axes.plot(
            [at, at],
            ends[[0, 2]],
            color=LIGHT["straw"],
            linewidth=5,
            alpha=0.55,
            solid_capstyle="butt",
            zorder=2,
        )
        axes.plot([at - 0.1, at + 0.1], ends[[1, 1]], color=LIGHT["ink"], linewidth=1.0, zorder=3)


def _readings(axes: Axes, sessions: Sequence[str], chart: Chart) -> None:
    """Draw the reference cone's readings, centre and limits."""
    at = np.array([sessions.index(session) for session in chart.sessions])
    values = np.array(chart.values)
    axes.axhline(chart.centre, color=LIGHT["quiet"], linewidth=0.8, zorder=1)
    if len(values) >= LEAST_READINGS:
        for limit in (chart.low, chart.high):
            axes.axhline(limit, color=LIGHT["sea"], linewidth=0.9, linestyle=(0, (4, 3)), zorder=1)
    axes.plot(at, values, color=LIGHT["sea"], linewidth=0.9, zorder=4)
    moved = np.array(chart.moved, dtype=bool)
    axes.plot(at[~moved], values[~moved], "o", color=LIGHT["sea"], markersize=4, zorder=5)
    axes.plot(at[moved], values[moved], "D", color=LIGHT["lead"], markersize=6, zorder=6)


def _name_sessions(axes: Axes, sessions: Sequence[str]) -> None:
    """Name the sessions along the lowest strip, some of them where they are many."""
    step = -(-len(sessions) // _MOST_NAMES)
    places = list(range(0, len(sessions), step))
    axes.set_xlim(-0.5, len(sessions) - 0.5)
    axes.set_xticks(
        places,
        [plain(sessions[place], 14) for place in places],
        rotation=30,
        ha="right",
        rotation_mode="anchor",
    )
    axes.set_xlabel("session")


def _head(answer: Drift) -> str:
    """Say what is seen and which cones carry it."""
    if not answer.charts:
        heard = f"{cones_text(answer.cones)} heard in several sessions"
        return f"Session offsets, 90 % intervals; {heard}"
    most = max(len(chart.values) for chart in answer.charts)
    limits = "; dashed: limits" if most >= LEAST_READINGS else ", too few for limits"
    return (
        f"Reference cone {answer.reference} in {most} sessions{limits}; "
        f"bars: session offsets, {cones_text(answer.cones)}, 90 %"
    )
