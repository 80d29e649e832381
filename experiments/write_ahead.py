"""SQLite's write-ahead log, read by ourselves: what it holds, and whether it is whole.

The format is that of https://www.sqlite.org/fileformat2.html, section 4.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np

__all__ = ["Frame", "committed_pages", "frames_of", "lost_commits"]

_HEADER, _FRAME = 32, 24
_MAGIC = 0x377F0682


@dataclass(frozen=True)
class Frame:
    """One page in the log.

    Parameters
    ----------
    page : int
        Its number in the database, from 1.
    size : int
        Pages of the database after a commit; 0 where the act goes on in the next frame.
    content : bytes
        The page.
    whole : bool
        Whether this frame and all before it have the checksum that was written with them.
    """

    page: int
    size: int
    content: bytes
    whole: bool


def frames_of(log: bytes) -> Iterator[Frame]:
    """Read the frames of the log's present run, in order.

    Parameters
    ----------
    log : bytes
        The file ``experiment.db-wal``.

    Yields
    ------
    Frame
        Those with the salts of the first frame; what a former run left behind has others.
    """
    if len(log) < _HEADER + _FRAME:
        return
    magic, _, page_size = struct.unpack_from(">3I", log)
    order = ">u4" if magic & 1 else "<u4"
    state = _checksum(np.frombuffer(log, order, 6), (0, 0))
    whole = magic | 1 == _MAGIC | 1 and state == struct.unpack_from(">2I", log, 24)
    if not whole:
        page_size = 4096  # that of every store of ours
    salts = log[16:24] if whole else log[_HEADER + 8 : _HEADER + 16]
    for start in range(_HEADER, len(log) - _FRAME - page_size + 1, _FRAME + page_size):
        page, size = struct.unpack_from(">2I", log, start)
        same_run = log[start + 8 : start + 16] == salts
        if whole:
            state = _checksum(np.frombuffer(log, order, 2, start), state)
            state = _checksum(np.frombuffer(log, order, page_size // 4, start + _FRAME), state)
            whole = same_run and state == struct.unpack_from(">2I", log, start + 16)
        if same_run:
            yield Frame(page, size, log[start + _FRAME : start + _FRAME + page_size], whole)


def _checksum(words: np.ndarray, state: tuple[int, int]) -> tuple[int, int]:
    """Go on with the checksum: s0 += x[i] + s1; s1 += x[i+1] + s0; and so on, modulo 2^32.

    It is linear, so that the whole is one sum of words times Fibonacci numbers.
    """
    first, second, carry = _weights(len(words))
    both = words.astype(np.uint32)
    a, b = state
    s0 = int((first * both).sum(dtype=np.uint32)) + carry[0] * a + carry[1] * b
    s1 = int((second * both).sum(dtype=np.uint32)) + carry[1] * a + carry[2] * b
    return s0 & 0xFFFFFFFF, s1 & 0xFFFFFFFF


@lru_cache
def _weights(count: int) -> tuple[np.ndarray, np.ndarray, tuple[int, int, int]]:
    """Give what each word adds to either sum in the end, and what the sums before do."""
    # One step of two words takes (s0, s1) to (s0 + s1 + x, s0 + 2 s1 + x + y): Fibonacci numbers.
    numbers = [0, 1]
    while len(numbers) < count + 2:
        numbers.append((numbers[-1] + numbers[-2]) & 0xFFFFFFFF)
    back = np.array(numbers, dtype=np.uint32)
    first = back[count - 1 - np.arange(count)]
    second = back[count - np.arange(count)]
    return first, second, (numbers[count - 1], numbers[count], numbers[count + 1])


def committed_pages(log: bytes) -> dict[int, bytes]:
    """Give the pages of the last whole commit and those before it, the newest of each."""
    pages: dict[int, bytes] = {}
    waiting: dict[int, bytes] = {}
    for frame in frames_of(log):
        if not frame.whole:
            break
        waiting[frame.page] = frame.content
        if frame.size:
            pages.update(waiting)
            waiting.clear()
    return pages


def lost_commits(path: Path) -> int:
    """Count the changes behind a damaged place, which SQLite would silently drop.

    The very last change does not count: whether its frames are damaged, or were never whole since
    the power went before they were, nobody can tell.

    Parameters
    ----------
    path : Path
        The log; it need not exist.

    Returns
    -------
    int
        0 where all is well.
    """
    try:
        log = path.read_bytes()
    except FileNotFoundError:
        return 0
    after = [frame for frame in frames_of(log) if not frame.whole]
    return sum(1 for frame in after[:-1] if frame.size)
