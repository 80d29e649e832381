"""Five thousand cones with their curves: how long it takes, how much memory it needs."""

from __future__ import annotations

import json
import os
import random
import subprocess
import sys
from pathlib import Path

import pytest

from experiments import acts
from experiments.ledger import Ledger
from experiments.records import StoredCurve

pytestmark = pytest.mark.slow

ROOT = Path(__file__).resolve().parents[2]
CONES = 5000

MEASURE = """
import json, sys, time
from experiments.ledger import Ledger
from tests.memory import most_megabytes

def timed(step):
    wall, cpu = time.perf_counter(), time.process_time()
    done = step()
    figures.append((time.perf_counter() - wall, time.process_time() - cpu))
    return done

figures = []
ledger = timed(lambda: Ledger.open(sys.argv[1]))
rows = len(timed(ledger.table))
new = timed(lambda: ledger.add({"process": "filament", "wall": 0.6, "ribs": 2}))
timed(lambda: ledger.measure(new, session="late", values={"upper_limit": 8.0}))
timed(lambda: ledger.keep_copy("import"))
timed(lambda: ledger.check())
memory = most_megabytes()
print(json.dumps({"rows": rows, "figures": figures, "memory": memory}))
"""


def build(folder, plan_text):
    """Cones of eight settings' worth of rows, two files of 12 kB each; 100 to an act."""
    rng = random.Random(1)
    with Ledger.create(folder, plan_text) as ledger:
        for first in range(1, CONES + 1, 100):
            with ledger.act("add", {}) as act:
                for number in range(first, first + 100):
                    recipe = {"process": "resin", "cure_time": 12, "wall": 0.4, "ribs": number % 9}
                    acts.add_cone(act.writer, recipe, status="printed", number=number)
                    acts.measure_cone(
                        act.writer,
                        ledger.plan,
                        number,
                        session=f"day {number // 50}",
                        curves=[
                            StoredCurve("r.txt", "response", rng.randbytes(12_000)),
                            StoredCurve("d.txt", "distortion", rng.randbytes(12_000)),
                        ],
                        values={"upper_limit": rng.uniform(5, 14), "mass": 2.5},
                        by_hand=(),
                        cautions=(),
                        given={},
                        note="",
                    )


def test_five_thousand_cones(tmp_path, plan_text, capsys):
    build(tmp_path / "radio", plan_text)
    done = subprocess.run(
        [sys.executable, "-c", MEASURE, str(tmp_path / "radio")],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=True,
    )
    told = json.loads(done.stdout)
    names = ("open", "table", "add", "measure", "copy", "check")
    with capsys.disabled():
        size = (tmp_path / "radio" / "experiment.db").stat().st_size / 1e6
        print(
            f"\n{CONES} cones, {size:.0f} MB, {told['memory']:.0f} MB of memory; wall, processor:"
        )
        for name, (wall, cpu) in zip(names, told["figures"], strict=True):
            print(f"  {name:8}{wall:8.3f} s{cpu:8.3f} s")
    assert told["rows"] == CONES
    # Processor time, for a busy machine makes the clock say anything.
    cpu = dict(zip(names, (each[1] for each in told["figures"]), strict=True))
    assert cpu["open"] < 1.0
    assert cpu["table"] < 2.0
    assert cpu["add"] < 0.05
    assert cpu["measure"] < 0.05
    assert told["memory"] < 500
