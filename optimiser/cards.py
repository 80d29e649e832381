"""Print cards: one page a cone, to lie beside the printer and be written on."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from experiments.outputs import write_whole
from experiments.trials import is_mass
from optimiser import wording
from optimiser.answers import Pick
from optimiser.cautions import for_settings
from optimiser.chances import chance_to_print
from optimiser.templating import environment

if TYPE_CHECKING:
    from experiments.plan import Plan

__all__ = ["card_html", "card_path", "withdraw_cards", "write_card"]

# With more lines than these the card is set smaller, so that it stays on one page.
_ROOMY, _DENSE = 9, 28


@dataclass(frozen=True)
class _Line:
    """A row of the card: a name, a value, and what it was on the cone compared with."""

    name: str
    value: str
    before: str = ""


def card_path(folder: Path, cone: int) -> Path:
    """Give the path of a cone's card inside an experiment folder."""
    return folder / "cards" / f"cone_{cone:02d}.html"


def withdraw_cards(folder: Path, cones: Iterable[int]) -> list[Path]:
    """Remove the cards of cones that are no more; gives those that were there."""
    found = [path for path in (card_path(folder, cone) for cone in cones) if path.is_file()]
    for path in found:
        path.unlink()
    return found


def card_html(plan: Plan, pick: Pick, cone: int, *, plate: int | None = None) -> str:
    """Write one cone's print card as a self-contained HTML page that prints on one A4 page.

    Parameters
    ----------
    plan : Plan
        The experiment.
    pick : Pick
        The proposed recipe and what is expected of it.
    cone : int
        The cone's number.
    plate : int, optional
        The print job that carries it.

    Returns
    -------
    str
        HTML; nothing is fetched from elsewhere, and every text is escaped.
    """
    lines = _recipe(plan, pick)
    expected = _expected(plan, pick)
    entered = [one for one in plan.metrics.values() if one.source == "hand" and not is_mass(one)]
    longest = max(len(lines), len(expected)) + len(entered) // 2
    template = environment().get_template("card.html.j2")
    return template.render(
        plan=plan,
        pick=pick,
        cone=cone,
        plate=plate,
        time=wording.pick_time(plan, pick),
        lines=lines,
        expected=expected,
        chance=chance_to_print(pick.prints, pick.printing),
        aim=_capital(wording.aim(pick.score.cones)),
        cautions=for_settings(plan, pick.settings),
        currency=plan.effort.currency,
        size="roomy" if longest <= _ROOMY else "dense" if longest <= _DENSE else "tiny",
        entered=entered,
        blanks=range(3 if longest <= _ROOMY else 2),
    )


def _capital(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}."


def _recipe(plan: Plan, pick: Pick) -> list[_Line]:
    """Give the recipe's rows, each with what the cone compared with had."""
    rows = []
    for name, (label, value) in zip(
        [name for name in plan.variables if name in pick.settings],
        wording.recipe_rows(plan, pick.settings),
        strict=True,
    ):
        before = ""
        if pick.departs_from is not None and name in pick.changes:
            there = wording.setting(pick.changes[name][0])
            known = there != wording.UNKNOWN
            before = wording.with_unit(there, plan.variables[name].unit) if known else "not used"
        rows.append(_Line(label, value, before))
    return rows


def _expected(plan: Plan, pick: Pick) -> list[_Line]:
    """Give what the model expects: the score, then each metric that has a number."""
    rows = []
    labels = wording.describe(plan)
    if pick.score.known:
        name = wording.score_name(plan)
        if name not in plan.metrics:
            rows.append(_Line("score (0 to 1)", wording.interval(pick.score)))
    for name, each in pick.expected.items():
        if each.known:
            unit = plan.metrics[name].unit if name in plan.metrics else ""
            rows.append(_Line(labels.get(name, name), wording.interval(each, unit)))
    return rows


def write_card(
    folder: Path, plan: Plan, pick: Pick, cone: int, *, plate: int | None = None
) -> Path:
    """Write a cone's card into ``cards`` of the experiment folder.

    Returns
    -------
    Path
        The file.
    """
    path = card_path(folder, cone)
    path.parent.mkdir(exist_ok=True)
    return write_whole(path, card_html(plan, pick, cone, plate=plate).encode("utf-8"))
