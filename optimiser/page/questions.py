"""What the rooms ask of the model: each question once for each state of the experiment.

A question is a function that gives a `Job`. Its answer is worked out from the table of the state
it was asked in (`Desk.trials`), with the fitted model that all questions of that state share.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import optimiser
from optimiser.page.desk import Desk, State
from optimiser.page.work import Job, Tell

if TYPE_CHECKING:
    from optimiser.surrogate import Model

__all__ = ["fitted", "learnt", "outlook_of"]


def learnt(desk: Desk, state: State) -> Job:
    """Ask for the model of a state; the result is a `optimiser.Model`."""
    return desk.work.ask((state, "fit"), "learning the metrics", _fit(desk, state))


def fitted(desk: Desk, state: State) -> Model:
    """Give the model of a state, fitting it in this thread if nobody did; for other questions."""
    found: Model = desk.work.once((state, "fit"), "learning the metrics", _fit(desk, state))
    return found


def _fit(desk: Desk, state: State) -> Any:
    def answer(_tell: Tell) -> Model:
        plan, trials = desk.trials(state)
        return optimiser.fit(plan, trials, seed=plan.seed)

    return answer


def outlook_of(desk: Desk, state: State) -> Job:
    """Ask whether to go on; the result is an `Outlook`."""

    def answer(tell: Tell) -> Any:
        tell(0.0, "learning the metrics")
        model = fitted(desk, state)
        tell(0.3, "weighing one more cone")
        plan, trials = desk.trials(state)
        return optimiser.outlook(plan, trials, seed=plan.seed, model=model)

    return desk.work.ask((state, "outlook"), "weighing one more cone", answer)
