"""How a rig writes its text files, where that was stated: nothing stated is guessed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from experiments.errors import CurveError, Problem

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from experiments.acoustics.options import Options

__all__ = ["DELIMITERS", "FREE", "REMEDY", "Form"]

DELIMITERS: Final = {"tab": "\t", "space": None, "spaces": None, " ": None}
"""Words for delimiters that are hard to write; any other one is a single character."""

REMEDY: Final = "Export the file in that form, or mend [rig.files] in the plan."
"""What to do about a file that is not written as was stated."""


@dataclass(frozen=True)
class Form:
    """What is stated about the text files of a rig; None where nothing is.

    Parameters
    ----------
    columns : tuple of str or None
        What each column holds, as a heading would say it.
    unit : str or None
        Unit of the first column.
    decimal : {".", ","} or None
        The decimal mark.
    delimiter : str or None
        One character, or ``tab`` or ``space``.
    encoding : str or None
        The encoding.
    """

    columns: tuple[str, ...] | None = None
    unit: str | None = None
    decimal: str | None = None
    delimiter: str | None = None
    encoding: str | None = None

    @classmethod
    def of(cls, options: Options) -> Form:
        """Take the form out of the options."""
        return cls(
            options.columns, options.unit, options.decimal, options.delimiter, options.encoding
        )

    @property
    def marks(self) -> bool:
        """Whether delimiter or decimal mark are stated."""
        return self.decimal is not None or self.delimiter is not None

    def ways(self, usual: Iterable[tuple[str | None, str]]) -> Iterator[tuple[str | None, str]]:
        """Choose among delimiters and decimal marks those that the form allows.

        Parameters
        ----------
        usual : iterable of (str or None, str)
            Delimiters (None for white space) and decimal marks as files usually have them.
        """
        known = list(usual)
        if self.delimiter is not None:
            own = DELIMITERS.get(self.delimiter, self.delimiter)
            known = [(own, decimal) for decimal in (".", ",") if decimal != own]
        for delimiter, decimal in known:
            if self.decimal in (None, decimal):
                yield delimiter, decimal

    def decode(self, raw: bytes, name: str) -> str:
        """Turn bytes into text by the stated encoding.

        Raises
        ------
        CurveError
            If they are not written in it; it names the line.
        """
        encoding = self.encoding or "utf-8"
        try:
            return raw.decode(encoding)
        except UnicodeDecodeError as error:
            line = raw.count(b"\n", 0, error.start) + 1
            found = f"bytes that are not {encoding}"
            raise CurveError(
                Problem(f"{name}:{line}", found, f"text in {encoding}", REMEDY)
            ) from None

    def mismatch(self, name: str, number: int, line: str) -> CurveError:
        """Make the error for a row that is not written in the stated form."""
        marks = {".": "decimal points", ",": "decimal commas"}
        said = [] if self.delimiter is None else [f"cells parted by {self.delimiter!r}"]
        said += [] if self.decimal is None else [marks[self.decimal]]
        shown = line if len(line) <= 60 else line[:57] + "..."
        expected = f"rows of numbers with {' and '.join(said)}, as [rig.files] states"
        return CurveError(Problem(f"{name}:{number}", repr(shown), expected, REMEDY))


FREE: Final = Form()
"""Nothing is stated."""
