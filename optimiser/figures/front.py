"""Picture: the front between metrics that pull apart."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from matplotlib.patheffects import withStroke

from experiments.plan import Metric
from optimiser.answers import Estimate, Front, Member
from optimiser.figures.style import (
    LIGHT,
    TYPE,
    Floats,
    axis_label,
    cones_text,
    empty,
    heading,
    label_of,
    new_figure,
    plain,
    round_ticks,
    tune,
)
from optimiser.hypervolume import undominated

__all__ = ["draw_front"]

_LIKELY, _POSSIBLE = 0.5, 0.05  # chances of being on the front
_NAMED = 12  # cones that are named at most
_SAME = 0.04  # share of the way from poor to good within which they are named together


def draw_front(
    answer: Front, metrics: Mapping[str, Metric], *, labels: Mapping[str, str] | None = None
) -> Figure:
    """Draw the measured recipes in two traded metrics, or in the three pairs of three.

    Parameters
    ----------
    answer : Front
        The answer to draw.
    metrics : mapping of str to Metric
        The plan's metrics: poor, good and unit.
    labels : mapping of str to str, optional
        Words for names.

    Returns
    -------
    matplotlib.figure.Figure
    """
    if not answer.members:
        return empty(
            f"No front: {cones_text(answer.cones)} cannot tell where it lies. Measure more cones."
        )
    pairs = list(combinations(answer.metrics, 2))
    figure = new_figure(3.1 if len(pairs) == 1 else 0.5 + 2.3 * len(pairs))
    panels = figure.subplots(len(pairs), 1, squeeze=False)[:, 0]
    every = [[_Side(metrics[name], name) for name in pair] for pair in pairs]
    for axes, sides in zip(panels, every, strict=True):
        _panel(tune(axes), answer.members, sides, whole=len(pairs) == 1)
        for side, name in zip(sides, (axes.set_xlabel, axes.set_ylabel), strict=True):
            name(side.title(labels), fontsize=TYPE, color=LIGHT["ink"])
    shaded = "; shaded: what the front covers" if len(pairs) == 1 else ""
    heading(
        figure,
        "Diamonds: on the front with probability 50 % or more; rings: 5 % or more; bars: 90 %"
        f"{shaded}; {cones_text(answer.cones)}",
    )
    figure.draw_without_rendering()
    for axes, sides in zip(panels, every, strict=True):
        _names(axes, answer.members, sides)
    return figure


@dataclass(frozen=True)
class _Side:
    """One metric as an axis: in its unit, or a target's position from poor (0) to good (1)."""

    metric: Metric
    name: str

    @property
    def target(self) -> bool:
        return self.metric.goal == "target"

    @property
    def ends(self) -> tuple[float, float]:
        """Poor and good."""
        if self.target or self.metric.good is None:
            return 0.0, 1.0
        assert isinstance(self.metric.poor, float)
        return self.metric.poor, self.metric.good

    def value(self, member: Member) -> Estimate:
        return (member.positions if self.target else member.expected)[self.name]

    def at(self, positions: Floats) -> Floats:
        """Put positions between poor (0) and good (1) on the axis."""
        poor, good = self.ends
        return poor + positions * (good - poor)

    def title(self, labels: Mapping[str, str] | None) -> str:
        if self.target:
            return f"{label_of(self.name, labels)}\n(0 poor, 1 on target)"
        return axis_label(self.name, self.metric.unit, labels, width=24)


def _panel(axes: Axes, members: Sequence[Member], sides: list[_Side], *, whole: bool) -> None:
    """Draw one pair of metrics."""
    _box(axes, sides)
    if whole:
        _covered(axes, members, sides)
    looks = [
        (0.0, {"fmt": ".", "color": LIGHT["quiet"], "markersize": 4}),
        (_POSSIBLE, {"fmt": "o", "color": LIGHT["sea"], "markersize": 4.5, "mfc": LIGHT["paper"]}),
        (_LIKELY, {"fmt": "D", "color": LIGHT["lead"], "markersize": 4.5}),
    ]
    for place, (least, look) in enumerate(looks):
        most = looks[place + 1][0] if place + 1 < len(looks) else np.inf
        some = [each for each in members if least <= each.chance < most]
        if some:
            x, y = (_spans([side.value(each) for each in some]) for side in sides)
            axes.errorbar(
                x[0], y[0], xerr=x[1:], yerr=y[1:], elinewidth=0.7, zorder=3 + place,
                **look,  # type: ignore[arg-type]
            )  # fmt: skip
    axes.margins(0.08, 0.13)
    axes.xaxis.set_major_locator(round_ticks(5))
    axes.yaxis.set_major_locator(round_ticks(5))


