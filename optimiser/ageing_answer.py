"""How kept cones age, or follow the climate: every metric's drift, and what follows from it."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from experiments.errors import Problem, TrialsError
from experiments.plan import Metric, Plan
from optimiser import wording
from optimiser.ageing_beside import effects_beside
from optimiser.ageing_choice import choose_law
from optimiser.ageing_confounding import never_aged
from optimiser.ageing_crossing import bound_of, cone_crossing
from optimiser.ageing_model import AgeModel, Drawn
from optimiser.ageing_prepared import prepare
from optimiser.ageing_records import Ageing, Lines, MetricAgeing, Score, Visit
from optimiser.ageing_rows import CLOCKS, Clock, Kept
from optimiser.ageing_scores import scores_after, summary
from optimiser.ageing_settings import compare_settings
from optimiser.ageing_visits import next_visits
from optimiser.answers import Estimate
from optimiser.evidence import gather
from optimiser.repeats import Heard, hear
from optimiser.scales import change_in_percent
from optimiser.threads import one_thread

__all__ = ["ageing"]

Floats = npt.NDArray[np.float64]
Progress = Callable[[float, str], None]

_DRAWS = 3000
_FAR = 2.0  # times the longest time seen: beyond, every law counts the same
_GRID = 60
_IDLE = 0.01  # share of the drifts' variance below which no visit is worth naming
_UNKNOWN = Estimate(math.nan, math.nan, math.nan, 0)


@one_thread
def ageing(
    plan: Plan,
    trials: pd.DataFrame,
    by: str = "light_hours",
    *,
    at: float | None = None,
    seed: int = 0,
    progress: Progress | None = None,
) -> Ageing:
    """Say how each metric of the kept cones drifts with age, or follows the climate.

    Parameters
    ----------
    plan : Plan
    trials : DataFrame
        One row a measurement (see `Ledger.table`), with a column named as `by`. Light that is
        not given counts as none; what else is not given leaves the measurement out. Over an age,
        ``temperature_c`` and ``humidity_percent`` are taken into account where they can be.
    by : {'light_hours', 'age_days', 'temperature_c', 'humidity_percent'}
        What age is counted in; or a climate, whose effect is a straight line that comes and
        goes with it.
    at : float, optional
        A time for which the kept cones' scores are wanted, that of the plan's ``[ageing]`` if it
        counts in `by`; not over a climate.
    seed : int
        Where random draws start.
    progress : callable, optional
        Called with the share done (0..1) and what is being done.

    Returns
    -------
    Ageing

    Raises
    ------
    TrialsError
        A table that does not fit the plan, an unknown `by`, an `at` below 0 or over a climate.
    """
    clock = _clock(by, at)
    if at is None and plan.age is not None and plan.age.clock == by:
        at = plan.age.at
    heard = hear(plan, trials)
    recipes = gather(plan, trials).measured.drop_duplicates("cone").set_index("cone")
    desk = _Desk(plan, heard, recipes, clock, seed)
    parts: dict[str, tuple[Kept, AgeModel]] = {}
    metrics = []
    for place, metric in enumerate(plan.metrics.values()):
        if progress is not None:
            progress(place / len(plan.metrics), metric.label)
        metrics.append(desk.metric(metric, place, parts))
    visits = next_visits(
        [(kept, desk.draw(model, 0)) for kept, model in parts.values() if not kept.straight],
        clock.slack,
    )
    notes = [*heard.notes, *desk.notes]
    notes += [f"{', '.join(labels)}: {text}." for text, labels in desk.tangled.items()]
    if not clock.reversible:
        table = heard.table
        notes += never_aged(plan, recipes, table["cone"], table[clock.name])
    scores = desk.scores(at, parts, notes)
    spans = [kept.span for kept, _ in parts.values()]
    return Ageing(
        by=clock.name,
        unit=clock.unit,
        metrics=metrics,
        first=min((each.first for each in spans), default=math.nan),
        longest=max((each.longest for each in spans), default=math.nan),
        visits=visits,
        at=at,
        scores=scores,
        cones=max((int(kept.aged.sum()) for kept, _ in parts.values()), default=0),
        notes=list(dict.fromkeys(notes)),
        text=_text(metrics, visits, clock, heard),
    )


def _clock(by: str, at: float | None) -> Clock:
    if by not in CLOCKS:
        raise TrialsError(Problem("by", repr(by), f"one of: {', '.join(CLOCKS)}"))
    if at is not None and CLOCKS[by].reversible:
        raise TrialsError(Problem("at", f"{at:g}", "nothing over a climate: it ages no cone"))
    if at is not None and not (math.isfinite(at) and at >= 0):
        raise TrialsError(Problem("at", f"{at:g}", f"a time of 0 {CLOCKS[by].unit} or more"))
    return CLOCKS[by]


@dataclass
class _Desk:
    """What every metric needs."""

    plan: Plan
    heard: Heard
    recipes: pd.DataFrame
    clock: Clock
    seed: int

    def __post_init__(self) -> None:
        self.notes: list[str] = []
        self.tangled: dict[str, list[str]] = {}
        self.same: list[tuple[str, Kept]] = []
        missing = int(self.heard.table[self.clock.name].isna().sum())
        if missing:
            self.notes.append(
                f"{wording.many(missing, 'measurement')} without {self.clock.of} left out: give "
                f"{self.clock.option} with `measure`."
            )

    def draw(self, model: AgeModel, stream: int, *, even: bool = False) -> Drawn:
        """Draw with a stream of random numbers of its own."""
        return model.draw(_DRAWS, np.random.default_rng([self.seed, stream]), even=even)

    def metric(
        self, metric: Metric, place: int, parts: dict[str, tuple[Kept, AgeModel]]
    ) -> MetricAgeing:
        """Answer for one metric; what can be told joins `parts`."""
        found = prepare(self.heard, metric.name, self.clock)
        kept = found.kept
        if found.lacking:
            if len(kept) and not kept.changes:
                self.same.append((metric.name, kept))
            return _silent(metric, kept, self.clock, found.lacking)
        for why in found.tangled:
            self.tangled.setdefault(why, []).append(metric.label)
        model = AgeModel(kept)
        parts[metric.name] = (kept, model)
        drawn = self.draw(model, place)
        few = int(kept.aged.sum())
        step = min(self.clock.step, kept.span.length)
        shares = drawn.along(kept.span.first + step)[:, 0]
        # One cone tells its own drift, and nothing of how cones differ.
        own = drawn.mean_drift if few > 1 else drawn.drift[:, int(np.argmax(kept.aged))]
        early, whole = (self._change(kept, own * share, few) for share in (shares, 1.0))
        law = None if kept.straight else choose_law(model)
        unit = "%" if kept.logarithmic else metric.unit
        verdict = _verdict(whole, self.clock)
        bound = None if kept.straight else bound_of(metric)
        horizon = (
            kept.span.longest if kept.straight else (kept.span.first + _FAR * kept.span.length)
        )
        crossings = [
            cone_crossing(drawn, kept, cone, bound, self.clock, horizon)
            for cone in range(len(kept.cones) if bound is not None else 0)
            if bound is not None and kept.aged[cone]
        ]
        own_unit = "% of its value" if kept.logarithmic else unit
        settings = compare_settings(
            model, self.recipes.loc[kept.cones], dict(self.plan.variables), own_unit
        )
        return MetricAgeing(
            metric.name, metric.label, unit, kept.logarithmic, step, early, whole, kept.told_by,
            verdict, law, crossings, settings,
            _lines(kept, drawn, horizon, math.nan if bound is None else bound.value,
                metric.unit),
            self._text(metric, own_unit, whole, few, kept, verdict),
            effects_beside(kept, drawn, own_unit),
        )  # fmt: skip

    def _change(self, kept: Kept, drift: Floats, cones: int) -> Estimate:
        found = summary(drift, cones)
        if not kept.logarithmic:
            return found
        mean, low, high = (
            change_in_percent(min(each, 300.0)) for each in (found.mean, found.low, found.high)
        )
        return Estimate(mean, low, high, cones)

    def _text(
        self, metric: Metric, unit: str, whole: Estimate, few: int, kept: Kept, verdict: str
    ) -> str:
        time = wording.with_unit(f"{kept.span.length:.0f}", self.clock.unit)
        who = f"{wording.many(few, 'cone')}, {wording.many(kept.told_by, 'measurement')}"
        alone = "" if few > 1 else "; one cone alone, so other cones may drift otherwise"
        drift = wording.interval(whole, unit)
        beside = " and ".join(each.clock.of for each in kept.beside)
        apart = f"; {beside} taken into account" if beside else ""
        return (
            f"{metric.label}: {verdict}, {drift} in {time} of {self.clock.of} "
            f"({who}{alone}{apart})"
        )

    def scores(
        self, at: float | None, parts: dict[str, tuple[Kept, AgeModel]], notes: list[str]
    ) -> list[Score]:
        """Give the kept cones' scores at a time; add to the notes what must be said."""
        if at is None:
            return []
        drawn: dict[str, tuple[Kept, Drawn | None]] = {each: (k, None) for each, k in self.same}
        for place, (name, (kept, model)) in enumerate(parts.items()):
            far = at > kept.span.first + _FAR * kept.span.length
            drawn[name] = (kept, self.draw(model, 100 + place, even=far))
            if at > kept.span.longest:
                notes.append(_beyond(at, kept, self.clock, far))
        found, lacking = scores_after(self.plan, drawn, at)
        if self.same and found:
            same = ", ".join(self.plan.metrics[name].label for name, _ in self.same)
            notes.append(f"{same}: reads the same each time, so taken as unchanged in the score.")
        if lacking:
            notes.append(lacking)
        return found


