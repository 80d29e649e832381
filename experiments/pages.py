"""A SQLite file read page by page, without its trees: what is left where a page is damaged.

The format is that of https://www.sqlite.org/fileformat2.html, sections 1.3 to 1.6 and 2.1.
"""

from __future__ import annotations

import mmap
import struct
from collections.abc import Iterator
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any

from experiments.write_ahead import committed_pages

__all__ = ["PageFile", "Record"]

_TABLE_LEAF, _TABLE_INNER, _INDEX_LEAF, _INDEX_INNER = 13, 5, 10, 2
_USUAL = 4096
_INTEGERS = {1: 1, 2: 2, 3: 3, 4: 4, 5: 6, 6: 8}
"""Bytes of an integer by its serial type."""


@dataclass(frozen=True)
class Record:
    """One row, of whatever table.

    Parameters
    ----------
    page : int
        Where its cell lies.
    rowid : int or None
        None for a row of an index or of a table without row numbers.
    values : list
        As stored: None stands for the row number where that is a column, and a whole number may
        stand in a column of real numbers.
    """

    page: int
    rowid: int | None
    values: list[Any]


class PageFile(AbstractContextManager["PageFile"]):
    """The pages of a store, those of its write-ahead log put in.

    Parameters
    ----------
    path : Path
        The file; it is only read. Its log is looked for beside it.
    """

    def __init__(self, path: Path) -> None:
        log = Path(f"{path}-wal")
        self._log = committed_pages(log.read_bytes()) if log.is_file() else {}
        self.path = path
        self._file = path.open("rb")
        empty = path.stat().st_size == 0
        self._content = (
            b"" if empty else mmap.mmap(self._file.fileno(), 0, access=mmap.ACCESS_READ)
        )
        size = int.from_bytes(self._content[16:18], "big")
        size = 65536 if size == 1 else size
        self.size = size if size in (512 << n for n in range(8)) else _USUAL
        self.count = max([len(self._content) // self.size, *self._log])

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if isinstance(self._content, mmap.mmap):
            self._content.close()
        self._file.close()

    def page(self, number: int) -> bytes:
        """Give a page by its number, from 1."""
        if number in self._log:
            return self._log[number]
        return self._content[(number - 1) * self.size : number * self.size]

    @property
    def version(self) -> int:
        """The version of the layout, as the header says."""
        return int.from_bytes(self.page(1)[60:64], "big")

    def free(self) -> set[int]:
        """List the pages that are in no table; what they hold is of former days."""
        found: set[int] = set()
        trunk = int.from_bytes(self.page(1)[32:36], "big")
        while 0 < trunk <= self.count and trunk not in found:
            found.add(trunk)
            content = self.page(trunk)
            trunk, leaves = struct.unpack_from(">2I", content)
            leaves = min(leaves, self.size // 4 - 2)
            found.update(struct.unpack_from(f">{leaves}I", content, 8))
        return found

    def records(self) -> Iterator[Record]:
        """Read every row of every page that holds rows; what cannot be read is passed over."""
        free = self.free()
        for number in range(1, self.count + 1):
            if number not in free:
                yield from self.records_on(number)

    def records_on(self, number: int) -> Iterator[Record]:
        """Read the rows of one page."""
        page, kind = self.page(number), self._kind(number)
        if kind not in (_TABLE_LEAF, _INDEX_LEAF, _INDEX_INNER):
            return
        for at in self._cells(number):
            try:
                yield self._record(number, page, at + (4 if kind == _INDEX_INNER else 0), kind)
            except (ValueError, IndexError, struct.error):  # a text that is no UTF-8 as well
                continue

    def tree(self, root: int) -> Iterator[int]:
        """List the leaves of a table's tree, as far as it can be followed."""
        waiting, seen = [root], set[int]()
        while waiting:
            number = waiting.pop()
            if number in seen or not 0 < number <= self.count:
                continue
            seen.add(number)
            page, kind = self.page(number), self._kind(number)
            if kind == _TABLE_LEAF or kind == _INDEX_LEAF:
                yield number
            elif kind in (_TABLE_INNER, _INDEX_INNER):
                start = 100 if number == 1 else 0
                places = [start + 8, *(at for at in self._cells(number) if at + 4 <= self.size)]
                waiting += [int.from_bytes(page[at : at + 4], "big") for at in places]
                if kind == _INDEX_INNER:
                    yield number

    def _kind(self, number: int) -> int:
        page, start = self.page(number), 100 if number == 1 else 0
        return page[start] if len(page) == self.size else 0

    def _cells(self, number: int) -> list[int]:
        page, start = self.page(number), 100 if number == 1 else 0
        inner = page[start] in (_TABLE_INNER, _INDEX_INNER)
        first = start + (12 if inner else 8)
        count = min(int.from_bytes(page[start + 3 : start + 5], "big"), (self.size - first) // 2)
        return list(struct.unpack_from(f">{count}H", page, first))

    def _record(self, number: int, page: bytes, at: int, kind: int) -> Record:
        length, at = _varint(page, at)
        rowid = None
        if kind == _TABLE_LEAF:
            rowid, at = _varint(page, at)
            rowid -= (rowid >> 63) << 64
        return Record(number, rowid, _values(self._payload(page, at, length, kind)))

    def _payload(self, page: bytes, at: int, length: int, kind: int) -> bytes:
        """Put a cell together, the pages that it overflows to included."""
        usable = self.size
        if length > self.count * usable:
            raise ValueError("longer than the file")
        most = usable - 35 if kind == _TABLE_LEAF else (usable - 12) * 64 // 255 - 23
        if length <= most:
            local = length
        else:
            least = (usable - 12) * 32 // 255 - 23
            local = least + (length - least) % (usable - 4)
            local = local if local <= most else least
        parts, missing = [page[at : at + local]], length - local
        following = int.from_bytes(page[at + local : at + local + 4], "big") if missing else 0
        while missing > 0:
            if not 0 < following <= self.count:
                raise ValueError("a chain that leads out of the file")
            content = self.page(following)
            parts.append(content[4 : 4 + min(missing, usable - 4)])
            missing -= len(parts[-1])
            following = int.from_bytes(content[:4], "big")
        return b"".join(parts)


def _varint(data: bytes, at: int) -> tuple[int, int]:
    """Read an integer of one to nine bytes; gives the place behind it, too."""
    value = 0
    for place in range(at, at + 8):
        value = value << 7 | data[place] & 0x7F
        if data[place] < 0x80:
            return value, place + 1
    return value << 8 | data[at + 8], at + 9


def _values(payload: bytes) -> list[Any]:
    """Read the columns of a record."""
    end, at = _varint(payload, 0)
    if end > len(payload):
        raise ValueError("a header longer than its record")
    types = []
    while at < end:
        one, at = _varint(payload, at)
        types.append(one)
    values, at = [], end
    for one in types:
        value, at = _value(payload, at, one)
        values.append(value)
    if at != len(payload):
        raise ValueError("a record of another length than its columns")
    return values


def _value(payload: bytes, at: int, kind: int) -> tuple[Any, int]:
    if kind in (0, 8, 9):
        return (None if kind == 0 else kind - 8), at
    if kind in _INTEGERS:
        end = at + _INTEGERS[kind]
        return int.from_bytes(payload[at:end], "big", signed=True), end
    if kind == 7:
        return struct.unpack_from(">d", payload, at)[0], at + 8
    if kind < 12:
        raise ValueError("a type that does not exist")
    end = at + (kind - 12) // 2
    content = payload[at:end]
    return (content.decode() if kind % 2 else content), end
