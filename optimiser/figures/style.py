"""What every picture shares: colours, sizes and axes.

Pictures are built from matplotlib's objects alone (no pyplot, no global settings), 3.5 inches
wide with 8 point type, so that they stay legible at a third of a page.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Mapping, Sequence
from functools import cache

import numpy as np
import numpy.typing as npt
from matplotlib.axes import Axes
from matplotlib.figure import Figure, FigureBase
from matplotlib.font_manager import findfont, get_font
from matplotlib.layout_engine import ConstrainedLayoutEngine
from matplotlib.ticker import FixedLocator, FuncFormatter, MaxNLocator, NullFormatter

__all__ = [
    "DARK",
    "LIGHT",
    "TYPE",
    "WIDTH",
    "Floats",
    "axes_in",
    "axis_label",
    "cones_text",
    "empty",
    "finite_range",
    "frequency_axis",
    "heading",
    "hertz",
    "label_of",
    "new_axes",
    "new_figure",
    "plain",
    "round_ticks",
    "tune",
]

Floats = npt.NDArray[np.float64]

WIDTH = 3.5  # inches: a column of a two-column page, or a phone
TYPE = 8.0  # points

# Five roles, told apart under the three kinds of colour blindness (tests/optimiser/figures
# computes it) and by line width or marker besides.
LIGHT = {
    "ink": "#22303c",
    "soft": "#5b6875",
    "quiet": "#98a4b0",
    "hair": "#dde2e7",
    "lead": "#bf4a17",
    "sea": "#14607f",
    "straw": "#d8a72b",
    "paper": "#fefefe",
}
# The same roles where the reader's page is dark; used by `to_inline_svg`.
DARK = {
    "ink": "#e4e9ee",
    "soft": "#a9b4bf",
    "quiet": "#76838f",
    "hair": "#343d46",
    "lead": "#f26a36",
    "sea": "#63b8dc",
    "straw": "#f5dc70",
    "paper": "#161b20",
}


@cache
def _drawable() -> frozenset[int]:
    """Code points that the pictures' typeface has."""
    return frozenset(get_font(findfont("DejaVu Sans")).get_charmap())


def plain(text: str, most: int = 26) -> str:
    """Make a user's text safe to draw.

    It is shortened to what fits, from the middle; a dollar sign starts no formula, and a character
    that the typeface lacks becomes a question mark.

    Parameters
    ----------
    text : str
        Any text.
    most : int, optional
        Characters at most.
    """
    words = " ".join(text.split())
    if len(words) > most:
        # Names often differ at their end alone: "coat 1", "coat 2".
        tail = (most - 1) // 3
        words = f"{words[: most - 1 - tail].rstrip()}…{words[len(words) - tail :].lstrip()}"
    known = "".join(each if ord(each) in _drawable() else "?" for each in words)
    return known.replace("$", r"\$")


def label_of(name: str, labels: Mapping[str, str] | None = None, most: int = 26) -> str:
    """Give the words shown for a name: the label if there is one, else spaces for underscores."""
    return plain((labels or {}).get(name) or name.replace("_", " "), most)


def axis_label(
    name: str,
    unit: str,
    labels: Mapping[str, str] | None = None,
    most: int = 26,
    *,
    width: int | None = None,
) -> str:
    """Give an axis title with its unit; a quantity without one is marked ``(0–1)`` if a score.

    With `width` a long title is broken into lines of so many characters, two at most.
    """
    words = label_of(name, labels, most if width is None else 2 * width - 8)
    if unit:
        words = f"{words} ({plain(unit, 14)})"
    elif name in {"score", "desirability"}:
        words = f"{words} (0–1)"
    return words if width is None else "\n".join(textwrap.wrap(words, width))


def cones_text(count: int) -> str:
    """Give ``1 cone`` or ``7 cones``."""
    return f"{count} cone" if count == 1 else f"{count} cones"


def hertz(value: float, *, unit: bool = False) -> str:
    """Write a frequency as ears know it: 100, 1k, 12.5k; or with its unit, 12.5 kHz."""
    if value >= 1000:
        return f"{value / 1000:.3g} kHz" if unit else f"{value / 1000:.4g}k"
    return f"{value:.3g} Hz" if unit else f"{value:.4g}"


def new_figure(height: float, width: float = WIDTH) -> Figure:
    """Make an empty figure of the given size in inches."""
    layout = ConstrainedLayoutEngine(w_pad=0.06, h_pad=0.05)
    return Figure(figsize=(width, height), layout=layout, facecolor=LIGHT["paper"])


