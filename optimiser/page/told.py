"""What was just done, to be told on the page that comes after: a bounded memory."""

from __future__ import annotations

import secrets
import threading
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass

__all__ = ["News", "Told"]

MOST = 200


@dataclass(frozen=True)
class News:
    """What an act came to.

    Parameters
    ----------
    text : str
        What was done, such as ``cone 7 printed``.
    act : int or None
        Its number in the history, by which it can be undone; None for what is no act.
    remarks : sequence of str
        What is odd about it.
    """

    text: str
    act: int | None = None
    remarks: Sequence[str] = ()


class Told:
    """News under names that nobody can guess; the oldest are forgotten."""

    def __init__(self) -> None:
        self._news: OrderedDict[str, News] = OrderedDict()
        self._lock = threading.Lock()

    def keep(self, news: News) -> str:
        """Remember news and give the name to ask for it."""
        name = secrets.token_urlsafe(9)
        with self._lock:
            self._news[name] = news
            while len(self._news) > MOST:
                self._news.popitem(last=False)
        return name

    def find(self, name: str) -> News | None:
        """Give the news of a name; None where it is forgotten or never was."""
        with self._lock:
            return self._news.get(name)
