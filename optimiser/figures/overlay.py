"""Many curves in one frame: the one that matters in front, the others quiet behind it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes

from optimiser.figures.style import LIGHT, TYPE, Floats, plain

Dash = str | tuple[float, tuple[float, ...]]

__all__ = ["Line", "note_cones", "overlay", "thin"]

# Colour and dash of the first few curves where each is to be told from the others.
_STYLES: tuple[tuple[str, Dash], ...] = (
    (LIGHT["sea"], "-"),
    (LIGHT["lead"], (0, (5, 1.5))),
    (LIGHT["ink"], (0, (1.5, 1.2))),
    (LIGHT["straw"], (0, (6, 1.5, 1.5, 1.5))),
)


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
    """Draw the curves: the best cone's thick and in front, the others quiet behind it.

    A few curves without a best one among them each get a colour and a dash of their own.
    """
    named = _few(lines, best)
    for place, line in enumerate(lines):
        front = bool(named) or (best is not None and line.cone == best)
        x, y = thin(line.x, line.y, most=1200 if front else 400, log=log)
        if named:
            colour, dash = _STYLES[place]
            axes.plot(x, y, color=colour, linestyle=dash, linewidth=1.3, zorder=3, label=line.name)
        elif front:
            axes.plot(x, y, color=LIGHT["lead"], linewidth=1.6, zorder=4, label=line.name)
        else:
            axes.plot(
                x, y, color=LIGHT["quiet"], linewidth=0.7, alpha=0.8, zorder=2, label=line.name
            )


def _few(lines: Sequence[Line], best: int | None) -> bool:
    """Whether each curve can be shown and named by itself."""
    led = best is not None and any(line.cone == best for line in lines)
    return not led and len(lines) <= len(_STYLES)


def note_cones(axes: Axes, lines: Sequence[Line], best: int | None) -> None:
    """Write which line is which, in the corner that curves seldom reach."""
    words: list[tuple[str, str, str]] = []
    if _few(lines, best):
        words += [
            (plain(line.name, 40), colour, "bold")
            for line, (colour, _) in zip(lines, _STYLES, strict=False)
        ]
    else:
        others = sum(best is None or line.cone != best for line in lines)
        if others < len(lines):
            words.append((f"cone {best}, the best so far", LIGHT["lead"], "bold"))
        if others:
            noun = "curve" if any(line.cone is None for line in lines) else "cone"
            text = f"{others}{' other' if words else ''} {noun}{'' if others == 1 else 's'}"
            words.append((text, LIGHT["soft"], "normal"))
    for place, (text, colour, weight) in enumerate(reversed(words)):
        axes.text(
            0.03,
            0.04 + 0.085 * place,
            text,
            transform=axes.transAxes,
            fontsize=TYPE,
            color=colour,
            fontweight=weight,
            zorder=6,
            bbox={"facecolor": LIGHT["paper"], "edgecolor": "none", "pad": 1.0, "alpha": 0.85},
        )
