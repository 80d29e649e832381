"""Examples drawn by Hypothesis repeat exactly; `--hypothesis-profile wild` draws new ones."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("repeatable", derandomize=True)
settings.register_profile("wild", derandomize=False)
settings.load_profile("repeatable")
