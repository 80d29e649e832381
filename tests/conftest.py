"""What holds for every test.

Examples drawn by Hypothesis repeat exactly; `--hypothesis-profile wild` draws new ones. The
default suite tries a third of a property's examples, `-m slow` tries all of them. Linear algebra
runs on one thread, for the tests themselves run side by side.
"""

from __future__ import annotations

import gc

import pytest
import scipy.linalg  # noqa: F401  (loads the libraries whose threads are limited)
from hypothesis import settings
from threadpoolctl import threadpool_limits

from tests.examples import QUICK, examples

settings.register_profile(QUICK, derandomize=True, max_examples=examples(100, whole=False))
settings.register_profile("whole", derandomize=True)
settings.register_profile("wild", derandomize=False)
settings.load_profile(QUICK)

ONE_THREAD = threadpool_limits(1)


def _slow_wanted(config: pytest.Config) -> bool:
    wanted = config.option.markexpr
    return "slow" in wanted and "not slow" not in wanted


def pytest_configure(config: pytest.Config) -> None:
    """Try properties at their full length where slow tests are asked for.

    Files go to one process each, so that what is learnt or drawn once for a file is made once; but
    the slow tests of one file would then leave the other process idle.
    """
    if _slow_wanted(config):
        if config.option.dist == "loadfile":
            config.option.dist = "load"
        if not config.getoption("--hypothesis-profile"):
            settings.load_profile("whole")


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Count every property among the slow tests too."""
    if _slow_wanted(config):
        for item in items:
            if getattr(getattr(item, "obj", None), "is_hypothesis_test", False):
                item.add_marker("slow")


def pytest_collection_finish() -> None:
    """Spare the memory's sweeper some hundred thousand modules and tests, which stay anyway."""
    gc.freeze()
