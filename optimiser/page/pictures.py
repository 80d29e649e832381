"""Pictures inside a page: no inline style, the values to read off, and the data to take along."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from markupsafe import Markup
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from experiments.exchange.cells import disarm
from optimiser import figures, wording
from optimiser.figures.style import Floats

__all__ = ["Picture", "Series", "picture", "tell_value"]

MOST_POINTS = 1500
"""Points of a picture whose values the page can tell."""


@dataclass(frozen=True)
class Series:
    """One curve or cloud of a picture.

    Parameters
    ----------
    name, across, up : str
        What it is, and what its axes are, with their units.
    x, y : numpy.ndarray, shape (n,)
        In the units of the axes.
    """

    name: str
    across: str
    up: str
    x: Floats
    y: Floats


@dataclass(frozen=True)
class Picture:
    """A drawn figure as a page shows it.

    Parameters
    ----------
    key : str
        Its name within the page; ``?data=KEY`` gives its data.
    svg : Markup
        The drawing.
    caption : str
        What it shows.
    points : str
        JSON: for each series its name, and points as places in the drawing and what they tell.
    series : list of Series
        What was drawn.
    """

    key: str
    svg: Markup
    caption: str
    points: str = "[]"
    series: list[Series] = field(default_factory=list, repr=False)

    def csv(self) -> str:
        """Write the data as a table, one row a point."""
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\r\n")
        for series in self.series:
            heads = ("series", series.across or "x", series.up or "y")
            writer.writerow([disarm(each) for each in heads])
            for x, y in zip(series.x, series.y, strict=True):
                writer.writerow([disarm(series.name), f"{x:.6g}", f"{y:.6g}"])
        return out.getvalue()


def picture(figure: Figure, key: str, caption: str, alternative: str = "") -> Picture:
    """Draw a figure for a page.

    Parameters
    ----------
    figure : matplotlib.figure.Figure
        From `optimiser.figures`.
    key : str
        Letters only; unique within the page.
    caption : str
        What it shows.
    alternative : str, optional
        What else a reader who cannot see it should know.

    Returns
    -------
    Picture
    """
    drawn = figures.to_inline_svg(figure, key, alternative=f"{caption} {alternative}".strip())
    found = list(_drawn(figure))
    points = _points(figure, found)
    # What matplotlib drew holds no text of the user's unescaped, and what `to_inline_svg` adds is
    # escaped there.
    svg = Markup(_without_style(drawn))
    return Picture(key, svg, caption, points, [series for _, series in found])


def _without_style(svg: str) -> str:
    """Write styles as attributes of their own, which a strict policy allows."""
    svg = re.sub(r"<style.*?</style>", "", svg, flags=re.DOTALL)
    svg = re.sub(r'(?<=\s)style="([^"]*)"', _attributes, svg)
    # What the style sheet said for all of matplotlib's elements; it is inherited.
    return svg.replace("<svg ", '<svg stroke-linejoin="round" stroke-linecap="butt" ', 1)


def _attributes(match: re.Match[str]) -> str:
    pairs = (pair.partition(":") for pair in match[1].split(";") if pair.strip())
    return " ".join(f'{name.strip()}="{value.strip()}"' for name, _, value in pairs)


def _drawn(figure: Figure) -> Iterator[tuple[Axes, Series]]:
    """Give every line and cloud that stands on the axes' own scales."""
    for axes in figure.axes:
        across, up = (_words(each) for each in (axes.get_xlabel(), axes.get_ylabel()))
        for line in axes.get_lines():
            if line.get_transform() == axes.transData:
                x, y = (np.asarray(each, dtype=float) for each in line.get_data(orig=False))
                yield axes, Series(_name(line.get_label()), across, up, x, y)
        for cloud in axes.collections:
            places = np.asarray(cloud.get_offsets(), dtype=float)
            if cloud.get_offset_transform() == axes.transData and len(places):
                yield axes, Series(_name(cloud.get_label()), across, up, *places.T)


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
    return f"{name} {wording.with_unit(wording.number(value), unit)}"


def _points(figure: Figure, drawn: list[tuple[Axes, Series]]) -> str:
    """Place the points in the drawing, whose unit is a 72nd of an inch, down from the top."""
    share = max(20, MOST_POINTS // max(1, len(drawn)))
    scale, height = 72.0 / figure.dpi, 72.0 * figure.get_figheight()
    told = []
    for axes, series in drawn:
        places = scale * axes.transData.transform(np.column_stack([series.x, series.y]))
        box = axes.get_window_extent()
        inside = np.isfinite(places).all(axis=1) & (
            (places >= scale * np.array([box.x0, box.y0]) - 1)
            & (places <= scale * np.array([box.x1, box.y1]) + 1)
        ).all(axis=1)
        kept = np.flatnonzero(inside)
        kept = kept[:: max(1, -(-kept.size // share))]
        points = [
            [
                round(float(places[one, 0]), 1),
                round(height - float(places[one, 1]), 1),
                tell_value(series.across or "x", float(series.x[one])),
                tell_value(series.up or "y", float(series.y[one])),
            ]
            for one in kept
        ]
        if points:
            told.append({"name": series.name, "points": points})
    return json.dumps(told, ensure_ascii=False, separators=(",", ":"))