def _names(axes: Axes, members: Sequence[Member], sides: list[_Side]) -> None:
    """Name the cones on the good side of the front, where few are; those in one place together.

    A name keeps clear of every mark and every other name; where there is no room it is left out.
    The picture has to be laid out before.
    """
    right, above = (side.ends[1] > side.ends[0] for side in sides)
    every = np.array([[side.value(each).mean for side in sides] for each in members])
    likely = [each for each in members if each.chance >= _LIKELY][:_NAMED]
    means = np.array([[side.value(each).mean for side in sides] for each in likely])
    widths = np.array([np.ptp(side.ends) for side in sides])
    room = _Room(axes, every)
    named = np.zeros(len(means), dtype=bool)
    for place, mean in enumerate(means):
        if named[place]:
            continue
        same = (np.abs(means - mean) < _SAME * widths).all(axis=1) & ~named
        named |= same
        words = plain(", ".join(m.cones[0] for m, at in zip(likely, same, strict=True) if at))
        free = room.free(mean, words, right=right, above=above)
        if free is None:
            continue
        (x, y), (ha, va) = free
        text = axes.annotate(
            words, (mean[0], mean[1]), xytext=(x, y), textcoords="offset points", ha=ha, va=va,
            fontsize=TYPE - 0.5, color=LIGHT["ink"], zorder=8,
            # A rim of paper, so that bars may cross behind a name.
            path_effects=[withStroke(linewidth=2.5, foreground=LIGHT["paper"])],
        )  # fmt: skip
        text.set_in_layout(False)


class _Room:
    """Which places of a panel are taken, in points; marks first, then the names put there."""

    def __init__(self, axes: Axes, means: Floats) -> None:
        self._axes = axes
        self._taken = [(x - 2.5, y - 2.5, x + 2.5, y + 2.5) for x, y in self._points(means)]
        box = axes.get_window_extent()
        self._frame = [each * 72 / axes.figure.dpi for each in (box.x0, box.y0, box.x1, box.y1)]

    def _points(self, means: Floats) -> Floats:
        return np.asarray(self._axes.transData.transform(means)) * 72 / self._axes.figure.dpi

    def free(
        self, mean: Floats, words: str, *, right: bool, above: bool
    ) -> tuple[tuple[float, float], tuple[str, str]] | None:
        """Give offset and alignment of the first free place about a mark, good sides first."""
        (x, y), (width, height) = self._points(mean[None])[0], (0.58 * TYPE * len(words), TYPE)
        for up in (above, not above):
            for side in (right, not right):
                left = x + 4 if side else x - 4 - width
                low = y + 3 if up else y - 3 - height
                box = (left, low, left + width, low + height)
                if self._clear(box):
                    self._taken.append(box)
                    align = ("left" if side else "right", "bottom" if up else "top")
                    return (4.0 if side else -4.0, 3.0 if up else -3.0), align
        return None

    def _clear(self, box: tuple[float, float, float, float]) -> bool:
        x0, y0, x1, y1 = self._frame
        inside = x0 <= box[0] and y0 <= box[1] and box[2] <= x1 and box[3] <= y1
        return inside and not any(
            box[0] < b[2] and b[0] < box[2] and box[1] < b[3] and b[1] < box[3]
            for b in self._taken
        )


def _box(axes: Axes, sides: list[_Side]) -> None:
    """Draw the box from poor to good, and name its two corners."""
    (left, right), (low, high) = (side.ends for side in sides)
    axes.add_patch(
        Rectangle(
            (left, low), right - left, high - low, fill=False, edgecolor=LIGHT["quiet"],
            linewidth=0.9, linestyle=(0, (4, 3)), zorder=1,
        )
    )  # fmt: skip
    axes.plot([left, right], [low, high], linestyle="none", marker="")  # the limits take it in
    for x, y, word in ((left, low, "poor"), (right, high, "good")):
        rightmost, topmost = x == max(left, right), y == max(low, high)
        axes.annotate(
            word,
            (x, y),
            xytext=(0, 2 if topmost else -2),
            textcoords="offset points",
            ha="right" if rightmost else "left",
            va="bottom" if topmost else "top",
            fontsize=TYPE - 0.5,
            color=LIGHT["soft"],
        )


def _covered(axes: Axes, members: Sequence[Member], sides: list[_Side]) -> None:
    """Draw the front of the expected values as a staircase, and shade what it covers."""
    means = np.array([[side.value(each).mean for side in sides] for each in members])
    poor, good = np.array([side.ends for side in sides]).T
    rises = (means - poor) / (good - poor)
    rises = rises[undominated(rises[None])[0] & (rises > 0).all(axis=1)]
    if not len(rises):
        return
    across, up = rises[np.argsort(rises[:, 0])].T
    x = sides[0].at(np.concatenate([[0.0], np.repeat(across, 2)]))
    y = sides[1].at(np.concatenate([np.repeat(up, 2), [0.0]]))
    axes.fill_between(x, sides[1].ends[0], y, color=LIGHT["straw"], alpha=0.22, linewidth=0)
    axes.plot(x, y, color=LIGHT["straw"], linewidth=1.4, zorder=2)


def _spans(column: Sequence[Estimate]) -> Floats:
    """Give means and the lengths of the bars to either side, (3, n)."""
    mean, low, high = np.array([[e.mean, e.low, e.high] for e in column]).T
    return np.stack([mean, np.maximum(mean - low, 0.0), np.maximum(high - mean, 0.0)])
