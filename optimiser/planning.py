"""Taking picks into the plan: recorded as planned cones of one plate, with a print card each."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from experiments.space import Space
from optimiser import wording
from optimiser.answers import Pick
from optimiser.cards import write_card
from optimiser.reproducing import shortlist_bytes

if TYPE_CHECKING:
    import pandas as pd

    from experiments.ledger import Ledger
    from experiments.plan import Plan

__all__ = ["plan_picks", "shortfall"]


def plan_picks(
    ledger: Ledger,
    picks: list[Pick],
    proposal: dict[str, Any],
    candidates: pd.DataFrame | None = None,
) -> tuple[list[int], int | None, list[Path]]:
    """Record picks as planned cones of one plate and write their cards.

    Parameters
    ----------
    ledger : Ledger
        The experiment.
    picks : list of Pick
        What was proposed.
    proposal : dict
        What it stood on: see `proposal_record`; the earlier experiment that was learned from, too.
    candidates : DataFrame, optional
        The shortlist that it had to choose from.

    Returns
    -------
    tuple
        Cone numbers, the plate, the cards' paths.
    """
    numbers = ledger.plan_cones(
        [pick.settings for pick in picks],
        reason=[pick.why for pick in picks],
        proposal=proposal,
        shortlist=None if candidates is None else shortlist_bytes(candidates),
    )
    plate = ledger.cone(numbers[0]).plate
    cards = [
        write_card(ledger.folder, ledger.plan, pick, number, plate=plate)
        for pick, number in zip(picks, numbers, strict=True)
    ]
    return numbers, plate, cards


def shortfall(
    plan: Plan,
    picks: list[Pick],
    count: int,
    candidates: pd.DataFrame | None = None,
    *,
    kept: bool = False,
) -> list[str]:
    """Say why there are fewer picks than were asked for; nothing if there are not.

    Parameters
    ----------
    plan : Plan
    picks : list of Pick
        What was proposed.
    count : int
        How many were asked for.
    candidates : DataFrame, optional
        The shortlist.
    kept : bool
        Whether settings were to be kept.
    """
    if len(picks) == count:
        return []
    listed = "" if candidates is None else " of the list"
    if candidates is None:
        some = Space(plan).count(limit=count + 1).number
    else:
        some = len(candidates.drop_duplicates())
    shared = [
        each.label
        for each in plan.variables.values()
        if each.per == "plate" and any(each.name in pick.settings for pick in picks)
    ]
    if kept:
        listed += " with what is to be kept"
    head = f"{len(picks)} of {wording.many(count, 'cone')}"
    if shared and some > len(picks):
        return [
            f"{head}: no other recipe{listed} shares this plate's {' and '.join(shared)}; ask "
            "again for the next plate."
        ]
    return [f"{head}: no other recipe{listed} is left to print."]
