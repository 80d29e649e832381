"""A proposal made again from what it stood on, and compared to the last digit."""

from __future__ import annotations

import hashlib
import json
import math
import platform
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import pandas as pd
from threadpoolctl import threadpool_info

import experiments
from experiments.proposed import Proposed, Standing
from experiments.space import Space
from optimiser.proposals import propose
from optimiser.records.estimates import Estimate
from optimiser.records.picks import Pick
from optimiser.report import versions
from optimiser.surrogate import Progress

__all__ = ["Reproduced", "circumstances", "proposal_record", "reproduce", "shortlist_bytes"]


@dataclass(frozen=True)
class Reproduced:
    """What came of making a proposal again.

    Parameters
    ----------
    picks : list of Pick
        As they come out now.
    versions : list of str
        What this computer has otherwise than the one that made the proposal.
    data : list of str
        What the rebuilt plan or data have otherwise.
    differences : list of str
        Where the result differs, the largest first; empty if it is the same to the last digit.
    numbers : int
        How many numbers were compared.
    """

    picks: list[Pick]
    versions: list[str]
    data: list[str]
    differences: list[str]
    numbers: int


def circumstances() -> dict[str, str]:
    """Give all that the last digit of a result depends on, besides seed, plan and data.

    Returns
    -------
    dict of str to str
        The versions; a digest of our own source; the machine; the libraries of linear algebra
        and the kernels that they chose for it.
    """
    blas = {
        f"{one['internal_api']} {one['version']} {one.get('architecture', '')}".strip()
        for one in threadpool_info()
        if one["user_api"] == "blas"
    }
    return {
        **versions(),
        "source": _source(),
        "machine": f"{platform.system()} {platform.machine()}",
        "linear algebra": ", ".join(sorted(blas)),
    }


@cache
def _source() -> str:
    """Digest the text of both packages, so that two states of one version can be told apart."""
    digest = hashlib.sha256()
    for package in (Path(experiments.__file__).parent, Path(__file__).parent):
        for path in sorted(package.rglob("*.py")):
            digest.update(path.relative_to(package).as_posix().encode())
            digest.update(path.read_bytes().replace(b"\r\n", b"\n"))
    return digest.hexdigest()[:16]


def proposal_record(
    picks: Sequence[Pick],
    *,
    seed: int,
    plan: str,
    data: str,
    count: int,
    keep: Mapping[str, Any] | None = None,
    per: str | None = None,
) -> dict[str, Any]:
    """Give what a proposal stores, so that it can be made again.

    Parameters
    ----------
    picks : sequence of Pick
        What came out.
    seed : int
        Where random steps started.
    plan, data : str
        Digests of the plan and of the data that were looked at.
    count, keep, per
        What was asked for: see `propose`.

    Returns
    -------
    dict
        JSON values; numbers to the last digit.
    """
    asked = {"count": count, "keep": dict(keep or {}), "per": per}
    return {
        "seed": seed,
        "plan": plan,
        "data": data,
        "versions": circumstances(),
        "kinds": [pick.kind for pick in picks],
        "asked": {name: value for name, value in asked.items() if value},
        "numbers": [_numbers(pick) for pick in picks],
    }


def shortlist_bytes(candidates: pd.DataFrame) -> bytes:
    """Write the recipes to choose from as the store keeps them; cells without a value are null."""
    plain = candidates.astype(object).where(candidates.notna(), None)
    return json.dumps(plain.to_dict("records"), ensure_ascii=False, sort_keys=True).encode()


