"""What the rooms of answers, picks, trying and reporting ask: jobs, each once for each state."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pandas as pd

import optimiser
from experiments.exchange.cells import sheet_in
from experiments.exchange.shortlist import shortlist_of
from experiments.finished import Brought, Finished, bring, refuse_own, unpack_finished
from experiments.plan import Plan
from optimiser.answers import Pick
from optimiser.curve_model import CurveModel, fit_curves
from optimiser.curve_readings import read_curves
from optimiser.gathering import gather_material
from optimiser.material import Material
from optimiser.page.answering import QUESTIONS, Answered, Ground
from optimiser.page.desk import Desk, State
from optimiser.page.forms import Sent
from optimiser.page.passing import passing
from optimiser.page.questions import fitted
from optimiser.page.sending import zipped
from optimiser.page.work import Job, Outdated, Tell
from optimiser.planning import shortfall
from optimiser.remarks import odd_entries
from optimiser.report import report_html
from optimiser.report_markdown import markdown_files
from optimiser.reproducing import proposal_record
from optimiser.surrogate import Model

__all__ = [
    "Knowledge",
    "Proposal",
    "Wanted",
    "answer_of",
    "earlier_in",
    "knowledge_of",
    "picks_of",
    "post_of",
    "report_of",
    "shortlist_in",
]


@dataclass(frozen=True)
class Wanted:
    """What is asked of a proposal.

    Parameters
    ----------
    count : int
        Cones.
    keep : dict
        Settings that every cone must have.
    per : str or None
        Effort to choose by.
    seed : int or None
        Where random steps start; the plan's if None.
    shortlist : Sent or None
        A spreadsheet of the only recipes to choose from.
    earlier : Sent or None
        The archive of a finished experiment to learn from.
    """

    count: int
    keep: Mapping[str, str] = field(default_factory=dict)
    per: str | None = None
    seed: int | None = None
    shortlist: Sent | None = None
    earlier: Sent | None = None

    @property
    def key(self) -> tuple[Any, ...]:
        """What the answer depends on besides the state."""
        files = (each and each.digest for each in (self.shortlist, self.earlier))
        return (self.count, tuple(sorted(self.keep.items())), self.per, self.seed, *files)


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
    model : Model
        What foretold them.
    candidates : DataFrame or None
        The shortlist.
    """

    plan: Plan
    picks: list[Pick]
    notes: list[str]
    told: dict[str, Any]
    model: Model
    candidates: pd.DataFrame | None = None


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


def picks_of(desk: Desk, state: State, wanted: Wanted) -> Job:
    """Ask what to print next; the result is a `Proposal`. Nothing is recorded by it."""

    def answer(tell: Tell) -> Proposal:
        plan, trials = desk.trials(state)
        candidates = shortlist_in(wanted.shortlist, plan) if wanted.shortlist else None
        past = None
        if wanted.earlier:
            tell(0.0, "reading the earlier experiment")
            past = earlier_in(desk, wanted.earlier, plan)
        tell(0.0, "learning the metrics")
        seed = plan.seed if wanted.seed is None else wanted.seed
        model = _fitted(desk, state, seed, past)
        picks = optimiser.propose(
            plan, trials, wanted.count, seed, candidates,
            keep=wanted.keep, per=wanted.per, model=model, progress=tell,
        )  # fmt: skip
        told = proposal_record(
            picks, seed=seed, plan=state.plan, data=state.data, count=wanted.count,
            keep=wanted.keep, per=wanted.per,
        )  # fmt: skip
        if past:
            told["learned_from"] = past.record
        notes = shortfall(plan, picks, wanted.count, candidates, kept=bool(wanted.keep))
        notes += [*model.notes, *(past.notes if past else []), *odd_entries(plan, trials)]
        return Proposal(plan, picks, notes, told, model, candidates)

    return desk.work.ask((state, "next", *wanted.key), "choosing the next cones", answer)


def _fitted(desk: Desk, state: State, seed: int, past: Brought | None) -> Model:
    """Give the model of a state, as `next` learns it from another start or experiment too."""
    plan, trials = desk.trials(state)
    if past is None and seed == plan.seed:
        return fitted(desk, state)
    earlier = past.trials if past else None
    found: Model = desk.work.once(
        (state, "fit", seed, past and past.record["data"]), "learning the metrics",
        lambda _tell: optimiser.fit(plan, trials, seed=seed, earlier=earlier),
    )  # fmt: skip
    return found


def shortlist_in(sent: Sent, plan: Plan) -> pd.DataFrame:
    """Read the recipes of a spreadsheet that was sent; see `shortlist_of`."""
    sheet = sheet_in(sent.content, Path(sent.name), list(plan.variables))
    return shortlist_of(sheet, sent.name, plan)


def earlier_in(desk: Desk, sent: Sent, plan: Plan) -> Brought:
    """Read the experiment of an archive that was sent, unpacked for as long as that takes.

    Raises
    ------
    ExperimentError
        If it is no archive of ours, holds the present experiment, or does not fit its plan.
    """

    def read(_tell: Tell) -> Finished:
        with passing(sent.content, "archive.zip") as path:
            return unpack_finished(path)

    found: Finished = desk.work.once(("earlier", sent.digest), "reading the archive", read)
    with desk.ledger() as ledger:
        refuse_own(found, ledger, sent.name)
    return bring(found, plan, sent.name)


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
