"""Files that were sent and wait to be saved: a bounded memory, keyed by names of our own."""

from __future__ import annotations

import secrets
import threading
from collections import OrderedDict
from dataclasses import dataclass
from typing import Any

from optimiser.page.guard import UPLOAD_LIMIT

__all__ = ["Upload", "Uploads"]

MOST_BYTES = 2 * UPLOAD_LIMIT
MOST = 40


@dataclass(frozen=True)
class Upload:
    """What one form brought.

    Parameters
    ----------
    cone : int
        The cone that it is meant for; 0 for none.
    session : str
        The browser session that sent it, which alone gets it back.
    content : Any
        What was read from it.
    size : int
        Its bytes.
    """

    cone: int
    session: str
    content: Any
    size: int


class Uploads:
    """What waits; the oldest is dropped where the memory would grow over its bound.

    Parameters
    ----------
    most_bytes : int
        Bytes of all together.
    """

    def __init__(self, most_bytes: int = MOST_BYTES) -> None:
        self._most_bytes = most_bytes
        self._waiting: OrderedDict[str, Upload] = OrderedDict()
        self._lock = threading.Lock()

    def keep(self, upload: Upload) -> str:
        """Keep an upload and give the name to ask for it."""
        name = secrets.token_urlsafe(16)
        with self._lock:
            self._waiting[name] = upload
            while len(self._waiting) > MOST or self._bytes() > self._most_bytes:
                if len(self._waiting) == 1:
                    break
                self._waiting.popitem(last=False)
        return name

    def find(self, name: str, session: str) -> Upload | None:
        """Give what waits under a name to the session that sent it; None for all others."""
        with self._lock:
            found = self._waiting.get(name)
        return found if found is not None and found.session == session else None

    def drop(self, name: str) -> None:
        """Forget what waits under a name."""
        with self._lock:
            self._waiting.pop(name, None)

    def _bytes(self) -> int:
        return sum(each.size for each in self._waiting.values())
