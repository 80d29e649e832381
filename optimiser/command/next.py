"""Verb: next."""

from __future__ import annotations

from pathlib import Path

import click

from experiments.ledger import Ledger
from optimiser import fit, propose, wording
from optimiser.command.earlier_folder import read_earlier
from optimiser.command.options import (
    Whole,
    as_json,
    in_folder,
    name_pairs,
    parse_pairs,
    random_seed,
    whole_check,
)
from optimiser.command.picks import pick_record, print_pick
from optimiser.command.shortlist import read_shortlist
from optimiser.command.show import (
    print_calibration,
    print_json,
    print_notes,
    print_text,
    progress,
)
from optimiser.planning import plan_picks, shortfall
from optimiser.remarks import odd_entries
from optimiser.reproducing import proposal_record

__all__ = ["next_command"]


@click.command("next")
@click.option(
    "--count",
    type=Whole(1, 50),
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
@click.option(
    "--keep",
    "kept",
    multiple=True,
    metavar="VARIABLE=VALUE",
    help="A setting that every cone must have; may be given again.",
)
@click.option(
    "--per",
    type=click.Choice(["minutes", "money"]),
    help="Choose by the expected gain for each minute (set-up included) or unit of money.",
)
@click.option(
    "--learn-from",
    "earlier_folder",
    type=click.Path(path_type=Path),
    metavar="FOLDER",
    help="Learn from a finished experiment with the same variables, as far as it agrees.",
)
@whole_check
@random_seed
@in_folder
@as_json
def next_command(
    count: int,
    dry_run: bool,
    shortlist: Path | None,
    kept: tuple[str, ...],
    per: str | None,
    earlier_folder: Path | None,
    check_wanted: bool,
    seed: int | None,
    folder: Path,
    json_wanted: bool,
) -> None:
    """Propose what to print next, record it and write print cards."""
    with Ledger.open(folder) as ledger:
        with ledger.snapshot():
            plan, trials, data = ledger.plan, ledger.table(), ledger.data_digest()
        odd = odd_entries(plan, trials)
        start = plan.seed if seed is None else seed
        candidates = read_shortlist(shortlist, plan) if shortlist is not None else None
        keep = name_pairs(parse_pairs(kept, "--keep"), plan.variables, "--keep")
        past = read_earlier(earlier_folder, plan, folder) if earlier_folder else None
        earlier = past.trials if past else None
        with progress("choosing the next cone") as tell:
            model = fit(plan, trials, seed=start, earlier=earlier)
            picks = propose(
                plan, trials, count, start, candidates,
                keep=keep, per=per, model=model, progress=tell,
            )  # fmt: skip
        short = shortfall(plan, picks, count, candidates, kept=bool(keep))
        numbers: list[int] = []
        cards: list[Path] = []
        plate = None
        if picks and not dry_run:
            told = proposal_record(
                picks, seed=start, plan=plan.digest, data=data, count=count, keep=keep, per=per
            )
            if past:
                told["learned_from"] = past.record
            numbers, plate, cards = plan_picks(ledger, picks, told, candidates)
    odd = [*(past.notes if past else []), *odd]
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
                **({"learned_from": past.record} if past else {}),
                "calibration": model.calibration(),
                "notes": [*short, *model.notes, *odd],
            }
        )
        return
    for pick, cone in zip(picks, shown, strict=True):
        print_pick(plan, pick, cone, plate)
        click.echo()
    for line in short:
        print_text(line)
        click.echo()
    print_calibration(model.calibration(), model.cones, wording.describe(plan), whole=check_wanted)
    print_notes([*model.notes, *odd])
    for card in cards:
        click.echo(f"card: {card}")
    if picks and dry_run:
        click.echo("nothing was recorded (--dry-run)")
