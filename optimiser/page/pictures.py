"""Pictures inside a page: no inline style, the values to read off, and the data to take along."""

from __future__ import annotations

import csv
import io
import json
import re
from dataclasses import dataclass, field

import numpy as np
from markupsafe import Markup
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from experiments.exchange.cells import disarm
from optimiser import figures
from optimiser.page.series import Series, band_series, drawn_series

__all__ = ["Picture", "picture"]

MOST_POINTS = 1500
"""Points of a picture whose values the page can tell."""


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
    alone : bool
        Whether the drawing can do without the page's style sheet, as a file of its own.
    """

    key: str
    svg: Markup
    caption: str
    points: str = "[]"
    series: list[Series] = field(default_factory=list, repr=False)
    alone: bool = False

    def file(self) -> str:
        """Write the drawing as a file, in its printed colours."""
        return re.sub(r"var\(--fig-[\w-]+, ?(#?\w+)\)", r"\1", self.svg)

    def csv(self) -> str:
        """Write the data as a table, one row a point."""
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\r\n")
        for series in self.series:
            heads = ("series", series.across or "x", series.up or "y")
            writer.writerow([disarm(each) for each in heads])
            sides = [
                [_cell(value) for value in values] if words is None else map(disarm, words)
                for values, words in ((series.x, series.x_words), (series.y, series.y_words))
            ]
            for x, y in zip(*sides, strict=True):
                writer.writerow([disarm(series.name), x, y])
        return out.getvalue()


def _cell(value: float) -> str:
    return f"{value:.6g}" if value == value else ""


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
    found = list(drawn_series(figure))
    points = _points(figure, found)
    # What matplotlib drew holds no text of the user's unescaped, and what `to_inline_svg` adds is
    # escaped there.
    svg = Markup(_without_style(drawn))
    series = [*(each for _, each in found), *band_series(figure)]
    return Picture(key, svg, caption, points, series, alone=True)


def _without_style(svg: str) -> str:
    """Write styles as attributes of their own, which a strict policy allows."""
    svg = re.sub(r"<style.*?</style>", "", svg, flags=re.DOTALL)
    svg = re.sub(r'(?<=\s)style="([^"]*)"', _attributes, svg)
    # What the style sheet said for all of matplotlib's elements; it is inherited.
    return svg.replace("<svg ", '<svg stroke-linejoin="round" stroke-linecap="butt" ', 1)


def _attributes(match: re.Match[str]) -> str:
    pairs = (pair.partition(":") for pair in match[1].split(";") if pair.strip())
    return " ".join(f'{name.strip()}="{value.strip()}"' for name, _, value in pairs)


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
        texts = series.texts()
        points = [
            [
                round(float(places[one, 0]), 1),
                round(height - float(places[one, 1]), 1),
                *texts[one],
            ]
            for one in kept
        ]
        if points:
            told.append({"name": series.name, "points": points})
    return json.dumps(told, ensure_ascii=False, separators=(",", ":"))