def tune(axes: Axes, *, grid: str = "both") -> Axes:
    """Give axes our look: open frame, hairline grid, 8 point type."""
    axes.set_facecolor(LIGHT["paper"])
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        axes.spines[side].set_color(LIGHT["quiet"])
        axes.spines[side].set_linewidth(0.8)
    axes.tick_params(
        which="both", labelsize=TYPE, color=LIGHT["quiet"], labelcolor=LIGHT["ink"], length=2.5
    )
    axes.set_axisbelow(True)
    if grid != "none":
        axes.grid(True, axis=grid, color=LIGHT["hair"], linewidth=0.6)  # type: ignore[arg-type]
    for axis in (axes.xaxis, axes.yaxis):
        axis.label.set_fontsize(TYPE)
        axis.label.set_color(LIGHT["ink"])
        axis.get_offset_text().set_fontsize(TYPE)
    return axes


def round_ticks(most: int, *, integer: bool = False) -> MaxNLocator:
    """Give a locator of at most so many intervals between ticks of 1, 2, 2.5 or 5."""
    return MaxNLocator(most, steps=[1, 2, 2.5, 5, 10], integer=integer)


def axes_in(figure: FigureBase, *, grid: str = "both") -> Axes:
    """Put one pair of axes in our look into a figure or a part of one."""
    axes = tune(figure.add_subplot(), grid=grid)
    axes.xaxis.set_major_locator(round_ticks(5))
    axes.yaxis.set_major_locator(round_ticks(5))
    return axes


def new_axes(height: float, *, grid: str = "both", width: float = WIDTH) -> tuple[Figure, Axes]:
    """Make a figure with one pair of axes in our look."""
    figure = new_figure(height, width)
    return figure, axes_in(figure, grid=grid)


def heading(figure: Figure, text: str, *, width: int = 52) -> None:
    """Put a left-aligned line or two above the axes: what is seen and how many cones carry it."""
    held = re.sub(r"(?<=\d) (?=%|cones?\b)", "\N{NO-BREAK SPACE}", text)
    figure.suptitle(
        "\n".join(textwrap.wrap(held, width)),
        x=0.015,
        ha="left",
        fontsize=TYPE + 0.5,
        color=LIGHT["ink"],
    )


def empty(reason: str, *, height: float = 1.6) -> Figure:
    """Draw the picture that cannot be drawn: a frame that says why."""
    figure = new_figure(height)
    axes = figure.add_subplot()
    axes.set_xticks([])
    axes.set_yticks([])
    axes.set_facecolor(LIGHT["paper"])
    for spine in axes.spines.values():
        spine.set_color(LIGHT["quiet"])
        spine.set_linestyle((0, (4, 3)))
    axes.text(
        0.5,
        0.5,
        "\n".join(textwrap.wrap(reason, 44)),
        ha="center",
        va="center",
        fontsize=TYPE + 1,
        color=LIGHT["soft"],
        transform=axes.transAxes,
    )
    return figure


def _frequency_ticks(low: float, high: float) -> tuple[list[float], list[float]]:
    """Split the ticks 1, 2, 5 .. within limits into labelled ones and others."""
    decades = range(int(np.floor(np.log10(low))), int(np.ceil(np.log10(high))) + 1)
    every = [digit * 10.0**power for power in decades for digit in range(1, 10)]
    every = [tick for tick in every if low * 0.999 <= tick <= high * 1.001]
    span = np.log10(high / low)
    firsts = (1,) if span > 2.2 else (1, 2, 5)
    named = [
        tick for tick in every if round(tick / 10 ** np.floor(np.log10(tick) + 1e-9)) in firsts
    ]
    if span > 2.2:
        # Ends that are no power of ten are named too: 20, 100, 1k, 10k, 20k says the band.
        for end in (every[:1] + every[-1:]) if every else []:
            if all(abs(np.log10(end / tick)) > 0.25 for tick in named):
                named.append(end)
    if len(named) < 2:
        named = every
    if len(named) < 2:
        named = [float(tick) for tick in np.geomspace(low, high, 4)]
    return sorted(named), every


def frequency_axis(axes: Axes, low: float, high: float, *, name: bool = True) -> None:
    """Make the x axis a logarithmic frequency axis in hertz with ordinary labels (100, 1k, 10k).

    Parameters
    ----------
    axes : matplotlib.axes.Axes
        The axes to change.
    low, high : float
        Limits in Hz, 0 < low < high.
    name : bool, optional
        Whether to write the axis' title.
    """
    axes.set_xscale("log")
    axes.set_xlim(low, high)
    named, every = _frequency_ticks(low, high)
    axes.xaxis.set_major_locator(FixedLocator(named))
    axes.xaxis.set_minor_locator(FixedLocator(every))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: hertz(value)))
    axes.xaxis.set_minor_formatter(NullFormatter())
    if name:
        axes.set_xlabel("frequency (Hz)", fontsize=TYPE, color=LIGHT["ink"])


def finite_range(*arrays: Sequence[float] | Floats) -> tuple[float, float] | None:
    """Give the smallest and largest finite value, or None if there is none."""
    flat = np.concatenate([np.ravel(np.asarray(array, dtype=float)) for array in arrays])
    flat = flat[np.isfinite(flat)]
    return (float(flat.min()), float(flat.max())) if flat.size else None
