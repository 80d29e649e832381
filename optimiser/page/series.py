"""What a figure shows, read back from it: the values to tell, and the data to take along."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.axis import Axis
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.container import BarContainer
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from matplotlib.ticker import FixedLocator

from optimiser import wording
from optimiser.figures.style import Floats

__all__ = ["Series", "band_series", "drawn_series", "tell_value"]


@dataclass(frozen=True)
class Series:
    """One curve or cloud of a picture.

    Parameters
    ----------
    name, across, up : str
        What it is, and what its axes are, with their units.
    x, y : numpy.ndarray, shape (n,)
        In the units of the axes.
    x_words, y_words : list of str, optional
        What stands at these places on an axis of words, such as levels or sessions.
    """

    name: str
    across: str
    up: str
    x: Floats
    y: Floats
    x_words: list[str] | None = None
    y_words: list[str] | None = None

    def texts(self) -> list[tuple[str, str]]:
        """Tell each point, with the names and units of the axes."""
        sides = []
        for axis, values, words in (
            (self.across, self.x, self.x_words),
            (self.up, self.y, self.y_words),
        ):
            if words is not None:
                sides.append([f"{axis} {word}".strip() for word in words])
            else:
                sides.append([tell_value(axis, float(value)) if axis else "" for value in values])
        return list(zip(*sides, strict=True))


def drawn_series(figure: Figure) -> Iterator[tuple[Axes, Series]]:
    """Give every line, cloud and bar that stands on the axes' own scales."""
    for axes in figure.axes:
        across, up = _axis_names(axes)
        for label, x, y in _shapes(axes):
            words = (_on_words(axes.xaxis, x), _on_words(axes.yaxis, y))
            yield axes, Series(_name(label), across, up, x, y, *words)


def _shapes(axes: Axes) -> Iterator[tuple[object, Floats, Floats]]:
    """Give label and points of each; of a bar its end."""
    for line in axes.get_lines():
        if line.get_transform() == axes.transData:
            x, y = (np.asarray(each, dtype=float) for each in line.get_data(orig=False))
            yield line.get_label(), x, y
    for cloud in axes.collections:
        places = np.asarray(cloud.get_offsets(), dtype=float)
        if cloud.get_offset_transform() == axes.transData and len(places):
            yield cloud.get_label(), places[:, 0], places[:, 1]
    for bars in axes.containers:
        if isinstance(bars, BarContainer):
            boxes = [bar.get_bbox() for bar in bars]
            lying = bars.orientation == "horizontal"
            ends = [(box.x1, (box.y0 + box.y1) / 2) if lying else ((box.x0 + box.x1) / 2, box.y1)
                    for box in boxes]  # fmt: skip
            yield bars.get_label(), *np.array(ends, dtype=float).reshape(-1, 2).T


def band_series(figure: Figure) -> Iterator[Series]:
    """Give the ends of every shaded band, interval bar and marked range, to take along as data."""
    for axes in figure.axes:
        across, up = _axis_names(axes)
        for what, lows, highs in (*_bars(axes), *_ranges(axes)):
            for name, (x, y) in (("low", lows.T), ("high", highs.T)):
                words = (_on_words(axes.xaxis, x), _on_words(axes.yaxis, y))
                yield Series(f"{name} end of the {what}", across, up, x, y, *words)
        for band in axes.collections:
            if not isinstance(band, PolyCollection):
                continue
            corners = np.concatenate([np.zeros((0, 2)), *(p.vertices for p in band.get_paths())])
            x = np.unique(corners[:, 0])
            rows = [corners[corners[:, 0] == each, 1] for each in x]
            for name, end in (("low", np.min), ("high", np.max)):
                y = np.array([end(row) for row in rows])
                yield Series(f"{name} end of the band", across, up, x, y)


def _bars(axes: Axes) -> Iterator[tuple[str, Floats, Floats]]:
    """Give the ends of interval bars, upright or lying, a collection at a time."""
    for bars in axes.collections:
        if not isinstance(bars, LineCollection) or bars.get_transform() != axes.transData:
            continue
        ends = [np.asarray(each, dtype=float) for each in bars.get_segments()]
        ends = [each[np.lexsort(each.T)] for each in ends if each.shape == (2, 2)]
        if ends:
            yield "interval", *np.stack(ends, axis=1)


def _ranges(axes: Axes) -> Iterator[tuple[str, Floats, Floats]]:
    """Give the ends of ranges that are marked across the whole of a panel."""
    for patch in axes.patches:
        if not isinstance(patch, Rectangle):
            continue
        box, unknown = patch.get_bbox(), math.nan
        if patch.get_data_transform() == axes.get_xaxis_transform(which="grid"):
            yield "marked range", np.array([[box.x0, unknown]]), np.array([[box.x1, unknown]])
        elif patch.get_data_transform() == axes.get_yaxis_transform(which="grid"):
            yield "marked range", np.array([[unknown, box.y0]]), np.array([[unknown, box.y1]])


def _axis_names(axes: Axes) -> tuple[str, str]:
    """Say what the axes of a panel are; names may stand beside another panel, or above this one.

    Returns
    -------
    tuple of str
        Across and up, with units; empty for an axis that measures nothing.
    """
    across, up = (_words(each) for each in (axes.get_xlabel(), axes.get_ylabel()))
    title = _words(axes.get_title(loc="left"))
    below = axes.get_shared_x_axes().get_siblings(axes)
    across = across or next((_words(each.get_xlabel()) for each in below if each.get_xlabel()), "")
    if not len(axes.get_yticks()):
        return across or title, up
    if up or _on_words(axes.yaxis, np.zeros(1)):
        return across, up
    spec = axes.get_subplotspec()
    row = [
        each
        for each in axes.figure.axes
        if spec is not None and (own := each.get_subplotspec()) is not None
        and own.get_gridspec() is spec.get_gridspec() and own.rowspan == spec.rowspan
    ]  # fmt: skip
    return across, next((_words(each.get_ylabel()) for each in row if each.get_ylabel()), title)


def _on_words(axis: Axis, values: Floats) -> list[str] | None:
    """Give the words nearest to places on an axis whose ticks are words; else None."""
    if not isinstance(axis.get_major_locator(), FixedLocator) or axis.get_scale() != "linear":
        return None
    ticks = np.asarray(axis.get_majorticklocs(), dtype=float)
    words = [_words(each) for each in axis.get_major_formatter().format_ticks(list(ticks))]
    if not words or all(_is(word, tick) for word, tick in zip(words, ticks, strict=False)):
        return None
    return [
        words[int(np.argmin(np.abs(ticks - value)))] if value == value else "" for value in values
    ]


def _is(word: str, value: float) -> bool:
    """Whether a tick is written as the number that it stands at."""
    try:
        return bool(np.isclose(float(word.replace("\N{MINUS SIGN}", "-")), value))
    except ValueError:
        return False


def _name(label: object) -> str:
    """Give a label that somebody set; matplotlib's own begin with a line."""
    text = str(label)
    return "" if text.startswith("_") else _words(text)


def _words(text: str) -> str:
    return " ".join(text.split())


def tell_value(axis: str, value: float) -> str:
    """Tell a value with the name and the unit of its axis: ``frequency 577.7 Hz``."""
    found = re.fullmatch(r"(.*?)\s*\(([^()]*)\)", axis)
    name, unit = found.groups() if found else (axis, "")
    unit = "" if unit[:1].isdigit() else unit  # such as (0–1), which is a range
    return f"{name} {wording.with_unit(wording.number(value), unit)}"
