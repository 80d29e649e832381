"""What a report is made of, whatever it is written as: sections of plain blocks.

A block knows what it says, not how it looks: `optimiser.report` writes it as HTML,
`optimiser.report_markdown` as Markdown.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

from optimiser.text_table import Table

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = [
    "Beside",
    "Block",
    "Card",
    "Cards",
    "Caution",
    "Heading",
    "Item",
    "Items",
    "Pairs",
    "Picture",
    "Pictures",
    "Section",
    "Term",
    "Terms",
    "Text",
    "pictures_in",
]


@dataclass(frozen=True)
class Text:
    """A paragraph; `quiet` ones explain what stands above them."""

    kind: ClassVar[str] = "text"
    words: str
    quiet: bool = False


@dataclass(frozen=True)
class Heading:
    """A heading inside a section, with an identifier if it is pointed at."""

    kind: ClassVar[str] = "heading"
    words: str
    key: str = ""


@dataclass(frozen=True)
class Pairs:
    """Names with short values, such as a recipe."""

    kind: ClassVar[str] = "pairs"
    rows: Sequence[tuple[str, str]]


@dataclass(frozen=True)
class Item:
    """A line of a list: words, and a formula behind them where there is one."""

    words: str
    formula: str = ""


@dataclass(frozen=True)
class Items:
    """A list."""

    kind: ClassVar[str] = "items"
    items: Sequence[Item]


@dataclass(frozen=True)
class Picture:
    """A figure to draw.

    Parameters
    ----------
    draw : callable
        Gives the `matplotlib.figure.Figure`; called only by what writes the picture.
    key : str
        Its name: unique in the report, fit for a file's name.
    caption : str
        What the marks mean; stands below it.
    alternative : str
        What is seen, in words and numbers, for those who cannot see it.
    """

    kind: ClassVar[str] = "picture"
    draw: Callable[[], Figure]
    key: str
    caption: str
    alternative: str


@dataclass(frozen=True)
class Pictures:
    """Figures side by side as far as there is room; `small` ones three to a row."""

    kind: ClassVar[str] = "pictures"
    pictures: Sequence[Picture]
    small: bool = False


@dataclass(frozen=True)
class Card:
    """A short answer: what it is about, the answer in a few words, lines below it."""

    title: str
    answer: str
    lines: Sequence[str] = ()
    asides: Sequence[str] = ()


@dataclass(frozen=True)
class Cards:
    """Short answers side by side, the first one foremost."""

    kind: ClassVar[str] = "cards"
    cards: Sequence[Card]


@dataclass(frozen=True)
class Caution:
    """Safety cautions on one topic."""

    kind: ClassVar[str] = "caution"
    topic: str
    lines: Sequence[str]


@dataclass(frozen=True)
class Term:
    """A definition and its source."""

    label: str
    name: str
    unit: str
    used: str
    definition: str
    source: str


@dataclass(frozen=True)
class Terms:
    """Definitions."""

    kind: ClassVar[str] = "terms"
    terms: Sequence[Term]


@dataclass(frozen=True)
class Beside:
    """Two columns where there is room, else one below the other.

    Parameters
    ----------
    left, right : list of Block
    wide : str
        Which is the wider: ``'left'`` a little, ``'table'`` the left one by far, else none.
    """

    kind: ClassVar[str] = "beside"
    left: Sequence[Block]
    right: Sequence[Block]
    wide: str = ""


Block = (
    Text | Heading | Pairs | Items | Picture | Pictures | Cards | Caution | Terms | Beside | Table
)


@dataclass(frozen=True)
class Section:
    """A part of the report.

    Parameters
    ----------
    key : str
        Its identifier.
    title : str
        Its heading.
    blocks : list of Block
    short : str
        Its name in a list of sections; the title by default.
    """

    key: str
    title: str
    blocks: Sequence[Block]
    short: str = ""


def pictures_in(blocks: Sequence[Block]) -> Iterator[Picture]:
    """Give every picture among blocks, in order."""
    for block in blocks:
        if isinstance(block, Picture):
            yield block
        elif isinstance(block, Pictures):
            yield from block.pictures
        elif isinstance(block, Beside):
            yield from pictures_in([*block.left, *block.right])