def _beyond(at: float, kept: Kept, clock: Clock, far: bool) -> str:
    """Say that a time lies beyond what was seen."""
    more = "more than twice as long, so every law has the same weight" if far else "not yet seen"
    return (
        f"{at:g} {clock.unit} lies beyond the longest time seen, {kept.span.longest:.0f} "
        f"{clock.unit}: {more}; believe the intervals only."
    )


def _silent(metric: Metric, kept: Kept, clock: Clock, why: str) -> MetricAgeing:
    return MetricAgeing(
        metric.name, metric.label, "%" if kept.logarithmic else metric.unit, kept.logarithmic,
        clock.step, _UNKNOWN, _UNKNOWN, kept.told_by, "cannot tell yet", None, [], [], None,
        f"{metric.label}: cannot tell yet: {why}",
    )  # fmt: skip


def _verdict(whole: Estimate, clock: Clock) -> str:
    up, down, none = (
        ("rises", "falls", "no dependence told")
        if clock.reversible
        else ("drifts up", "drifts down", "no drift told")
    )
    return up if whole.low > 0 else down if whole.high < 0 else none


def _lines(kept: Kept, drawn: Drawn, horizon: float, bound: float, unit: str) -> Lines:
    """Give every aged cone's measurements and band, in the metric's unit."""
    grid = np.linspace(kept.span.first, 0.5 * (kept.span.longest + horizon), _GRID)

    def back(values: Floats) -> Floats:
        return np.exp(np.clip(values, -300, 300)) if kept.logarithmic else values

    cones = np.flatnonzero(kept.aged)
    bands = [np.quantile(drawn.values(int(c), grid), [0.05, 0.5, 0.95], axis=0) for c in cones]
    low, mean, high = (back(np.array([band[row] for band in bands])) for row in range(3))
    rows = [kept.cone == cone for cone in cones]
    return Lines(
        [kept.cones[cone] for cone in cones],
        [kept.times[row] for row in rows],
        [back(kept.values[row]) for row in rows],
        unit, grid, mean, low, high, bound,
    )  # fmt: skip


