"""`next --learn-from`: an earlier experiment's folder, left as it is."""

from __future__ import annotations

import hashlib
import shutil
from pathlib import Path

import pytest

from experiments.folder import PLAN_FILE
from experiments.ledger import Ledger
from optimiser.command.earlier_folder import read_earlier


def contents(folder: Path) -> dict[str, tuple[str, int]]:
    return {
        str(path.relative_to(folder)): (
            hashlib.sha256(path.read_bytes()).hexdigest(), path.stat().st_mtime_ns
        )
        for path in sorted(folder.rglob("*")) if path.is_file()
    }  # fmt: skip


def change(folder: Path, old: str, new: str) -> None:
    path = folder / PLAN_FILE
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


@pytest.fixture
def earlier(folder: Path, tmp_path: Path) -> Path:
    """A copy of the measured experiment."""
    place = tmp_path / "earlier"
    shutil.copytree(folder, place)
    return place


def test_it_is_learned_from_said_recorded_and_left_untouched(run, fresh, earlier):
    before = contents(earlier)
    told = run("next", "--learn-from", earlier, "--json", "--in", fresh)
    assert told.status == 0
    assert contents(earlier) == before
    answer = told.json
    assert answer["picks"][0]["kind"] == "earlier"
    assert "6 cones of the earlier experiment" in answer["picks"][0]["why"]
    assert any(note.startswith("Learns from 6 cones of the earlier") for note in answer["notes"])
    with Ledger.open(fresh) as ledger:
        learned = ledger.cone(answer["picks"][0]["cone"]).proposal["learned_from"]
    assert learned == answer["learned_from"]
    assert learned["cones"] == 6
    assert len(learned["data"]) == 64
    assert str(earlier) not in str(learned)


def test_what_cannot_be_learned_from_is_one_clear_error(run, fresh, earlier, tmp_path):
    for place, words in (
        (tmp_path / "nowhere", "no experiment"),
        (tmp_path, "no experiment"),
        (fresh, "the present experiment"),
    ):
        told = run("next", "--learn-from", place, "--in", fresh)
        assert told.status == 2
        assert words in told.err
    change(earlier, "[variables.wall]", "[variables.skin]")
    told = run("next", "--learn-from", earlier, "--in", fresh)
    assert told.status == 2
    assert "variable wall: found no such variable" in " ".join(told.err.split())
    assert "before = " in told.err
    (earlier / PLAN_FILE).write_text("name = ", encoding="utf-8")
    told = run("next", "--learn-from", earlier, "--in", fresh)
    assert told.status == 2
    assert "earlier:experiment.toml:1" in "".join(told.err.split())
    with Ledger.open(fresh) as ledger:
        assert not ledger.cones()


def test_a_variable_that_it_lacks_may_be_filled_and_a_renamed_one_is_known(fresh, earlier):
    change(fresh, "[variables.wall]", '[variables.skin]\nwas = "wall"')
    change(fresh, "[metrics.upper_limit]",
           "[variables.tilt]\nkind = \"integer\"\nlow = 0\nhigh = 9\nbefore = 3\n"
           "[metrics.upper_limit]")  # fmt: skip
    with Ledger.open(fresh) as ledger:
        found = read_earlier(earlier, ledger.plan, fresh)
    assert found.trials["skin"].notna().all()
    assert found.notes == []


def test_another_unit_of_a_variable_is_refused(run, fresh, earlier):
    change(earlier, 'unit = "mm"', 'unit = "cm"')
    told = run("next", "--learn-from", earlier, "--in", fresh)
    assert told.status == 2
    assert "numbers in cm" in told.err


def test_a_metric_of_another_unit_or_meaning_is_left_out_and_said(fresh, earlier):
    change(
        fresh, 'from = "response"\nunit = "kHz"', 'from = "response"\nunit = "kHz"\ndrop_db = 6'
    )
    change(fresh, 'from = "hand"\nunit = "%"', 'from = "hand"\nunit = "dB"')
    with Ledger.open(fresh) as ledger:
        found = read_earlier(earlier, ledger.plan, fresh)
    assert found.notes == [
        "upper_limit is not learnt from the earlier experiment: it is defined otherwise there.",
        "loss is not learnt from the earlier experiment: its unit is %, not dB.",
    ]
    assert not {"upper_limit", "loss"} & set(found.trials)
