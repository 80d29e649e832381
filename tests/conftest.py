"""What holds for every test.

Examples drawn by Hypothesis repeat exactly; `--hypothesis-profile wild` draws new ones. Linear
algebra runs on one thread, for the tests themselves run side by side.
"""

from __future__ import annotations

import scipy.linalg  # noqa: F401  (loads the libraries whose threads are limited)
from hypothesis import settings
from threadpoolctl import threadpool_limits

settings.register_profile("repeatable", derandomize=True)
settings.register_profile("wild", derandomize=False)
settings.load_profile("repeatable")

ONE_THREAD = threadpool_limits(1)
