"""One thread for many small matrices, two for what falls into parts.

A workshop's matrices have tens of rows. Handing each to every core costs more than it saves, up
to ten times on a busy machine, and the order of summation would depend on the core count.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import cache, wraps
from typing import ParamSpec, TypeVar

import numpy as np
import numpy.typing as npt
import scipy.linalg  # noqa: F401  (loads the libraries whose threads are held)
from threadpoolctl import ThreadpoolController

__all__ = ["one_thread", "over_parts"]

P = ParamSpec("P")
R = TypeVar("R")
T = TypeVar("T")

_HANDS = min(2, os.cpu_count() or 1)


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


def over_parts(
    function: Callable[[T], npt.NDArray[np.float64]], parts: Sequence[T]
) -> npt.NDArray[np.float64]:
    """Put together what a function gives for each part, along the second axis.

    Two parts are worked on at a time, which numpy allows. What comes out does not depend on it.
    """
    if len(parts) == 1:
        return function(parts[0])
    with ThreadPoolExecutor(_HANDS) as hands:
        return np.concatenate(list(hands.map(function, parts)), axis=1)
