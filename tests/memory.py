"""How much memory this process has needed at most."""

from __future__ import annotations

import resource
import sys
from pathlib import Path

__all__ = ["most_megabytes"]


def most_megabytes() -> float:
    """Give the largest resident size so far, of this program alone.

    On Linux from VmHWM (proc(5)): what getrusage(2) tells is handed on by a parent that was
    larger, as a test runner is.
    """
    status = Path("/proc/self/status")
    if status.exists():
        lines = status.read_text(encoding="ascii", errors="replace").splitlines()
        return float(next(line.split()[1] for line in lines if line.startswith("VmHWM"))) / 1e3
    unit = 1e6 if sys.platform == "darwin" else 1e3
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / unit
