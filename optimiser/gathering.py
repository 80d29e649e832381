"""Gathering what a report shows: the ledger's table and curves, the model and its answers."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from experiments.acoustics import Impulse
from experiments.errors import ExperimentError
from experiments.records import Cone, Curve
from optimiser import fit, outlook, propose, sensitivity
from optimiser.answers import Pick
from optimiser.findings import gather_findings
from optimiser.heard import envelope_of, line_of
from optimiser.material import Coming, Curves, Material
from optimiser.plates import SetUp, set_up
from optimiser.stored_curves import read_stored

if TYPE_CHECKING:
    from experiments.ledger import Ledger
    from experiments.space import Space
    from optimiser.figures.overlay import Line
    from optimiser.surrogate import Model

__all__ = ["coming_cones", "gather_curves", "gather_material"]

Progress = Callable[[float, str], None]


def gather_material(
    ledger: Ledger,
    *,
    seed: int | None = None,
    made: str = "",
    model: Model | None = None,
    progress: Progress | None = None,
) -> Material:
    """Fit the model, ask it everything that a report tells, and read the curves.

    Parameters
    ----------
    ledger : Ledger
        The experiment.
    seed : int, optional
        Where random steps start; the plan's by default.
    made : str, optional
        Date to show.
    model : Model, optional
        From `fit` on the same trials, to save learning it again.
    progress : callable, optional
        Called with the share done (0..1) and what is being done.

    Returns
    -------
    Material
    """
    tell = progress or (lambda _share, _text: None)
    plan, trials = ledger.plan, ledger.table()
    start = plan.seed if seed is None else seed
    tell(0.0, "learning the metrics")
    model = model or fit(plan, trials, seed=start)
    leader = model.leader()
    tell(0.1, "choosing the next cone")
    coming = coming_cones(ledger, model, start)
    tell(0.2, "weighing the knobs")
    knobs = sensitivity(plan, trials, seed=start, model=model)
    tell(0.4, "weighing one more cone")
    look = outlook(plan, trials, seed=start, model=model)
    findings = gather_findings(
        ledger,
        model,
        start,
        coming=coming,
        progress=lambda share, said: tell(0.5 + 0.4 * share, said),
    )
    tell(0.9, "reading the curves")
    curves = gather_curves(ledger, int(leader.cone) if leader is not None else None)
    judged = model.as_judged(trials)
    return Material(
        plan=plan,
        trials=trials,
        scores=model.scores(trials),
        leader=leader,
        coming=coming,
        knobs=knobs,
        outlook=look,
        calibration=model.calibration(),
        curves=curves,
        findings=findings,
        notes=model.notes,
        data_digest=ledger.data_digest(),
        made=made,
        judged=judged.assign(score=model.scores(judged)) if model.aged else None,
    )


def coming_cones(ledger: Ledger, model: Model, seed: int) -> list[Coming]:
    """Give the cones that are planned or printed, else a fresh proposal (not recorded)."""
    cones = ledger.cones()
    waiting = [cone for cone in cones if cone.status in ("planned", "printed")]
    if not waiting:
        picks = propose(ledger.plan, ledger.table(), 1, seed, model=model)
        return [Coming(None, "proposed", pick) for pick in picks]
    recipes = ledger.space.rows([cone.settings for cone in waiting])
    changes = [_set_up(ledger.space, cones, cone) for cone in waiting]
    effort = ledger.space.effort(recipes)
    expected = model.expected(recipes)
    scores = model.predict_score(recipes)
    printing = model.printability.estimate(model.encoding(recipes))
    return [
        Coming(
            cone.number,
            cone.status,
            Pick(
                settings=cone.settings,
                expected=expected[place],
                score=scores[place],
                why=cone.reason or f"Recorded as {cone.status}, not proposed.",
                prints=printing[place].mean,
                printing=printing[place],
                minutes=float(effort["minutes"].iloc[place]) + changes[place].minutes,
                money=float(effort["money"].iloc[place]),
                set_up=changes[place].minutes,
                set_ups=changes[place].variables,
            ),
        )
        for place, cone in enumerate(waiting)
    ]


def _set_up(space: Space, cones: Sequence[Cone], cone: Cone) -> SetUp:
    """Count the set-up changes that a planned cone needs after the cone before it."""
    earlier = [each for each in cones if each.number < cone.number]
    if cone.status != "planned" or not earlier:
        return SetUp(0.0, [])
    rows = space.rows([max(earlier, key=lambda each: each.number).settings, cone.settings])
    before, after = space.codes(rows)
    return set_up(space, before, after)


def gather_curves(ledger: Ledger, best: int | None) -> Curves:
    """Read each cone's latest response and distortion, and one impulse response.

    Parameters
    ----------
    ledger : Ledger
        The experiment.
    best : int or None
        The cone whose impulse response is wanted; the last measured one if it has none.
    """
    found: dict[str, dict[int, Line]] = {"response": {}, "distortion": {}}
    impulses: dict[int, Impulse] = {}
    notes: list[str] = []
    for stored in _latest(ledger):
        try:
            curves = read_stored(stored)
        except ExperimentError as error:
            notes.append(f"Cone {stored.cone}, {stored.name}: not drawn ({error}).")
            continue
        for kind in found:
            # A response file is nearer to what was measured than one made from an impulse.
            if kind in curves and (stored.kind == kind or stored.cone not in found[kind]):
                found[kind][stored.cone] = line_of(curves[kind], stored.cone)
        if isinstance(curves.get("impulse"), Impulse):
            impulses[stored.cone] = curves["impulse"]
    cone = best if best in impulses else max(impulses, default=None)
    return Curves(
        response=[found["response"][key] for key in sorted(found["response"])],
        distortion=[found["distortion"][key] for key in sorted(found["distortion"])],
        impulse=line_of(impulses[cone], cone) if cone is not None else None,
        envelope=envelope_of(impulses[cone]) if cone is not None else None,
        notes=notes,
    )


def _latest(ledger: Ledger) -> list[Curve]:
    """Give the last file of each kind of each cone that counts."""
    counts = {cone.number for cone in ledger.cones() if cone.status == "measured"}
    latest: dict[tuple[int, str], Curve] = {}
    for curve in ledger.iterate_curves():
        if curve.cone in counts:
            latest[curve.cone, curve.kind] = curve
    return list(latest.values())
