"""How many simulated tables a slow test draws: a tenth of the study, or all of it when asked.

``WHOLE_STUDIES=1 pytest -m slow`` draws as many as the figures in DEVELOPERS.md stand on; a tenth
keeps the run that every landing must pass within its time, also on a busy machine.
"""

from __future__ import annotations

import math
import os

__all__ = ["repeats", "slack"]


def repeats(whole: int) -> int:
    """Give how many of a study's tables, or of a long test's inputs, to draw."""
    return whole if os.environ.get("WHOLE_STUDIES") else max(2, -(-whole // 10))


def slack(whole: int, share: float = 0.9) -> float:
    """Give by how much two standard errors of a share grow where a part is drawn; 0 for all."""
    return 2 * math.sqrt(share * (1 - share)) * (repeats(whole) ** -0.5 - whole**-0.5)
