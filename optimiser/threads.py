"""One thread for many small matrices.

A workshop's matrices have tens of rows. Handing each to every core costs more than it saves, up
to ten times on a busy machine, and the order of summation would depend on the core count.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache, wraps
from typing import ParamSpec, TypeVar

import scipy.linalg  # noqa: F401  (loads the libraries whose threads are held)
from threadpoolctl import ThreadpoolController

__all__ = ["one_thread"]

P = ParamSpec("P")
R = TypeVar("R")


def one_thread(function: Callable[P, R]) -> Callable[P, R]:
    """Run a function with the linear algebra libraries held to one thread."""

    @wraps(function)
    def held(*args: P.args, **kwargs: P.kwargs) -> R:
        with _libraries().limit(limits=1, user_api="blas"):
            return function(*args, **kwargs)

    return held


@cache
def _libraries() -> ThreadpoolController:
    """Find the libraries once: looking through all that is loaded takes some milliseconds."""
    return ThreadpoolController()
