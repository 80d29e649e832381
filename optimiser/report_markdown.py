"""The report as Markdown with pictures beside it, for a page on the web.

Paragraphs, lists and pipe tables as GitHub Flavored Markdown knows them
(https://github.github.com/gfm), nothing else: no HTML but one comment at the end.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import singledispatch
from pathlib import Path
from urllib.parse import quote

from experiments.errors import OutputError, Problem
from experiments.outputs import (
    MARK,
    Kind,
    check_output,
    is_sealed_png,
    seal,
    seal_png,
    write_whole,
)
from optimiser.document import (
    Beside,
    Block,
    Cards,
    Caution,
    Heading,
    Items,
    Pairs,
    Picture,
    Pictures,
    Section,
    Terms,
    Text,
    pictures_in,
)
from optimiser.figures import to_png
from optimiser.material import Material
from optimiser.report import counts, report_sections
from optimiser.text_table import Table

__all__ = [
    "Post",
    "check_pictures",
    "markdown_files",
    "pictures_folder",
    "report_markdown",
    "write_markdown",
]

_PNG = Kind("a picture", (".png",), is_sealed_png)

# ASCII punctuation that may start something anywhere in a line (GFM 6.1 lets each be escaped).
_ANYWHERE = re.compile(r"([\\`*_\[\]<>|~&$])")
# What may start a heading, a list, a line below a heading, a fence or a number at a line's start.
_AT_START = re.compile(r"^([-+#=:]|\d+(?=[.)]))")
_BREAKS = re.compile(r"[ \t\r\n\f\v\x85\u2028\u2029]+")  # not the space that keeps a unit


@dataclass(frozen=True)
class Post:
    """A report as Markdown, and the pictures that it points at.

    Parameters
    ----------
    text : str
    pictures : dict of str to Picture
        By the name of the file in the folder beside it.
    """

    text: str
    pictures: dict[str, Picture]


def report_markdown(material: Material, folder: str) -> Post:
    """Write the report as Markdown: the same sections as the page, from the same material.

    Parameters
    ----------
    material : Material
        What to show.
    folder : str
        Name of the folder of pictures, beside the file.

    Returns
    -------
    Post
        Every text of the user is escaped. Equal material gives equal text.
    """
    sections = report_sections(material)
    made = f" · report of {material.made}" if material.made else ""
    lines = [f"# {plain(material.plan.name)}", f"{_line(counts(material))}{made}"]
    for section in sections:
        lines += _section(section, folder)
    lines.append("Made with coneloop. Intervals are 90 % unless said otherwise.")
    found = {f"{p.key}.png": p for section in sections for p in pictures_in(section.blocks)}
    return Post("\n\n".join(lines) + "\n", found)


def plain(text: str) -> str:
    """Escape a text inside a line, so that it is read as it is written; no address is a link."""
    escaped = _ANYWHERE.sub(r"\\\1", _BREAKS.sub(" ", text).strip())
    return escaped.replace("://", "\\://").replace("www.", "www\\.").replace("@", "\\@")


def _line(text: str) -> str:
    """Escape a text that starts a line."""
    return _AT_START.sub(lambda m: _started(m[1]), plain(text))


def _started(start: str) -> str:
    """Escape what stands at a line's start; of a number, what follows it."""
    return f"{start}\\" if start.isdigit() else f"\\{start}"


def _code(formula: str) -> str:
    """Give a code span, its fence longer than any run of backticks inside (GFM 6.3)."""
    words = " ".join(formula.split())
    longest = max((len(run) for run in re.findall("`+", words)), default=0)
    fence = "`" * (longest + 1)
    room = " " if longest else ""
    return f"{fence}{room}{words}{room}{fence}"


def _section(section: Section, folder: str) -> Iterator[str]:
    yield f"## {plain(section.title)}"
    for block in section.blocks:
        yield from _lines(block, folder)


@singledispatch
def _lines(block: Block, folder: str) -> Iterator[str]:  # noqa: ARG001
    """Give a block's paragraphs."""
    raise TypeError(f"no Markdown for {type(block).__name__}")


@_lines.register
def _text(block: Text, _folder: str) -> Iterator[str]:
    yield _line(block.words)


@_lines.register
def _heading(block: Heading, _folder: str) -> Iterator[str]:
    yield f"### {plain(block.words)}"


@_lines.register
def _pairs(block: Pairs, _folder: str) -> Iterator[str]:
    yield "\n".join(f"- {_line(name)}: **{plain(value)}**" for name, value in block.rows)


