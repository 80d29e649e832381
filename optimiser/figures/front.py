"""Picture: the front between metrics that pull apart."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

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
    for axes, pair in zip(panels, pairs, strict=True):
        sides = [_Side(metrics[name], name) for name in pair]
        _panel(tune(axes), answer.members, sides, whole=len(pairs) == 1)
        for side, name in zip(sides, (axes.set_xlabel, axes.set_ylabel), strict=True):
            name(side.title(labels), fontsize=TYPE, color=LIGHT["ink"])
    shaded = "; shaded: what the front covers" if len(pairs) == 1 else ""
    heading(
        figure,
        "Diamonds: on the front with probability 50 % or more; rings: 5 % or more; bars: 90 %"
        f"{shaded}; {cones_text(answer.cones)}",
    )
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
            return f"{label_of(self.name, labels)} (0 poor, 1 on target)"
        return axis_label(self.name, self.metric.unit, labels)


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
    _names(axes, [each for each in members if each.chance >= _LIKELY], sides)
    axes.margins(0.08, 0.13)
    axes.xaxis.set_major_locator(round_ticks(5))
    axes.yaxis.set_major_locator(round_ticks(5))


def _names(axes: Axes, members: Sequence[Member], sides: list[_Side]) -> None:
    """Name the cones on the good side of the front, where few are; those in one place together."""
    right, above = (side.ends[1] > side.ends[0] for side in sides)
    means = np.array([[side.value(each).mean for side in sides] for each in members[:_NAMED]])
    widths = np.array([np.ptp(side.ends) for side in sides])
    named = np.zeros(len(means), dtype=bool)
    for place, mean in enumerate(means):
        if named[place]:
            continue
        same = (np.abs(means - mean) < _SAME * widths).all(axis=1) & ~named
        named |= same
        axes.annotate(
            plain(", ".join(each.cones[0] for each, at in zip(members, same, strict=False) if at)),
            (mean[0], mean[1]),
            xytext=(4 if right else -4, 3 if above else -3),
            textcoords="offset points",
            ha="left" if right else "right",
            va="bottom" if above else "top",
            fontsize=TYPE - 0.5,
            color=LIGHT["ink"],
            zorder=8,
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
