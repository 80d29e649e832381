"""Verb: next."""

from __future__ import annotations

from pathlib import Path

import click

from experiments.ledger import Ledger
from optimiser import fit, propose, wording
from optimiser.answers import Pick
from optimiser.cards import write_card
from optimiser.command.options import as_json, in_folder, random_seed, whole_check
from optimiser.command.picks import pick_record, print_pick
from optimiser.command.shortlist import read_shortlist
from optimiser.command.show import print_calibration, print_json, print_notes, progress
from optimiser.report import versions

__all__ = ["next_command", "record"]


@click.command("next")
@click.option(
    "--count",
    type=click.IntRange(1, 50),
    default=1,
    show_default=True,
    metavar="N",
    help="How many cones, as for one plate.",
)
@click.option("--dry-run", is_flag=True, help="Only show; record nothing.")
@click.option(
    "--from",
    "shortlist",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    metavar="FILE.csv",
    help="Choose among these recipes only: one column a variable.",
)
@whole_check
@random_seed
@in_folder
@as_json
def next_command(
    count: int,
    dry_run: bool,
    shortlist: Path | None,
    check_wanted: bool,
    seed: int | None,
    folder: Path,
    json_wanted: bool,
) -> None:
    """Propose what to print next, record it and write print cards."""
    with Ledger.open(folder) as ledger:
        plan, trials = ledger.plan, ledger.table()
        start = plan.seed if seed is None else seed
        candidates = read_shortlist(shortlist, plan) if shortlist is not None else None
        with progress("choosing the next cone") as tell:
            model = fit(plan, trials, seed=start)
            picks = propose(plan, trials, count, start, candidates, model=model, progress=tell)
        numbers: list[int] = []
        cards: list[Path] = []
        plate = None
        if picks and not dry_run:
            numbers, plate, cards = record(ledger, picks, start)
    shown: list[int | None] = [*numbers] or [None] * len(picks)
    if json_wanted:
        files: list[str | None] = [str(card) for card in cards]
        files = files or [None] * len(picks)
        print_json(
            {
                "picks": [
                    pick_record(pick, cone, card)
                    for pick, cone, card in zip(picks, shown, files, strict=True)
                ],
                "plate": plate,
                "seed": start,
                "cones": model.cones,
                "calibration": model.calibration(),
                "notes": model.notes,
            }
        )
        return
    for pick, cone in zip(picks, shown, strict=True):
        print_pick(plan, pick, cone, plate)
        click.echo()
    if not picks:
        click.echo("nothing to propose: every recipe that can be printed has its cone")
    print_calibration(model.calibration(), model.cones, wording.describe(plan), whole=check_wanted)
    print_notes(model.notes)
    for card in cards:
        click.echo(f"card: {card}")
    if picks and dry_run:
        click.echo("nothing was recorded (--dry-run)")


def record(
    ledger: Ledger, picks: list[Pick], seed: int
) -> tuple[list[int], int | None, list[Path]]:
    """Record picks as planned cones of one plate and write their cards.

    Parameters
    ----------
    ledger : Ledger
        The experiment; the digests of plan and data are added there.
    picks : list of Pick
        What was proposed.
    seed : int
        Where random steps started.

    Returns
    -------
    tuple
        Cone numbers, the plate, the cards' paths.
    """
    proposal = {
        "seed": seed,
        "versions": versions(),
        "kinds": [pick.kind for pick in picks],
    }
    numbers = ledger.plan_cones(
        [pick.settings for pick in picks],
        reason=[pick.why for pick in picks],
        proposal=proposal,
    )
    plate = ledger.cone(numbers[0]).plate
    cards = [
        write_card(ledger.folder, ledger.plan, pick, number, plate=plate)
        for pick, number in zip(picks, numbers, strict=True)
    ]
    return numbers, plate, cards
