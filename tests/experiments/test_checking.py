"""Everything that is wrong, at once."""

from __future__ import annotations

import pytest

from experiments.checking import check_experiment
from experiments.errors import LedgerError
from experiments.records import StoredCurve
from tests.stores import change_files


def tamper(ledger):
    change_files(ledger.folder / "experiment.db", b"\0")


@pytest.fixture
def measured(ledger, resin):
    ledger.add(resin)
    ledger.measure(1, session="a", curves=[StoredCurve("r.txt", "response", b"1")], values={})
    return ledger


def test_a_sound_experiment_has_no_problem(measured):
    assert check_experiment(measured.folder) == []


def test_plan_and_store_are_checked_at_once(measured, plan_text):
    tamper(measured)
    text = plan_text.replace("low = 0.2", "low = 2.0").replace("seed = 3", 'colour = "red"')
    (measured.folder / "experiment.toml").write_text(text)
    told = [str(problem) for problem in check_experiment(measured.folder)]
    assert any("colour" in text for text in told)
    assert any("wall" in text for text in told)
    assert any("file r.txt" in text for text in told)


def test_a_level_that_was_dropped_is_told_but_is_nothing_wrong(measured, plan_text, resin):
    text = plan_text.replace('"resin", "filament"]', '"clay", "filament"]').replace(
        'process = ["resin"]', 'process = ["clay"]'
    )
    (measured.folder / "experiment.toml").write_text(text)
    assert check_experiment(measured.folder) == []
    assert measured.check() == []
    (note,) = measured.left_over()
    assert note.startswith(
        "the level 'resin' of cone 1 is not in variables.process.levels any more: "
    )
    assert measured.cone(1).settings == resin  # what is stored below that level shows, too
    measured.set_aside(1, why="gone")
    assert measured.left_over() == []


def test_recipes_are_checked_under_the_present_plan(ledger, plan_text, resin):
    ledger.plan_cones([resin, resin])
    text = plan_text.replace("high = 8", "high = 2")
    (ledger.folder / "experiment.toml").write_text(text)
    (problem,) = check_experiment(ledger.folder)
    assert (problem.where, problem.found) == ("variables.ribs", "3 in cones 1 and 2")


@pytest.mark.parametrize("state", ["failed", "set aside"])
def test_a_reference_cone_that_cannot_be_measured_is_wrong(measured, plan_text, resin, state):
    measured.add(resin, status="failed", why="tore") if state == "failed" else measured.add(resin)
    if state == "set aside":
        measured.set_aside(2, why="lent")
    text = plan_text.replace("reference_cone = 1", "reference_cone = 2")
    (measured.folder / "experiment.toml").write_text(text)
    (problem,) = check_experiment(measured.folder)
    assert problem.where == "sessions.reference_cone"
    assert problem.found == f"cone 2, which is {state}"


def test_a_missing_half_is_told_with_the_other(measured):
    measured.close()
    (measured.folder / "experiment.db").unlink()
    (measured.folder / "experiment.toml").write_text("name = 3")
    told = " | ".join(map(str, check_experiment(measured.folder)))
    assert "name" in told
    assert "experiment.db" in told


def test_a_plan_that_is_missing_is_a_problem_of_its_own(measured):
    (measured.folder / "experiment.toml").unlink()
    assert "experiment.toml" in str(check_experiment(measured.folder)[0])


def test_no_experiment_at_all(tmp_path):
    with pytest.raises(LedgerError, match="neither a plan nor a store"):
        check_experiment(tmp_path)


def test_a_damaged_store_is_one_of_the_problems(measured):
    measured.close()
    path = measured.folder / "experiment.db"
    content = bytearray(path.read_bytes())
    content[4096:9000] = b"\xff" * 4904
    path.write_bytes(content)
    assert "damaged" in " ".join(map(str, check_experiment(measured.folder)))
