"""Who may come in: sessions, form tokens, and the access code of a shared page.

Sessions are signed, not stored: a stranger's requests cannot fill the memory. The key lives as
long as the server, so that stopping it ends every session.
"""

from __future__ import annotations

import hmac
import secrets
import threading
import time
from collections import deque
from collections.abc import Callable

__all__ = ["TRIES", "Visitors"]

TRIES = 5
"""Wrong codes within `_WINDOW` after which no code is taken for as long."""

_WINDOW = 60.0  # seconds
_LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"  # without I and 1, O and 0
_LENGTH = 8  # 40 bits: at 5 tries a minute, 200 000 years on average


class Visitors:
    """Gives and checks what tells one browser from another.

    Parameters
    ----------
    shared : bool
        Whether a session has to be opened with the access code. Otherwise every browser that
        reaches the page gets one.
    tell : callable, optional
        Called with each new access code, to show it in the terminal.
    clock : callable
        Seconds; for tests.
    """

    def __init__(
        self,
        *,
        shared: bool = False,
        tell: Callable[[str], None] | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.shared = shared
        self._key = secrets.token_bytes(32)
        self._tell, self._clock = tell, clock
        self._lock = threading.Lock()
        self._wrong: deque[float] = deque(maxlen=TRIES)
        self._code = ""
        if shared:
            self._new_code()

    def open_session(self) -> str:
        """Give the cookie of a new session."""
        name = secrets.token_urlsafe(16)
        return f"{name}.{self._sign('session', name)}"

    def session(self, cookie: str | None) -> str | None:
        """Give the session that a cookie opened here; None for any other cookie."""
        name, _, seal = (cookie or "").partition(".")
        return name if name and self._signed("session", name, seal) else None

    def token(self, session: str) -> str:
        """Give what the session's forms carry, which no other page can know."""
        return self._sign("form", session)

    def is_token(self, session: str, given: str) -> bool:
        """Whether a form carries the session's token."""
        return self._signed("form", session, given)

    def take_code(self, given: str) -> bool | None:
        """Exchange the access code; each is good for one browser.

        Returns
        -------
        bool or None
            Whether it was right; None while too many were wrong, and none is looked at.
        """
        plain = "".join(given.split()).replace("-", "").upper()
        with self._lock:
            now = self._clock()
            if len(self._wrong) == TRIES and now - self._wrong[0] < _WINDOW:
                return None
            if not hmac.compare_digest(plain.encode(), self._code.encode()):
                self._wrong.append(now)
                return False
            self._new_code()
            return True

    def _new_code(self) -> None:
        self._code = "".join(secrets.choice(_LETTERS) for _ in range(_LENGTH))
        if self._tell is not None:
            self._tell(f"{self._code[:4]}-{self._code[4:]}")

    def _sign(self, use: str, text: str) -> str:
        return hmac.digest(self._key, f"{use}:{text}".encode(), "sha256").hex()

    def _signed(self, use: str, text: str, seal: str) -> bool:
        return hmac.compare_digest(self._sign(use, text).encode(), seal.encode())