def reproduce(
    one: Proposed,
    stood: Standing,
    *,
    earlier: pd.DataFrame | None = None,
    progress: Progress | None = None,
) -> Reproduced:
    """Make a proposal again and say what differs.

    Parameters
    ----------
    one : Proposed
        As it is stored.
    stood : Standing
        What it stood on, from `Ledger.standing`.
    earlier : DataFrame, optional
        The table of the earlier experiment, where the proposal learned from one.
    progress : callable, optional
        See `propose`.

    Returns
    -------
    Reproduced
    """
    asked = one.details.get("asked", {})
    candidates = None
    if stood.shortlist is not None:
        candidates = pd.DataFrame(stood.shortlist)[list(stood.plan.variables)]
    picks = propose(
        stood.plan,
        stood.trials,
        asked.get("count", len(stood.recipes)),
        int(one.details.get("seed") or 0),
        candidates,
        keep=asked.get("keep"),
        per=asked.get("per"),
        earlier=earlier,
        progress=progress,
    )
    differences = _recipes(stood, picks)
    then = one.details.get("numbers", [])
    now = [_numbers(pick) for pick in picks]
    if not differences:
        differences = [
            *_digits([_flat(each) for each in then], [_flat(each) for each in now]),
            *_reasons(one, picks),
        ]
    return Reproduced(
        picks,
        _otherwise(one.details.get("versions", {}), circumstances()),
        _data(one, stood),
        differences,
        sum(len(_flat(each)) for each in then),
    )


def _numbers(pick: Pick) -> dict[str, Any]:
    """Give every number that a pick comes with; what is not known is null."""
    single = {name: getattr(pick, name) for name in ("gain", "exploration", "prints")}
    return {
        "score": _ends(pick.score),
        "expected": {name: _ends(each) for name, each in pick.expected.items()},
        **{name: _plain(value) for name, value in single.items()},
    }


def _ends(estimate: Estimate) -> list[float | None]:
    return [_plain(value) for value in (estimate.mean, estimate.low, estimate.high)]


def _plain(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def _flat(numbers: Mapping[str, Any]) -> dict[str, float | None]:
    """Name each number of a pick."""
    found: dict[str, float | None] = {}
    for name, values in {"score": numbers["score"], **numbers["expected"]}.items():
        for end, value in zip(("mean", "low", "high"), values, strict=True):
            found[f"{name} ({end})"] = value
    return found | {name: numbers[name] for name in ("gain", "exploration", "prints")}


def _recipes(stood: Standing, picks: Sequence[Pick]) -> list[str]:
    """Say which cones have another recipe; both sides are on the steps of one plan."""
    space = Space(stood.plan)
    then = [space.complete(recipe) for recipe in stood.recipes]
    told = []
    if len(then) != len(picks):
        told.append(f"{len(then)} recipes then, {len(picks)} now")
    for place, (old, pick) in enumerate(zip(then, picks, strict=False), start=1):
        moved = [
            f"{name} {old.get(name, 'unused')} then, {pick.settings.get(name, 'unused')} now"
            for name in stood.plan.variables
            if old.get(name) != pick.settings.get(name)
        ]
        if moved:
            told.append(f"recipe {place}: {'; '.join(moved)}")
    return told


def _digits(
    then: Sequence[Mapping[str, float | None]], now: Sequence[Mapping[str, float | None]]
) -> list[str]:
    """Say which numbers differ, the largest relative difference first."""
    found = []
    for place, (old, new) in enumerate(zip(then, now, strict=False), start=1):
        for name, value in old.items():
            other = new.get(name)
            if other != value:
                size = math.inf
                if value is not None and other is not None:
                    size = abs(other - value) / max(abs(value), abs(other))
                text = f"recipe {place}, {name}: {_shown(value)} then, {_shown(other)} now"
                found.append((size, text))
    return [text for _, text in sorted(found, key=lambda each: -each[0])]


def _shown(value: float | None) -> str:
    return "nothing" if value is None else repr(value)


def _reasons(one: Proposed, picks: Sequence[Pick]) -> list[str]:
    return [
        f"recipe {place}: another reason now: {pick.why}"
        for place, (reason, pick) in enumerate(zip(one.reasons, picks, strict=False), start=1)
        if reason != pick.why
    ]


def _otherwise(then: Mapping[str, str], now: Mapping[str, str]) -> list[str]:
    return [
        f"{name} {then.get(name, 'not recorded')} then, {value} now"
        for name, value in now.items()
        if then.get(name) != value
    ]


def _data(one: Proposed, stood: Standing) -> list[str]:
    """Say where the rebuilt plan or data are not what the proposal recorded."""
    found = {"plan": stood.plan.digest, "data": stood.data}
    return [
        f"digest of the {name} {str(one.details.get(name, one.plan))[:12]}… then, "
        f"{digest[:12]}… as rebuilt"
        for name, digest in found.items()
        if one.details.get(name) != digest
    ]
