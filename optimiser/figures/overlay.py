"""Many curves in one frame: the one that matters in front, the others quiet behind it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes

from optimiser.figures.style import LIGHT, TYPE, Floats, plain

__all__ = ["Line", "note_cones", "overlay", "thin"]


@dataclass(frozen=True)
class Line:
    """One measured curve.

    Parameters
    ----------
    x, y : numpy.ndarray, shape (n,)
        Frequency in Hz or time in ms, and level in dB, distortion in % or amplitude.
    cone : int or None
        The cone's number; None for a file that belongs to no experiment.
    label : str
        What to call it where there is no number.
    """

    x: Floats
    y: Floats
    cone: int | None = None
    label: str = ""

    @property
    def name(self) -> str:
        """The curve's name in the picture."""
        return f"cone {self.cone}" if self.cone is not None else self.label


def thin(x: Floats, y: Floats, *, most: int = 1200, log: bool = True) -> tuple[Floats, Floats]:
    """Reduce a curve to what a picture can show, keeping each bin's lowest and highest point.

    Parameters
    ----------
    x, y : numpy.ndarray, shape (n,)
        The curve, x rising; not changed if n <= `most`.
    most : int, optional
        About how many points may stay.
    log : bool, optional
        Whether bins are even in log x.
    """
    keep = np.isfinite(x) & np.isfinite(y) & ((x > 0) | (not log))
    x, y = x[keep], y[keep]
    if x.size <= most:
        return x, y
    place = np.log(x) if log else x
    edges = np.linspace(place[0], place[-1], most // 2 + 1)
    starts = np.unique(np.searchsorted(place, edges[:-1]))
    bins = np.searchsorted(starts, np.arange(x.size), side="right")
    order = np.lexsort((y, bins))
    firsts = np.flatnonzero(np.diff(bins[order], prepend=-1))
    lasts = np.append(firsts[1:] - 1, x.size - 1)
    kept = np.unique(np.concatenate([order[firsts], order[lasts]]))
    return x[kept], y[kept]


def overlay(axes: Axes, lines: Sequence[Line], best: int | None, *, log: bool = True) -> None:
    """Draw the curves: the best cone's thick and in front, single curves in blue, others quiet."""
    alone = len(lines) == 1
    for line in lines:
        front = alone or (best is not None and line.cone == best)
        x, y = thin(line.x, line.y, most=1200 if front else 400, log=log)
        if best is not None and line.cone == best:
            axes.plot(x, y, color=LIGHT["lead"], linewidth=1.6, zorder=4)
        elif alone:
            axes.plot(x, y, color=LIGHT["sea"], linewidth=1.4, zorder=3)
        else:
            axes.plot(x, y, color=LIGHT["quiet"], linewidth=0.7, alpha=0.8, zorder=2)


def note_cones(axes: Axes, lines: Sequence[Line], best: int | None, *, at: str = "low") -> None:
    """Write which line is which, in the corner that curves seldom reach."""
    others = {line.name for line in lines if best is None or line.cone != best}
    words: list[tuple[str, str, str]] = []
    if best is not None and any(line.cone == best for line in lines):
        words.append((f"cone {best}, the best so far", LIGHT["lead"], "bold"))
    if len(lines) == 1 and not words:
        words.append((plain(lines[0].name, 40), LIGHT["sea"], "bold"))
    elif others:
        number = f"{len(others)} other" if words else f"{len(others)}"
        noun = "curve" if any(line.cone is None for line in lines) else "cone"
        words.append(
            (f"{number} {noun}{'' if len(others) == 1 else 's'}", LIGHT["soft"], "normal")
        )
    y, step = (0.04, 0.085) if at == "low" else (0.96 - 0.085 * len(words), 0.085)
    for index, (text, colour, weight) in enumerate(reversed(words)):
        axes.text(
            0.03,
            y + step * index,
            text,
            transform=axes.transAxes,
            fontsize=TYPE,
            color=colour,
            fontweight=weight,
            zorder=6,
            bbox={"facecolor": LIGHT["paper"], "edgecolor": "none", "pad": 1.0, "alpha": 0.85},
        )
