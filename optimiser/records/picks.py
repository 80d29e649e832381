"""A proposed cone."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from optimiser.records.estimates import UNTOLD, Estimate, Settings

__all__ = ["Pick"]


@dataclass(frozen=True)
class Pick:
    """A proposed cone.

    Parameters
    ----------
    settings : dict
        Value of each active variable; inactive ones are absent.
    expected : dict of str to Estimate
        Each metric's 90 % interval of a new measurement of a new cone.
    score : Estimate
        The same for the score (or for the single metric that is optimised).
    why : str
        One plain sentence.
    kind : {'first', 'earlier', 'improve', 'explore', 'confirm'}
        Space-filling start; best by an earlier experiment while ours is empty; expected to
        improve; mostly to learn; a repeat of the leader.
    prints : float
        Probability that the recipe prints at all; NaN while nothing is known of failures.
    minutes, money : float
        The recipe's effort, set-up included; NaN where the plan gives no formula.
    set_up : float
        Minutes of set-up changes since the cone before; NaN while there is none.
    set_ups : list of str
        The variables that need them.
    gain : float
        Expected improvement of the score over the best so far, or, where the plan trades, of the
        hypervolume under the front; NaN for a first cone.
    exploration : float
        Share of `gain` (0..1) that lies in what is not known yet: 1 less the step that the recipe
        itself is expected to make on the best of all recipes measured, pending or picked before,
        over `gain`. 0 for a sure improvement, 1 where no step is expected; NaN for a first cone
        and a repeat.
    departs_from : int or None
        Number of the cone that it is compared with.
    changes : dict
        Settings in which it differs from that cone: name to (there, here).
    printing : Estimate
        `prints` with the 90 % interval of the share of its prints that come off, and the number of
        prints behind it.
    """

    settings: Settings
    expected: dict[str, Estimate]
    score: Estimate
    why: str
    kind: str = "first"
    prints: float = float("nan")
    minutes: float = float("nan")
    money: float = float("nan")
    set_up: float = float("nan")
    set_ups: list[str] = field(default_factory=list)
    gain: float = float("nan")
    exploration: float = float("nan")
    departs_from: int | None = None
    changes: dict[str, tuple[Any, Any]] = field(default_factory=dict)
    printing: Estimate = UNTOLD
