"""The shape of a plan file: which keys exist, of which type. Pydantic does the type checks.

What needs more than one field (low < high, a parent that exists) is in `experiments.plan_checks`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Annotated, Any, Literal, TypeVar, get_args

from pydantic import BaseModel, ConfigDict, Field, ValidationError
from pydantic_core import ErrorDetails

from experiments.errors import Problem
from experiments.grammar import suggest

__all__ = [
    "AgeingKeys",
    "DerivedKeys",
    "EffortKeys",
    "FileKeys",
    "MetricKeys",
    "PlanKeys",
    "Problems",
    "RigKeys",
    "SessionsKeys",
    "VariableKeys",
    "read",
    "read_each",
    "show",
]

Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Whole = Annotated[int, Field(strict=True)]
Text = Annotated[str, Field(strict=True, max_length=10_000)]
Table = Annotated[dict[str, Any], Field(strict=True)]
_SWEEP = r"^[\d.]+:[\d.]+:[\d.]+$"
Items = Annotated[list[Any], Field(strict=True)]
OldName = Annotated[str, Field(strict=True, min_length=1, max_length=60)]


class Problems(list[Problem]):
    """What was found wrong so far."""

    def note(self, where: str, found: str, expected: str, remedy: str = "") -> None:
        """Add one problem; see `experiments.errors.Problem`."""
        self.append(Problem(where, found, expected, remedy))


class _Keys(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class PlanKeys(_Keys):
    """The top level of a plan."""

    name: Annotated[str, Field(strict=True, min_length=1, max_length=200)]
    seed: Annotated[int, Field(strict=True, ge=0, lt=2**32)] = 0
    note: Text = ""
    goal: Literal["score", "trade"] = "score"
    variables: Table
    derived: Table = {}
    rules: Table = {}
    metrics: Table
    effort: Table = {}
    sessions: Table = {}
    ageing: Table = {}
    rig: Table = {}


class VariableKeys(_Keys):
    """``[variables.NAME]``."""

    kind: Literal["continuous", "integer", "ordered", "choice"]
    unit: Text = ""
    low: Number | None = None
    high: Number | None = None
    step: Annotated[float, Field(strict=True, gt=0, allow_inf_nan=False)] | None = None
    levels: Items | None = None
    scale: Literal["linear", "log"] = "linear"
    only_when: Table = {}
    before: Any = None
    was: OldName | None = None
    were: dict[str, OldName] = {}
    setup_minutes: Annotated[float, Field(strict=True, ge=0, allow_inf_nan=False)] = 0.0
    tolerance: Annotated[float, Field(strict=True, ge=0, allow_inf_nan=False)] = 0.0
    per: Literal["cone", "plate"] = "cone"
    cautions: Table = {}
    label: Text = ""
    note: Text = ""


class DerivedKeys(_Keys):
    """``[derived.NAME]``."""

    formula: Text
    unit: Text = ""
    label: Text = ""
    note: Text = ""


class MetricKeys(_Keys):
    """``[metrics.NAME]``; the last five are options of a measure."""

    source: Literal["response", "distortion", "impulse", "sweep", "hand"] | None = Field(
        default=None, alias="from"
    )
    measure: Text | None = None
    unit: Text | None = None
    goal: Literal["maximise", "minimise", "target", "watch"] | None = None
    poor: Any = None
    good: Number | None = None
    weight: Annotated[float, Field(strict=True, gt=0, allow_inf_nan=False)] = 1.0
    limit: Any = None
    shape: Annotated[float, Field(strict=True, gt=0, allow_inf_nan=False)] = 1.0
    was: OldName | None = None
    label: Text = ""
    note: Text = ""
    drop_db: Annotated[float, Field(strict=True, gt=0, allow_inf_nan=False)] | None = None
    smooth: Annotated[float, Field(strict=True, ge=0.25, le=192)] | None = None
    band: Any = None
    thd_of: Literal["fundamental", "total"] | None = None
    prominence_db: Annotated[float, Field(strict=True, gt=0, allow_inf_nan=False)] | None = None


class EffortKeys(_Keys):
    """``[effort]``."""

    minutes: Any = None
    money: Any = None
    currency: Text = ""
    assume: dict[str, Number] = {}


class SessionsKeys(_Keys):
    """``[sessions]``."""

    reference_cone: Annotated[int, Field(strict=True, ge=1)] | None = None


class FileKeys(_Keys):
    """``[rig.files.KIND]``: how the rig writes its files, where reading them needs help."""

    columns: list[Text] | None = Field(default=None, strict=True)
    unit: Text | None = None
    decimal: Literal[".", ","] | None = None
    delimiter: Annotated[str, Field(strict=True, min_length=1, max_length=10)] | None = None
    encoding: Text | None = None
    channel: Annotated[int, Field(strict=True, ge=1)] | None = None
    loopback: Annotated[int, Field(strict=True, ge=1)] | None = None
    rate: Annotated[float, Field(strict=True, gt=0, allow_inf_nan=False)] | None = None
    sweep: Annotated[str, Field(strict=True, pattern=_SWEEP)] | None = None
    sensitivity_dbfs: Annotated[Number, Field(ge=-140, le=20)] | None = None
    drive_volts: Annotated[Number, Field(gt=0)] | None = None
    distance_m: Annotated[Number, Field(gt=0)] | None = None


class AgeingKeys(_Keys):
    """``[ageing]``."""

    light_hours: Annotated[Number, Field(gt=0)] | None = None
    age_days: Annotated[Number, Field(gt=0)] | None = None


class RigKeys(_Keys):
    """``[rig]``."""

    files: Table = {}


Keys = TypeVar("Keys", bound=_Keys)
Made = TypeVar("Made")


def read(
    model: type[Keys], data: Any, where: str, problems: Problems, subject: str = "a table"
) -> Keys | None:
    """Check one table of the plan against its keys.

    Parameters
    ----------
    model : type
        One of the classes above.
    data : object
        What stands in the plan.
    where : str
        Field path of the table; empty for the top level.
    problems : Problems
        Every problem found is appended.
    subject : str
        What is expected in words, should `data` not be a table at all.

    Returns
    -------
    model or None
        Without the keys that were wrong; None if nothing can be made of the others.
    """
    if not isinstance(data, Mapping):
        problems.append(Problem(where or "plan", show(data), subject))
        return None
    try:
        return model.model_validate(data)
    except ValidationError as error:
        problems.extend(_problem(model, item, where) for item in error.errors())
        wrong = {item["loc"][0] for item in error.errors() if item["loc"]}
    try:
        return model.model_validate({key: data[key] for key in data if key not in wrong})
    except ValidationError:  # a key that is needed is missing or was wrong
        return None


def read_each(
    model: type[Keys],
    section: Mapping[str, Any],
    where: str,
    problems: Problems,
    build: Callable[[Problems, str, Keys], Made | None],
) -> dict[str, Made]:
    """Check every table of a section, and build those in which nothing is wrong.

    Parameters
    ----------
    model : type
        One of the classes above.
    section : mapping
        Names and their tables.
    where : str
        Field path of the section.
    problems : Problems
        Every problem found is appended.
    build : callable
        Makes the part from its name and its keys; it may find further problems.

    Returns
    -------
    dict of str to what `build` makes
        The sound ones, in plan order.
    """
    made: dict[str, Made] = {}
    for name, raw in section.items():
        before = len(problems)
        keys = read(model, raw, f"{where}.{name}", problems)
        told = [problem.where for problem in problems[before:]]
        if keys is None:
            continue
        found = Problems()
        part = build(found, name, keys)
        # What follows from a key that was left out is no news.
        problems.extend(one for one in found if not _below(one.where, told))
        if part is not None and not found and not told:
            made[name] = part
    return made


def _below(where: str, paths: Sequence[str]) -> bool:
    """Tell whether a place is one of some paths, or lies under or over one."""
    return any(
        where == path or where.startswith(f"{path}.") or path.startswith(f"{where}.")
        for path in paths
    )


def show(value: Any) -> str:
    """Show a value as a plan file would write it, shortened."""
    if isinstance(value, str):
        text = f'"{value}"'
    elif isinstance(value, bool):
        text = "true" if value else "false"
    elif isinstance(value, int) and abs(value) >= 10**30:
        text = "a number with very many digits"
    elif isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        text = str(int(value))
    elif isinstance(value, Mapping):
        text = f"a table with {', '.join(map(str, value)) or 'nothing in it'}"
    elif isinstance(value, Sequence):
        text = "[" + ", ".join(show(item) for item in value[:12]) + "]"
    else:
        text = str(value)
    return text if len(text) <= 80 else text[:76] + " ..."


_EXPECTED = {
    "string_type": "text in quotes",
    "string_too_short": "some text",
    "float_type": "a number",
    "int_type": "a whole number",
    "finite_number": "a finite number",
    "list_type": "a list in square brackets",
    "dict_type": "a table",
    "string_pattern_mismatch": "F1:F2:SECONDS, such as 20:20000:10",
}
_BOUNDS = {
    "greater_than": ("gt", "a number above {}"),
    "greater_than_equal": ("ge", "a number of at least {}"),
    "less_than": ("lt", "a number below {}"),
    "less_than_equal": ("le", "a number of at most {}"),
    "string_too_long": ("max_length", "at most {} characters"),
}


def _problem(model: type[_Keys], item: ErrorDetails, where: str) -> Problem:
    path = ".".join(str(part) for part in (where, *item["loc"]) if part != "")
    kind, key = item["type"], str(item["loc"][-1])
    known = [field.alias or name for name, field in model.model_fields.items()]
    if kind == "missing":
        choices = get_args(model.model_fields[key].annotation)
        listed = f" ({', '.join(map(str, choices))})" if choices else ""
        return Problem(path, "nothing", f"the key '{key}'{listed}")
    if kind == "extra_forbidden":
        hint = suggest(key, known)
        expected = "a known key" if hint else f"one of {', '.join(known)}"
        return Problem(path, f"the unknown key '{key}'", expected, hint)
    if kind == "literal_error":
        expected = str(item.get("ctx", {}).get("expected", "another value")).replace("'", '"')
        words = [word.strip(' "') for word in expected.replace(" or ", ", ").split(",")]
        hint = suggest(str(item["input"]).lower(), words)
        return Problem(path, show(item["input"]), expected, hint)
    if kind in _BOUNDS:
        name, text = _BOUNDS[kind]
        return Problem(path, show(item["input"]), text.format(item.get("ctx", {}).get(name)))
    return Problem(path, show(item["input"]), _EXPECTED.get(kind, item["msg"]))
