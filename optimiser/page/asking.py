"""What the rooms of answers, picks, trying and reporting ask: jobs, each once for each state."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import optimiser
from experiments.plan import Plan
from optimiser.answers import Pick
from optimiser.curve_model import CurveModel, fit_curves
from optimiser.curve_readings import read_curves
from optimiser.gathering import gather_material
from optimiser.material import Material
from optimiser.page.answering import QUESTIONS, Answered, Ground
from optimiser.page.desk import Desk, State
from optimiser.page.questions import fitted
from optimiser.page.sending import zipped
from optimiser.page.work import Job, Outdated, Tell
from optimiser.planning import shortfall
from optimiser.report import report_html
from optimiser.report_markdown import markdown_files
from optimiser.reproducing import proposal_record
from optimiser.surrogate import Model

__all__ = [
    "Knowledge",
    "Proposal",
    "answer_of",
    "knowledge_of",
    "picks_of",
    "post_of",
    "report_of",
]


@dataclass(frozen=True)
class Proposal:
    """Cones to print next, and what the choice stood on.

    Parameters
    ----------
    plan : Plan
    picks : list of Pick
    notes : list of str
        Why there are fewer than asked for, and what could not be learnt.
    told : dict
        What is recorded with the cones, so that the proposal can be made again.
    """

    plan: Plan
    picks: list[Pick]
    notes: list[str]
    told: dict[str, Any]


@dataclass(frozen=True)
class Knowledge:
    """What foretells a recipe.

    Parameters
    ----------
    plan : Plan
    model : Model
        Of the metrics.
    curves : CurveModel
        Of the whole curves.
    """

    plan: Plan
    model: Model
    curves: CurveModel


def answer_of(desk: Desk, state: State, name: str, asked: Mapping[str, str]) -> Job:
    """Ask one of `QUESTIONS`; the result is an `Answered`."""
    question, given = QUESTIONS[name], dict(asked)

    def answer(tell: Tell) -> Answered:
        model = fitted(desk, state) if question.modelled else None
        plan, trials = desk.trials(state, wide=not question.modelled)
        with desk.ledger() as ledger:
            return question.answer(Ground(ledger, plan, trials, model, tell), given)

    return desk.work.ask((state, name, tuple(sorted(given.items()))), question.line, answer)


def picks_of(
    desk: Desk, state: State, count: int, keep: Mapping[str, str], per: str | None
) -> Job:
    """Ask what to print next; the result is a `Proposal`. Nothing is recorded by it."""
    kept = dict(keep)

    def answer(tell: Tell) -> Proposal:
        tell(0.0, "learning the metrics")
        model = fitted(desk, state)
        plan, trials = desk.trials(state)
        picks = optimiser.propose(
            plan, trials, count, plan.seed, keep=kept, per=per, model=model, progress=tell
        )
        told = proposal_record(
            picks, seed=plan.seed, plan=state.plan, data=state.data, count=count, keep=kept,
            per=per,
        )  # fmt: skip
        short = shortfall(plan, picks, count, kept=bool(kept))
        return Proposal(plan, picks, [*short, *model.notes], told)

    key = (state, "next", count, tuple(sorted(kept.items())), per)
    return desk.work.ask(key, "choosing the next cones", answer)


def knowledge_of(desk: Desk, state: State) -> Job:
    """Ask for what foretells recipes; the result is a `Knowledge`."""

    def answer(tell: Tell) -> Knowledge:
        tell(0.0, "learning the metrics")
        model = fitted(desk, state)
        plan, trials = desk.trials(state, wide=True)
        tell(0.3, "reading the curves")
        with desk.ledger() as ledger:
            readings = read_curves(ledger)
        curves = fit_curves(
            plan, trials, readings, plan.seed, encoding=model.encoding,
            progress=lambda share, said: tell(0.5 + 0.5 * share, said),
        )  # fmt: skip
        return Knowledge(plan, model, curves)

    return desk.work.ask((state, "knowledge"), "learning the metrics and curves", answer)


def report_of(desk: Desk, state: State) -> Job:
    """Ask for the report; the result is one self-contained HTML page."""

    def answer(tell: Tell) -> str:
        return report_html(_material(desk, state, tell))

    return desk.work.ask((state, "report"), "writing the report", answer)


def post_of(desk: Desk, state: State) -> Job:
    """Ask for the report as Markdown; the result is a ZIP archive of it and its pictures."""

    def answer(tell: Tell) -> bytes:
        files = markdown_files(_material(desk, state, tell), Path("report.md"))
        return zipped({each.as_posix(): content for each, content in files.items()})

    return desk.work.ask((state, "post"), "writing the report", answer)


def _material(desk: Desk, state: State, tell: Tell) -> Material:
    """Gather what both ways of writing the report show, once."""

    def answer(_tell: Tell) -> Material:
        model = fitted(desk, state)
        with desk.ledger() as ledger, ledger.snapshot():
            if desk.state(ledger) != state:
                raise Outdated("The experiment was changed meanwhile.")
            made = f"{datetime.now(UTC):%Y-%m-%d}"
            return gather_material(ledger, made=made, model=model, progress=tell)

    found: Material = desk.work.once((state, "material"), "gathering the answers", answer)
    return found
