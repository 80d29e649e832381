"""Options and arguments that verbs share."""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, TypeVar, cast

import click

from experiments.entries import typed_number, with_point
from experiments.errors import LedgerError
from experiments.naming import meant
from experiments.outputs import Kind, check_output, is_sealed, is_sealed_png
from experiments.plan_parts import Metric, Variable

__all__ = [
    "NUMBER",
    "Whole",
    "answer_options",
    "as_json",
    "cone_argument",
    "confirmed",
    "force_option",
    "in_folder",
    "name_pairs",
    "parse_number",
    "parse_pairs",
    "picture_files",
    "random_seed",
    "whole_check",
]

Wrapped = TypeVar("Wrapped", bound=Callable[..., Any])


def in_folder(function: Wrapped) -> Wrapped:
    """Add ``--in FOLDER``; the verb gets `folder`."""
    return click.option(
        "--in",
        "folder",
        type=click.Path(path_type=Path),
        default=Path("."),
        metavar="FOLDER",
        help="Folder of the experiment; the present folder by default.",
    )(function)


def as_json(function: Wrapped) -> Wrapped:
    """Add ``--json``; the verb gets `json_wanted`."""
    return click.option("--json", "json_wanted", is_flag=True, help="Print JSON instead of text.")(
        function
    )


def force_option(function: Wrapped) -> Wrapped:
    """Add ``--force``; the verb gets `force`."""
    return click.option(
        "--force",
        is_flag=True,
        help="Overwrite a file that coneloop did not make, or that was edited.",
    )(function)


def confirmed(question: str) -> bool:
    """Ask on stderr; no is the answer unless yes was typed.

    Raises
    ------
    click.UsageError
        If the input ends before anybody answered, as in a pipe.
    """
    try:
        return click.confirm(question, err=True)
    except click.Abort as error:
        if not isinstance(error.__context__, EOFError):
            raise
        click.echo(err=True)
        raise click.UsageError(
            f"found the end of the input, expected an answer to {question!r}. Nothing was "
            "changed; --yes does it without asking"
        ) from None


_PICTURES = {
    "svg": Kind("an SVG picture", (".svg",), is_sealed),
    "png": Kind("a PNG picture", (".png",), is_sealed_png),
}


def picture_files(function: Wrapped) -> Wrapped:
    """Add ``--png FILE`` and ``--svg FILE``, checked beforehand; the verb gets `png` and `svg`."""

    @functools.wraps(function)
    def checked(*args: Any, force: bool, **given: Any) -> Any:
        for name, kind in _PICTURES.items():
            if given[name] is not None:
                check_output(given[name], kind, force=force)
        return function(*args, **given)

    verb: Any = force_option(checked)
    for name in _PICTURES:
        verb = click.option(
            f"--{name}",
            type=click.Path(path_type=Path),
            metavar="FILE",
            help=f"Write the picture as {name.upper()}.",
        )(verb)
    return cast(Wrapped, verb)


def random_seed(function: Wrapped) -> Wrapped:
    """Add ``--seed N``; the verb gets `seed`, None for the plan's own."""
    return click.option(
        "--seed",
        type=Whole(min=0),
        metavar="N",
        help="Where random steps start; the plan's seed by default.",
    )(function)


def whole_check(function: Wrapped) -> Wrapped:
    """Add ``--calibration``; the verb gets `check_wanted`."""
    return click.option(
        "--calibration",
        "check_wanted",
        is_flag=True,
        help="Show the whole check of the model, each cone foretold without itself, as a table.",
    )(function)


def answer_options(function: Wrapped) -> Wrapped:
    """Add what every answer takes: pictures, the check, seed, folder, ``--json``."""
    return picture_files(whole_check(random_seed(in_folder(as_json(function)))))


def cone_argument(function: Wrapped) -> Wrapped:
    """Add the argument CONE, a number from 1."""
    return click.argument("cone", type=Whole(min=1), metavar="CONE")(function)


def parse_number(text: str, where: str) -> float:
    """Read a number with a decimal point or a decimal comma.

    Raises
    ------
    click.BadParameter
        If it is no finite number.
    """
    try:
        return typed_number(text, where)
    except LedgerError as error:
        raise click.BadParameter(str(error)) from None


def parse_pairs(pairs: tuple[str, ...], option: str) -> dict[str, str]:
    """Split ``name=value`` texts; a value's decimal comma becomes a point.

    Raises
    ------
    click.BadParameter
        For a text without ``=``, without a name, or a name given twice.
    """
    found: dict[str, str] = {}
    for pair in pairs:
        name, sign, value = pair.partition("=")
        name, value = name.strip(), value.strip()
        if not sign or not name or not value:
            raise click.BadParameter(f"{option}: found {pair!r}, expected name=value")
        if name in found:
            raise click.BadParameter(f"{option}: {name} is given twice; give it once")
        found[name] = with_point(value)
    return found


def name_pairs(
    pairs: Mapping[str, str], parts: Mapping[str, Variable | Metric], option: str
) -> dict[str, str]:
    """Put the names of the plan where labels were typed; unknown words stay as they are.

    Raises
    ------
    click.BadParameter
        If a name and its label are both given.
    """
    found: dict[str, str] = {}
    for typed, value in pairs.items():
        name = meant(typed, parts)
        if name in found:
            raise click.BadParameter(f"{option}: {name} is given twice; give it once")
        found[name] = value
    return found


class _Number(click.ParamType):  # type: ignore[type-arg,unused-ignore]
    """A finite number, written with a decimal point or a decimal comma."""

    name = "number"

    def convert(
        self,
        value: Any,
        param: click.Parameter | None,
        ctx: click.Context | None,  # noqa: ARG002
    ) -> float:
        """Read the number, or refuse with the option's name."""
        if isinstance(value, int | float):
            return float(value)
        name = param.opts[0] if param is not None else "value"
        return parse_number(str(value), name)


NUMBER = _Number()


class Whole(click.IntRange):
    """A whole number in a range."""

    name = "number"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Read the number, or say which ones can be."""
        try:
            return super().convert(value, param, ctx)
        except click.BadParameter:
            ends = f"from {self.min} " + ("upwards" if self.max is None else f"to {self.max}")
            self.fail(f"found {str(value)!r}, expected a whole number {ends}", param, ctx)
