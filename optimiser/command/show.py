"""How verbs print: tables, JSON, pictures, progress, and the lines below every answer."""

from __future__ import annotations

import dataclasses
import json
import math
import textwrap
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click
import numpy as np
import pandas as pd
from rich.console import Console
from rich.padding import Padding
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn
from rich.table import Table
from rich.text import Text

from experiments.outputs import MARK, seal, seal_png, write_whole
from optimiser import wording
from optimiser.answer_tables import Table as Rows
from optimiser.answer_tables import check_table
from optimiser.answers import Calibration

__all__ = [
    "console",
    "print_calibration",
    "print_json",
    "print_notes",
    "print_rows",
    "print_table",
    "print_text",
    "progress",
    "save_picture",
    "to_plain",
]

LEAST = 3  # cones below which leaving one out says nothing


def console() -> Console:
    """Give the console on stdout; made anew, so that tests can catch what it prints."""
    return Console(highlight=False, soft_wrap=False, emoji=False, markup=False)


def to_plain(value: Any) -> Any:
    """Turn an answer into JSON values: records become objects, NaN becomes null.

    Parameters
    ----------
    value : object
        Dataclass, mapping, sequence, DataFrame, numpy scalar or plain value.
    """
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        names = [each.name for each in dataclasses.fields(value)]
        return {name: to_plain(getattr(value, name)) for name in names}
    if isinstance(value, pd.DataFrame):
        return [to_plain(row) for row in value.to_dict(orient="records")]
    if isinstance(value, Mapping):
        return {_key(key): to_plain(each) for key, each in value.items()}
    if isinstance(value, np.ndarray):
        return to_plain(value.tolist())
    if isinstance(value, list | tuple | set | frozenset):
        return [to_plain(each) for each in value]
    if isinstance(value, np.generic):
        return to_plain(value.item())
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if value is None or isinstance(value, str | int | bool):
        return value
    return None if value is pd.NA or value is pd.NaT else str(value)


def _key(key: Any) -> str:
    return f"{key:g}" if isinstance(key, float) else str(key)


def print_json(value: Any) -> None:
    """Print one JSON document on stdout."""
    click.echo(json.dumps(to_plain(value), ensure_ascii=False, indent=2, allow_nan=False))


def print_table(
    title: str,
    heads: Sequence[str],
    rows: Sequence[Sequence[str]],
    *,
    right: Sequence[int] = (),
    whole: Sequence[int] = (),
) -> None:
    """Print a table that fits the terminal; cells wrap at words.

    Parameters
    ----------
    title : str
        What it shows; may be empty.
    heads : list of str
        Column heads.
    rows : list of list of str
        Cells.
    right : list of int, optional
        Columns set to the right.
    whole : list of int, optional
        Columns whose cells do not wrap, if the others' longest words then fit beside them.
    """
    screen = console()
    if _least(heads, rows, whole) > screen.width:
        whole = ()
    table = Table(
        box=None,
        pad_edge=False,
        padding=(0, 2, 0, 0),
        header_style="bold",
        show_header=any(heads),
    )
    for index, head in enumerate(heads):
        table.add_column(
            head,
            justify="right" if index in right else "left",
            overflow="fold",
            no_wrap=index in whole,
        )
    for row in rows:
        table.add_row(*[Text(cell) for cell in row])
    if title:
        screen.print(Text(title, style="bold"))
    screen.print(Padding(table, (0, 0, 0, 2)))


def _least(heads: Sequence[str], rows: Sequence[Sequence[str]], whole: Sequence[int]) -> int:
    """Count the letters that a table takes at least, some columns' cells being whole."""
    widths = []
    for place, column in enumerate(zip(heads, *rows, strict=True)):
        parts = column if place in whole else [word for cell in column for word in cell.split(" ")]
        widths.append(max(map(len, parts), default=0) + 2)
    return sum(widths) + 2


def print_rows(table: Rows, *, right: Sequence[int] = ()) -> None:
    """Print an answer's table; see `print_table`. Short cells stay whole where they fit."""
    whole = range(1, len(table.heads)) if table.narrow else ()
    print_table(table.title, table.heads, table.rows, right=right, whole=whole)