@_lines.register
def _items(block: Items, _folder: str) -> Iterator[str]:
    yield "\n".join(
        f"- {_line(item.words)}{f': {_code(item.formula)}' if item.formula else ''}"
        for item in block.items
    )


@_lines.register
def _cards(block: Cards, _folder: str) -> Iterator[str]:
    for card in block.cards:
        yield f"### {plain(card.title)}"
        yield f"**{plain(card.answer)}**"
        yield from map(_line, [*card.lines, *card.asides])


@_lines.register
def _caution(block: Caution, _folder: str) -> Iterator[str]:
    yield f"### {plain(block.topic)}"
    yield "\n".join(f"- {_line(line)}" for line in block.lines)


@_lines.register
def _terms(block: Terms, _folder: str) -> Iterator[str]:
    for each in block.terms:
        used = f", used here as {plain(each.used)}" if each.used else ""
        unit = f" ({plain(each.unit)})" if each.unit else ""
        yield f"**{plain(each.label)}** {_code(each.name)}{unit}{used}"
        yield f"{_line(each.definition)} {plain(each.source)}"


@_lines.register
def _picture(block: Picture, folder: str) -> Iterator[str]:
    yield f"![{plain(block.alternative)}]({quote(folder)}/{quote(block.key)}.png)"
    yield f"*{plain(block.caption)}*"


@_lines.register
def _pictures(block: Pictures, folder: str) -> Iterator[str]:
    for picture in block.pictures:
        yield from _picture(picture, folder)


@_lines.register
def _beside(block: Beside, folder: str) -> Iterator[str]:
    for each in [*block.left, *block.right]:
        yield from _lines(each, folder)


@_lines.register
def _table(block: Table, _folder: str) -> Iterator[str]:
    """Give a pipe table (GFM 4.10); the marked rows are bold."""
    yield f"{_line(block.title)}:"
    lines = [_row(block.heads), _row(["---"] * len(block.heads), raw=True)]
    for place, row in enumerate(block.rows):
        lines.append(_row(row, bold=place in block.marked))
    yield "\n".join(lines)


def _row(cells: Sequence[str], *, bold: bool = False, raw: bool = False) -> str:
    shown = [cell if raw else plain(str(cell)) for cell in cells]
    shown = [f"**{cell}**" if bold and cell else cell for cell in shown]
    return f"| {' | '.join(shown)} |"


def pictures_folder(path: Path) -> Path:
    """Give the folder of a report's pictures, beside it."""
    return path.with_name(f"{path.stem}_pictures")


def check_pictures(path: Path) -> Path:
    """Make sure that the pictures' folder can be used, before any work is done.

    Raises
    ------
    OutputError
        Where a file stands in its place.
    """
    folder = pictures_folder(path)
    if folder.exists() and not folder.is_dir():
        raise OutputError(
            Problem(
                str(folder), "a file", "a folder for the pictures, or nothing",
                "Move it away, or call the report otherwise.",
            )
        )  # fmt: skip
    return folder


def markdown_files(material: Material, path: Path) -> dict[Path, bytes]:
    """Make the report and its pictures.

    Parameters
    ----------
    material : Material
    path : Path
        Where the Markdown goes; the pictures go into `pictures_folder`.

    Returns
    -------
    dict of Path to bytes
        The report first; each file bears its seal.
    """
    folder = pictures_folder(path)
    post = report_markdown(material, folder.name)
    pictures = {folder / name: seal_png(to_png(one.draw())) for name, one in post.pictures.items()}
    return {path: seal(f"{post.text}\n<!-- {MARK} -->\n".encode()), **pictures}


def write_markdown(material: Material, path: Path, *, force: bool = False) -> list[Path]:
    """Write the report and its pictures; each file whole, the report last.

    Parameters
    ----------
    material : Material
    path : Path
        Where the Markdown goes; the pictures go into `pictures_folder`.
    force : bool
        Overwrite pictures that are not of our making, or were edited.

    Returns
    -------
    list of Path
        The report, then its pictures.

    Raises
    ------
    OutputError
        Where a picture of somebody else has a name that is needed; nothing is written then.
    """
    folder = check_pictures(path)
    files = markdown_files(material, path)
    report, *pictures = files
    if folder.exists():
        for each in pictures:
            check_output(each, _PNG, force=force)
    folder.mkdir(exist_ok=True)
    written = [write_whole(each, files[each]) for each in pictures]
    return [write_whole(report, files[report]), *written]
