"""How a proposed cone is printed on the terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rich.padding import Padding
from rich.text import Text

from optimiser import wording
from optimiser.answers import Pick
from optimiser.chances import chance_to_print
from optimiser.command.show import console, print_table

if TYPE_CHECKING:
    from experiments.plan import Plan

__all__ = ["pick_record", "print_pick"]


def print_pick(plan: Plan, pick: Pick, cone: int | None, plate: int | None = None) -> None:
    """Print one proposal: recipe, why, effort, and what is expected."""
    screen = console()
    title = f"Cone {cone}" if cone is not None else "Proposal"
    screen.print(Text(f"{title}{f', plate {plate}' if plate is not None else ''}", style="bold"))
    screen.print(Padding(Text(pick.why), (0, 0, 0, 2)))
    screen.print()
    print_table("", ["setting", "value", ""], _settings(plan, pick))
    screen.print()
    effort = _effort(plan, pick)
    if effort:
        screen.print(Padding(Text(effort), (0, 0, 0, 2)))
        screen.print()
    rows = _expected(plan, pick)
    if rows:
        print_table("", ["expected", "90 % interval of a new measurement", "cones"], rows)
        if pick.score.cones < wording.FEW:
            screen.print(Padding(Text(wording.aim(pick.score.cones)), (0, 0, 0, 2)))
    else:
        screen.print(
            Text("  Nothing can be foretold yet: the first cones are there to learn from.")
        )


def _settings(plan: Plan, pick: Pick) -> list[list[str]]:
    names = [name for name in plan.variables if name in pick.settings]
    rows = wording.recipe_rows(plan, pick.settings)
    return [
        [label, value, wording.departure(plan, pick, name)]
        for name, (label, value) in zip(names, rows, strict=True)
    ]


def _effort(plan: Plan, pick: Pick) -> str:
    time = wording.pick_time(plan, pick)
    parts = [time] if time else []
    if pick.money == pick.money:
        parts.append(f"{pick.money:.2f} {plan.effort.currency}".strip())
    text = f"effort by the plan: {'; '.join(parts)}" if parts else ""
    if pick.prints == pick.prints:
        chance = f"prints with a chance of {chance_to_print(pick.prints, pick.printing)}"
        text = f"{text}; {chance}" if text else chance
    return text


def _expected(plan: Plan, pick: Pick) -> list[list[str]]:
    labels = wording.describe(plan)
    rows = []
    if pick.score.known and wording.score_name(plan) not in plan.metrics:
        rows.append(["score (0 to 1)", wording.interval(pick.score), str(pick.score.cones)])
    for name, each in pick.expected.items():
        if each.known:
            unit = plan.metrics[name].unit if name in plan.metrics else ""
            cells = [labels.get(name, name), wording.interval(each, unit), str(each.cones)]
            rows.append(cells)
    return rows


def pick_record(pick: Pick, cone: int | None, card: str | None) -> dict[str, Any]:
    """Give a pick as JSON values, with its cone number and card."""
    return {"cone": cone, "card": card, **vars(pick)}
