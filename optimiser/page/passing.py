"""A file that was sent, on the disk for as long as something is read from it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

from experiments.errors import ExperimentError

__all__ = ["passing"]


@contextmanager
def passing(content: bytes, name: str) -> Iterator[Path]:
    """Write a file into a new folder of the system's, which goes with the block.

    Parameters
    ----------
    content : bytes
        The file.
    name : str
        What it is called there: one of ours, never what a request says.

    Raises
    ------
    ExperimentError
        As raised inside, without the place of the folder.
    """
    with TemporaryDirectory(prefix="coneloop-", ignore_cleanup_errors=True) as place:
        path = Path(place) / name
        path.write_bytes(content)
        try:
            yield path
        except ExperimentError as error:
            told = [str(problem).replace(f"{place}/", "") for problem in error.problems]
            raise type(error)(*told) from error
