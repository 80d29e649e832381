"""A table as text, whatever it is shown on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import ClassVar

__all__ = ["Table", "shown"]


@dataclass(frozen=True)
class Table:
    """A table as text.

    Parameters
    ----------
    title : str
        What it shows.
    heads : list of str
        Column heads; empty ones for pairs of a name and a value.
    rows : list of list of str
        Cells.
    marked : frozenset of int
        Indices of the rows to emphasise.
    narrow : bool
        Whether cells are short and never wrap.
    """

    kind: ClassVar[str] = "table"
    title: str
    heads: Sequence[str]
    rows: Sequence[Sequence[str]]
    marked: frozenset[int] = frozenset()
    narrow: bool = False

    @property
    def letters(self) -> int:
        """How wide it is at least, in letters: long words and short cells do not break."""
        widths = []
        for place, head in enumerate(self.heads):
            cells = [str(row[place]) for row in self.rows]
            words = [word for text in [head, *cells] for word in text.split(" ")]
            widths.append(max(map(len, [*words, *(cells if self.narrow else [])]), default=0) + 2)
        return sum(widths)


def shown(labels: Mapping[str, str], name: str) -> str:
    """Give the words for a name."""
    return labels.get(name, name.replace("_", " "))