def print_text(text: str) -> None:
    """Print a paragraph that fits the terminal; a number and its unit stay together."""
    screen = console()
    # rich breaks lines at no-break spaces too, textwrap does not.
    screen.print(Text("\n".join(textwrap.wrap(text, screen.width))))


def print_notes(notes: Sequence[str], *, title: str = "Notes") -> None:
    """Print remarks as a list; nothing if there are none."""
    if not notes:
        return
    screen = console()
    screen.print(Text(title, style="bold"))
    for note in dict.fromkeys(notes):
        _item(screen, note)


def _item(screen: Console, text: str) -> None:
    """Print one item with a hanging indent."""
    grid = Table.grid(padding=(0, 1, 0, 0))
    grid.add_column(width=1)
    grid.add_column(overflow="fold")
    grid.add_row("·", Text(text))
    screen.print(Padding(grid, (0, 0, 0, 2)))


def print_calibration(
    checks: Sequence[Calibration], cones: int, labels: Mapping[str, str], *, whole: bool
) -> None:
    """Print how well the models foretell cones they were not shown, and how many there are.

    Parameters
    ----------
    checks : list of Calibration
    cones : int
        Measured cones.
    labels : mapping of str to str
        Words for the metrics' names.
    whole : bool
        As a table, else in one sentence.
    """
    head = f"Stands on {wording.many(cones, 'measured cone')}"
    known = [check for check in checks if check.cones >= LEAST]
    if not known:
        print_text(f"{head}: too few to check the models.")
    elif whole:
        table = check_table(known, labels)
        print_table(f"{head}; each foretold without itself:", table.heads, table.rows)
        if doubt := wording.not_foretold(known, labels):
            print_text(doubt)
    else:
        told = "; ".join(_short(check, labels) for check in known)
        doubt = wording.not_foretold(known, labels)
        print_text(
            f"{head}. Left out in turn, inside their 90 % interval (typical miss of the cones' "
            f"spread): {told}."
            f"{f' {doubt}' if doubt else ''} --calibration shows the table."
        )


def _short(check: Calibration, labels: Mapping[str, str]) -> str:
    name = labels.get(check.metric, check.metric)
    error, spread = (wording.number(value, check.error) for value in (check.error, check.spread))
    missed = f"{error} of {wording.with_unit(spread, check.unit)}"
    return f"{name} {check.inside} of {check.cones} ({missed})"


def save_picture(draw: Callable[[], Any], png: Path | None, svg: Path | None, text: str) -> None:
    """Write a picture to the files asked for, and say so on stderr.

    Parameters
    ----------
    draw : callable
        Gives the figure; called only if a file is asked for.
    png, svg : Path or None
        The files.
    text : str
        Words for those who cannot see it.
    """
    if png is None and svg is None:
        return
    from optimiser.figures import to_png, to_svg

    for path, write in ((png, to_png), (svg, lambda figure: to_svg(figure, alternative=text))):
        if path is None:
            continue
        made = write(draw())
        sealed = (
            seal_png(made)
            if isinstance(made, bytes)
            else seal(f"{made}<!-- {MARK} -->\n".encode())
        )
        write_whole(path, sealed)
        click.echo(f"wrote {path}", err=True)


@contextmanager
def progress(title: str) -> Iterator[Callable[[float, str], None]]:
    """Show how far long work is, on stderr: a bar in a terminal, else one plain line.

    Yields
    ------
    callable
        Takes the share done (0..1) and what is being done.
    """
    screen = Console(stderr=True, highlight=False, emoji=False, markup=False)
    if not screen.is_terminal:
        click.echo(f"{title} …", err=True)
        yield lambda _share, _text: None
        return
    columns = (
        TextColumn("{task.fields[title]}"),
        BarColumn(bar_width=24),
        TextColumn("{task.percentage:>3.0f} %"),
        TimeElapsedColumn(),
        TextColumn("{task.description}"),
    )
    with Progress(*columns, console=screen, transient=True) as bar:
        task = bar.add_task("", total=1.0, title=title)

        def tell(share: float, text: str) -> None:
            bar.update(task, completed=min(max(share, 0.0), 1.0), description=text)

        yield tell
