"""What was typed into a form: read within limits, kept for showing again, faults by field."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property

from starlette.datastructures import UploadFile
from starlette.requests import Request

from experiments.entries import typed_number
from experiments.errors import ExperimentError, LedgerError, Problem

__all__ = ["Form", "Sent", "file_label", "read_form"]

MOST_FIELDS = 500
MOST_FILES = 20
FIELD_BYTES = 1_000_000


@dataclass(frozen=True)
class Sent:
    """A file that was sent.

    Parameters
    ----------
    name : str
        What it was called: a label, never a path.
    content : bytes
        The file.
    under : str
        The field that it was sent under.
    """

    name: str
    content: bytes = field(repr=False)
    under: str = "files"

    @cached_property
    def digest(self) -> str:
        """The SHA-256 of its bytes."""
        return hashlib.sha256(self.content).hexdigest()


@dataclass
class Form:
    """A form as it was sent, and what is wrong with it.

    Attributes
    ----------
    values : dict
        Field to text; the last one where a field came twice.
    files : list of Sent
        The files, empty ones left out.
    faults : dict
        Field to one message; the empty name for what belongs to no field.
    """

    values: dict[str, str] = field(default_factory=dict)
    files: list[Sent] = field(default_factory=list)
    faults: dict[str, str] = field(default_factory=dict)

    def text(self, name: str) -> str:
        """Give what was typed, without spaces around it; empty where nothing was."""
        return self.values.get(name, "").strip()

    def needed(self, name: str, message: str) -> str:
        """Give what was typed; an empty field is a fault."""
        text = self.text(name)
        if not text:
            self.faults[name] = message
        return text

    def number(self, name: str) -> float | None:
        """Read a number with a decimal point or comma; None where nothing was typed."""
        text = self.text(name)
        if not text:
            return None
        try:
            return typed_number(text, name)
        except LedgerError:
            self.faults[name] = f"'{text}' is no number; type one such as 2.5 or 2,5."
            return None

    def whole(self, name: str) -> int | None:
        """Read a whole number; None where nothing was typed."""
        value = self.number(name)
        if value is None:
            return None
        if value != int(value):
            self.faults[name] = f"'{self.text(name)}' is no whole number."
            return None
        return int(value)

    def sent(self, name: str) -> list[Sent]:
        """Give the files of one field."""
        return [each for each in self.files if each.under == name]

    def part(self, prefix: str) -> dict[str, str]:
        """Give the fields whose names begin with a prefix, without it; blank ones left out."""
        return {
            name.removeprefix(prefix): text.strip()
            for name, text in self.values.items()
            if name.startswith(prefix) and text.strip()
        }

    def blame(
        self, error: ExperimentError, fields: Mapping[str, str] | Iterable[str] = ()
    ) -> None:
        """Put each problem of an error beside the field that it is about.

        Parameters
        ----------
        error : ExperimentError
            What an act refused.
        fields : mapping or iterable of str
            Place of a problem to field; with names alone both are called the same.
        """
        known = dict(fields) if isinstance(fields, Mapping) else {each: each for each in fields}
        for problem in error.problems:
            where = problem.where if isinstance(problem, Problem) else ""
            name = known.get(where, "")
            said = str(problem)
            if name and isinstance(problem, Problem):
                said = f"Found {problem.found}, expected {problem.expected}. {problem.remedy}"
            before = self.faults.get(name, "")
            self.faults[name] = f"{before} {said}".strip()

    @property
    def sound(self) -> bool:
        """Whether nothing is wrong so far."""
        return not self.faults


async def read_form(request: Request) -> Form:
    """Read a form; files longer than a megabyte wait in temporary files while they come in.

    The gate has bounded the whole already; fields and their number are bounded here.
    """
    form = Form()
    async with request.form(
        max_files=MOST_FILES, max_fields=MOST_FIELDS, max_part_size=FIELD_BYTES
    ) as sent:
        for name, value in sent.multi_items():
            if isinstance(value, UploadFile):
                content = await value.read()
                if value.filename or content:
                    form.files.append(Sent(file_label(value.filename or ""), content, name))
            else:
                form.values[name] = value.replace("\r\n", "\n")
    return form


def file_label(name: str) -> str:
    """Make a label of what a browser calls a file: no folder, no control characters.

    Examples
    --------
    >>> file_label("../../etc/passwd"), file_label("c:/rig/cone 3.txt"), file_label("..")
    ('passwd', 'cone 3.txt', 'file')
    """
    last = re.split(r"[/\\]", name)[-1]
    kept = "".join(letter for letter in last if letter.isprintable()).strip()[-120:]
    return kept if kept.strip(". ") else "file"
