"""20,000 broken plans, tables, workbooks, archives and command lines: see `tests.fuzzing`.

A tenth of them at each landing (`tests.studies`)."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.studies import repeats

# How many a part, and how many parts; they run side by side, the number of a part is its seed.
COUNTS = {
    "plans": (1500, 4),
    "tables": (1500, 3),
    "workbooks": (1000, 3),
    "archives": (1500, 3),
    "commands": (1000, 2),
}
PARTS = [(kind, part) for kind, (_, parts) in COUNTS.items() for part in range(parts)]
MEGABYTES = 700
MEMORY_DISK = Path("/dev/shm")  # nothing here needs to outlast a power cut


@pytest.mark.slow
@pytest.mark.parametrize(("kind", "part"), PARTS)
def test_no_broken_input_is_more_than_refused(kind, part):
    quick = {"TMPDIR": str(MEMORY_DISK)} if os.access(MEMORY_DISK, os.W_OK) else {}
    done = subprocess.run(
        [
            sys.executable,
            "-W",
            "error",
            "-m",
            "tests.fuzzing",
            kind,
            str(repeats(COUNTS[kind][0])),
            str(part),
        ],
        capture_output=True,
        text=True,
        cwd=Path(__file__).parent.parent,
        env=os.environ | quick,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-3000:]
    print(done.stdout)
    assert int(re.search(r"(\d+) MB at most", done.stdout)[1]) < MEGABYTES
