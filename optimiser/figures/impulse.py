"""Picture: an impulse response, its envelope and the 5 % line."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from matplotlib.figure import Figure, FigureBase

from optimiser.figures.overlay import Line, note_cones, overlay, thin
from optimiser.figures.style import LIGHT, TYPE, Floats, axes_in, empty, new_figure, plain

__all__ = ["draw_impulse", "envelopes_panel", "impulse_panel"]

_FLOOR = -50.0  # dB of the peak: what lies lower is not shown


def draw_impulse(
    line: Line | None,
    envelope: Floats | None = None,
    *,
    decay_ms: float = float("nan"),
    share: float = 0.05,
) -> Figure:
    """Draw an impulse response against the time since its peak.

    Parameters
    ----------
    line : Line or None
        Time in ms and amplitude (any scale; drawn as a share of the largest).
    envelope : numpy.ndarray, shape (n,), optional
        Magnitude of the analytic signal at the same times.
    decay_ms : float, optional
        Time from the peak to the envelope's last crossing of the line; NaN if it was not found.
    share : float, optional
        Height of the line as a share of the peak.

    Returns
    -------
    matplotlib.figure.Figure
    """
    if line is None or not np.any(np.abs(line.y) > 0):
        return empty("No impulse response has been measured yet.")
    figure = new_figure(2.5)
    impulse_panel(figure, line, envelope, decay_ms=decay_ms, share=share)
    return figure


def impulse_panel(
    figure: FigureBase,
    line: Line,
    envelope: Floats | None = None,
    *,
    decay_ms: float = float("nan"),
    share: float = 0.05,
) -> None:
    """Draw an impulse response into a part of a picture; see `draw_impulse`."""
    axes = axes_in(figure)
    largest = int(np.nanargmax(np.abs(line.y)))
    scale = float(np.abs(line.y[largest]))
    time = line.x - line.x[largest]
    end = 1.6 * decay_ms if np.isfinite(decay_ms) and decay_ms > 0 else time[-1]
    end = float(min(end, time[-1])) or 1.0
    begin = float(max(time[0], -0.08 * end))
    seen = (time >= begin) & (time <= end)
    axes.plot(
        *thin(time[seen], line.y[seen] / scale, most=2000, log=False),
        color=LIGHT["sea"],
        linewidth=0.9,
        label="impulse response",
    )
    if envelope is not None:
        for sign in (1, -1):
            axes.plot(
                *thin(time[seen], sign * envelope[seen] / scale, most=2000, log=False),
                color=LIGHT["lead"],
                linewidth=1.1,
                label="envelope" if sign == 1 else None,
            )
    for sign in (1, -1):
        axes.axhline(
            sign * share,
            color=LIGHT["ink"],
            linewidth=0.8,
            linestyle=(0, (3, 2)),
            label=f"{100 * share:g} % of the peak" if sign == 1 else None,
        )
    if np.isfinite(decay_ms):
        axes.axvline(decay_ms, color=LIGHT["ink"], linewidth=1.1, linestyle=":")
        axes.annotate(
            f"{decay_ms:.3g} ms",
            (decay_ms, 0.04),
            xycoords=("data", "axes fraction"),
            xytext=(3, 0),
            textcoords="offset points",
            fontsize=TYPE,
            color=LIGHT["ink"],
        )
    axes.set_xlim(begin, end)
    axes.set_ylim(-1.25, 1.25)
    axes.set_xlabel("time since the peak (ms)")
    axes.set_ylabel("share of the peak")
    figure.legend(
        loc="outside lower left",
        ncols=3,
        fontsize=TYPE,
        frameon=False,
        handlelength=1.2,
        labelcolor=LIGHT["ink"],
        columnspacing=1.2,
        borderpad=0,
    )
    if line.name:
        axes.set_title(plain(line.name, 40), fontsize=TYPE + 0.5, loc="left", color=LIGHT["ink"])


def envelopes_panel(
    figure: FigureBase, impulses: Sequence[tuple[Line, Floats]], *, share: float = 0.05
) -> None:
    """Lay the envelopes of several impulse responses over each other, as levels.

    Parameters
    ----------
    figure : matplotlib.figure.FigureBase
        The picture or a part of one.
    impulses : sequence of (Line, numpy.ndarray)
        Time in ms and amplitude, and the envelope at the same times.
    share : float, optional
        Height of the line as a share of the peak.
    """
    axes = axes_in(figure)
    lines = [_level(line, envelope) for line, envelope in impulses]
    end = max(_last(line, _FLOOR) for line in lines)
    lines = [
        Line(line.x[seen], line.y[seen], line.cone, line.label)
        for line in lines
        for seen in [(line.x >= -0.08 * end) & (line.x <= end)]
    ]
    overlay(axes, lines, None, log=False)
    at = 20 * math.log10(share)
    axes.axhline(at, color=LIGHT["ink"], linewidth=0.8, linestyle=(0, (3, 2)))
    axes.annotate(
        f"{100 * share:g} % of the peak",
        (1.0, at),
        xycoords=("axes fraction", "data"),
        xytext=(-2, 2),
        textcoords="offset points",
        ha="right",
        fontsize=TYPE,
        color=LIGHT["ink"],
    )
    axes.set_xlim(-0.08 * end, end)
    # Room for the names below the curves.
    axes.set_ylim(_FLOOR - 6.0 * min(len(lines), 4), 3.0)
    axes.set_xlabel("time since the peak (ms)")
    axes.set_ylabel("envelope (dB re its peak)")
    note_cones(axes, lines, None)


def _level(line: Line, envelope: Floats) -> Line:
    """Give an envelope in dB re the largest magnitude, over the time since it."""
    largest = int(np.nanargmax(np.abs(line.y)))
    size = envelope / float(np.abs(line.y[largest]))
    level = 20 * np.log10(np.maximum(size, 10 ** ((_FLOOR - 20) / 20)))
    return Line(line.x - line.x[largest], level, line.cone, line.label)


def _last(line: Line, floor: float) -> float:
    """Time at which a level was last over the floor, ms."""
    over = line.x[line.y >= floor]
    return float(over[-1]) if over.size and over[-1] > 0 else float(line.x[-1])
