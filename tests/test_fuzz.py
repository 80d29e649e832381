"""20,000 broken plans, tables, workbooks, archives and command lines: see `tests.fuzzing`."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

COUNTS = {"plans": 7000, "tables": 7000, "workbooks": 2500, "archives": 4000, "commands": 1500}
MEGABYTES = 700


@pytest.mark.slow
@pytest.mark.parametrize("kind", COUNTS)
def test_no_broken_input_is_more_than_refused(kind):
    done = subprocess.run(
        [sys.executable, "-W", "error", "-m", "tests.fuzzing", kind, str(COUNTS[kind])],
        capture_output=True,
        text=True,
        cwd=Path(__file__).parent.parent,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-3000:]
    print(done.stdout)
    assert int(re.search(r"(\d+) MB at most", done.stdout)[1]) < MEGABYTES