def _text(metrics: list[MetricAgeing], visits: list[Visit], clock: Clock, heard: Heard) -> str:
    """Say it in a few plain sentences."""
    known = [each for each in metrics if each.whole.known]
    if not known:
        reasons = [each.text.partition(": cannot tell yet: ")[2] for each in metrics]
        why = (
            max(set(reasons), key=reasons.count)
            if len(heard.table)
            else ("nothing was measured; keep cones and measure them again later")
        )
        what = f"follow {clock.of}" if clock.reversible else "age"
        return f"Cannot tell yet how cones {what}: {why}."
    still = [each.label for each in known if each.verdict.startswith("no ")]
    drifting = [each.text for each in known if not each.verdict.startswith("no ")]
    parts = [f"{'; '.join(drifting)}."] if drifting else []
    if still:
        what = f"dependence on {clock.of}" if clock.reversible else "drift"
        parts.append(f"No {what} is told from 0 in {', '.join(still)}.")
    unknown = [each.label for each in metrics if not each.whole.known]
    if unknown:
        parts.append(f"Cannot tell yet: {', '.join(unknown)}.")
    if visits:
        parts.append(_next(visits, clock))
    return " ".join(parts)


def _next(visits: list[Visit], clock: Clock) -> str:
    best = visits[0]
    time = wording.with_unit(f"{best.time:.0f}", clock.unit)
    other = [f"cone {each.cone}" for each in visits[1:]]
    also = f" (then {', '.join(other)})" if other else ""
    if best.gain < _IDLE:
        return (
            "Measuring these cones once more narrows no drift by as much as 1\N{NO-BREAK SPACE}% "
            "of its variance: keep more cones."
        )
    return (
        f"Measure cone {best.cone} next at {time} of {clock.of}{also}: of what can be heard up to "
        "1.5 times the longest time seen, that reading narrows the drifts most, its variance by "
        f"{wording.percent(best.gain)}."
    )
