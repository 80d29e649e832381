"""How large a ZIP file's directory is, before anything parses it."""

from __future__ import annotations

import io
import struct
from pathlib import Path

__all__ = ["directory_of"]

_ENDS = (56, 20, 22)
"""Bytes at the end: the record of ZIP64, its locator, the end of the directory."""


def directory_of(path: Path | bytes, comment: int = 0) -> tuple[int, int]:
    """Read the end of a ZIP file: APPNOTE.TXT of PKWARE, 4.3.14 to 4.3.16.

    Parameters
    ----------
    path : Path or bytes
        The file, or all of its content.
    comment : int
        Bytes of the comment at its end.

    Returns
    -------
    tuple of int
        Entries, and bytes of the directory; 0 and 0 where the file does not end as one of one
        volume with such a comment, and with the record of ZIP64, if any, right before its locator.

    Raises
    ------
    OSError
        If it cannot be read.
    """
    with io.BytesIO(path) if isinstance(path, bytes) else path.open("rb") as file:
        whole = file.seek(0, 2)
        file.seek(max(whole - comment - sum(_ENDS), 0))
        tail = file.read()[: -comment or None].rjust(sum(_ENDS), b"\0")
    record, locator, end = tail[:56], tail[56:76], tail[76:]
    if end[:4] != b"PK\x05\x06" or end[20:] != struct.pack("<H", comment):
        return 0, 0
    count, size = struct.unpack("<HI", end[10:16])
    if locator[:4] == b"PK\x06\x07":
        at = struct.unpack("<Q", locator[8:16])[0]
        count, size = struct.unpack("<QQ", record[32:48])
        if record[:4] != b"PK\x06\x06" or at != whole - comment - sum(_ENDS):
            return 0, 0
    return int(count), int(size)
