"""Foretold curves drawn at once, while a knob moves: an SVG written by hand, in milliseconds.

`optimiser.figures` draws better and takes a third of a second; the room where knobs are moved
has not that long.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from markupsafe import Markup, escape
from matplotlib.ticker import MaxNLocator

from optimiser import wording
from optimiser.figures.style import hertz
from optimiser.page.pictures import Picture
from optimiser.page.series import Series, tell_value
from optimiser.records.expectations import CurveBand

__all__ = ["sketch"]

Floats = npt.NDArray[np.float64]

WIDE, HIGH = 360.0, 182.0  # of the drawing, in its own units
LEFT, RIGHT, TOP, BOTTOM = 44.0, 8.0, 20.0, 34.0
POINTS = 160

TITLES = {"response": "Level", "thd": "Total harmonic distortion", "decay": "Decay"}
"""What can be drawn, and what it is called."""

_DECADES = np.array([1.0, 2.0, 5.0])


@dataclass(frozen=True)
class _Axis:
    """One axis: from data to places in the drawing."""

    low: float
    high: float
    start: float
    end: float
    log: bool

    def place(self, values: Floats) -> Floats:
        low, high = self.low, self.high
        if self.log:
            values, low, high = np.log(values), np.log(low), np.log(high)
        share = np.clip((values - low) / (high - low), 0.0, 1.0)
        return np.asarray(self.start + share * (self.end - self.start), dtype=float)

    def ticks(self, most: int) -> list[float]:
        """Give round values inside, not more than about `most`."""
        if not self.log:
            ticks = MaxNLocator(most, steps=[1, 2, 5, 10]).tick_values(self.low, self.high)
            found = np.asarray(ticks, dtype=float)
        else:
            tens = 10.0 ** np.arange(np.floor(np.log10(self.low)), np.log10(self.high) + 1)
            found = np.outer(tens, _DECADES).ravel()
            if np.sum((found >= self.low) & (found <= self.high)) > most:
                found = tens
        return [float(each) for each in found if self.low <= each <= self.high]


def sketch(name: str, band: CurveBand, pinned: CurveBand | None = None) -> Picture:
    """Draw one foretold curve with its band, and that of a pinned recipe beside it.

    Parameters
    ----------
    name : str
        ``response``, ``thd`` or ``decay``.
    band, pinned : CurveBand
        Of the recipe at hand, and of the other one if there is one.
    """
    shown = [band, *([pinned] if pinned is not None else [])]
    time, percent = name == "decay", band.unit == "%"
    across = _Axis(*_ends([each.x for each in shown]), LEFT, WIDE - RIGHT, not time)
    low, high = _ends([edge for each in shown for edge in (each.low, each.high)])
    if percent:
        low, high = max(low, 1e-3), max(high, 2e-3)
    up = _Axis(low, high, HIGH - BOTTOM, TOP, percent)
    parts = [*_grid(across, up, time=time)]
    for each, role in zip(shown, ("now", "pinned"), strict=False):
        parts.append(_drawn(each, across, up, role))
    unit = "time since the peak (ms)" if time else "frequency (Hz)"
    up_text = f"{TITLES[name].lower()} ({band.unit})"
    middle = (LEFT + WIDE - RIGHT) / 2
    parts.append(f'<text x="{middle:.0f}" y="{HIGH - 4:.0f}" text-anchor="middle">{unit}</text>')
    parts.append(f'<text x="2" y="11">{up_text}</text>')
    caption = f"{TITLES[name]} in {band.unit}: expected, with the 90 % band of one new measurement"
    caption += "; dashed: the pinned recipe" if pinned is not None else ""
    caption += f". From {wording.many(band.cones, 'cone')}."
    told = f"{caption} {_words(band, time=time)}"
    svg = (
        f'<svg class="figure sketch" viewBox="0 0 {WIDE:.0f} {HIGH:.0f}" role="img" '
        f'aria-label="{escape(told)}">{"".join(parts)}</svg>'
    )
    names = ("this recipe", "the pinned one")
    series = [
        Series(each_name, unit, up_text, each.x, each.mean)
        for each, each_name in zip(shown, names, strict=False)
    ]
    told_points = _points(series, across, up)
    series += [
        Series(f"{edge} end of the band", unit, up_text, band.x, getattr(band, edge))
        for edge in ("low", "high")
    ]
    return Picture(name, Markup(svg), caption, told_points, series)


def _ends(values: Sequence[Floats]) -> tuple[float, float]:
    known = np.concatenate([each[np.isfinite(each)] for each in values])
    if not known.size:
        return 0.0, 1.0
    low, high = float(known.min()), float(known.max())
    return (low, high) if high > low else (low - 0.5, high + 0.5)


def _grid(across: _Axis, up: _Axis, *, time: bool) -> list[str]:
    """Draw the lines of the round values, and write these."""
    parts = []
    for value in across.ticks(7):
        x = float(across.place(np.array([value]))[0])
        text = f"{value:g}" if time else hertz(value)
        parts.append(f'<path class="hair" d="M{x:.1f} {TOP}V{HIGH - BOTTOM}"/>')
        below = HIGH - BOTTOM + 13
        parts.append(f'<text x="{x:.1f}" y="{below}" text-anchor="middle">{text}</text>')
    for value in up.ticks(5):
        y = float(up.place(np.array([value]))[0])
        parts.append(f'<path class="hair" d="M{LEFT} {y:.1f}H{WIDE - RIGHT}"/>')
        parts.append(f'<text x="{LEFT - 5}" y="{y + 3.5:.1f}" text-anchor="end">{value:g}</text>')
    return parts


def _thin(band: CurveBand) -> npt.NDArray[np.intp]:
    """Give the points that are drawn: few enough, and known."""
    known = np.flatnonzero(np.isfinite(band.mean) & np.isfinite(band.low) & np.isfinite(band.high))
    return known[:: max(1, known.size // POINTS)]


def _drawn(band: CurveBand, across: _Axis, up: _Axis, role: str) -> str:
    here = _thin(band)
    x = across.place(band.x[here])
    mean = _path(x, up.place(_safe(band.mean[here], up)))
    if role == "pinned":
        return f'<path class="line pinned" d="M{mean}"/>'
    edge = _path(np.concatenate([x, x[::-1]]), np.concatenate([
        up.place(_safe(band.low[here], up)), up.place(_safe(band.high[here], up))[::-1]
    ]))  # fmt: skip
    return f'<path class="band" d="M{edge}Z"/><path class="line now" d="M{mean}"/>'


def _safe(values: Floats, up: _Axis) -> Floats:
    return np.maximum(values, up.low) if up.log else values


def _path(x: Floats, y: Floats) -> str:
    return "L".join(f"{a:.1f} {b:.1f}" for a, b in zip(x, y, strict=True))


def _points(series: Sequence[Series], across: _Axis, up: _Axis) -> str:
    """Give places and texts of points, as `optimiser.page.pictures` does."""
    told = []
    for each in series:
        here = np.flatnonzero(np.isfinite(each.y))
        here = here[:: max(1, here.size // POINTS)]
        x, y = across.place(each.x[here]), up.place(_safe(each.y[here], up))
        points = [
            [round(float(a), 1), round(float(b), 1), tell_value(each.across, float(c)),
             tell_value(each.up, float(d))]
            for a, b, c, d in zip(x, y, each.x[here], each.y[here], strict=True)
        ]  # fmt: skip
        told.append({"name": each.name, "points": points})
    return json.dumps(told, ensure_ascii=False, separators=(",", ":"))


def _words(band: CurveBand, *, time: bool) -> str:
    """Tell the course of the curve for those who cannot see it."""
    here = _thin(band)
    if not here.size:
        return "Nothing is known of it."
    top = here[int(np.argmax(band.mean[here]))]
    ends = [
        f"{wording.number(float(band.mean[place]), 1.0)} at "
        f"{f'{band.x[place]:.1f} ms' if time else hertz(float(band.x[place]), unit=True)}"
        for place in (here[0], top, here[-1])
    ]
    return f"It starts at {ends[0]}, is highest with {ends[1]} and ends at {ends[2]}."
