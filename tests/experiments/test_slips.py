"""What is a slip of the finger, and what is only odd."""

from __future__ import annotations

import pytest

from experiments.errors import RecipeError
from experiments.exchange import preview_csv
from experiments.plan import Plan
from experiments.slips import number_remark, recipe_remarks, refuse_slips, session_remark
from experiments.space import Space

PLAN = Plan.from_dict(
    {
        "name": "slips",
        "variables": {
            "wall": {"kind": "continuous", "low": 0.6, "high": 1.2, "step": 0.1, "unit": "mm"},
            "cure": {"kind": "integer", "low": 0, "high": 40},
            "lean": {"kind": "integer", "low": -10, "high": 10},
            "dose": {"kind": "continuous", "low": 1, "high": 100, "scale": "log"},
            "nozzle": {"kind": "ordered", "levels": [0.4, 0.6, 0.8]},
            "colour": {"kind": "choice", "levels": ["grey", "black"]},
        },
        "rules": {"stiff": "wall * cure >= 1"},
        "metrics": {"mass": {"from": "hand", "goal": "minimise"}},
    }
)


@pytest.mark.parametrize(
    ("name", "value", "kept"),
    [
        ("wall", 0.6, True),
        ("wall", 1.45, True),  # half of the range, 0.3, beyond its end
        ("wall", 1.55, False),
        ("wall", 11.0, False),
        ("wall", 0.35, True),
        ("wall", 0.25, False),
        ("cure", 55, True),
        ("cure", 400, False),
        ("cure", -1, False),  # the plan knows no negative minutes
        ("lean", -19, True),
        ("lean", -21, False),
        ("dose", 900.0, True),  # half of two decades
        ("dose", 1100.0, False),
        ("dose", 0.05, False),
        ("nozzle", 1.0, True),
        ("nozzle", 4.0, False),
        ("colour", "grey", True),
    ],
)
def test_a_little_outside_is_kept_and_far_outside_refused(name, value, kept):
    if kept:
        refuse_slips(PLAN, {name: value})
        return
    with pytest.raises(RecipeError, match=f"{name}: found") as refusal:
        refuse_slips(PLAN, {name: value})
    assert f"variables.{name}" in refusal.value.problems[0].remedy


def test_every_slip_is_named_at_once():
    with pytest.raises(RecipeError) as refusal:
        refuse_slips(PLAN, {"wall": 11.0, "cure": 400, "lean": 0})
    assert [problem.where for problem in refusal.value.problems] == ["wall", "cure"]


def test_remarks_name_the_range_and_the_rule():
    recipe = {"wall": 1.3, "cure": 0, "lean": 0, "dose": 1.0, "nozzle": 0.4, "colour": "grey"}
    outside, rule = recipe_remarks(PLAN, Space(PLAN), recipe, ["wall", "cure"])
    assert "wall 1.3 lies outside the plan's 0.6 to 1.2 mm" in outside
    assert "the rule stiff (wall * cure >= 1) does not hold: cure 0, wall 1.3" in rule
    fine = {**recipe, "cure": 10}
    assert len(recipe_remarks(PLAN, Space(PLAN), fine, ["wall"])) == 1
    assert recipe_remarks(PLAN, Space(PLAN), fine, ["cure"]) == []


@pytest.mark.parametrize(
    ("value", "others", "ends", "odd"),
    [
        (2.4, [2.2, 2.3, 2.5], (), False),
        (11.4, [2.2, 2.3, 2.5], (), False),
        (11.6, [2.2, 2.3, 2.5], (), True),  # more than five times 2.3
        (5120.0, [2.2, 2.3, 2.5], (), True),
        (0.47, [2.2, 2.3, 2.5], (), False),
        (0.45, [2.2, 2.3, 2.5], (), True),
        (5120.0, [], (), False),
        (5120.0, [], (4.0, 1.0), True),
        (39.0, [], (4.0, 1.0), False),
        (0.09, [], (4.0, 1.0), True),
        (-3.0, [-2.0, 1.0], (), False),
        (49.0, [-52.0, -44.0, -40.0, -36.0], (), True),  # a sign that was lost
        (-70.0, [-52.0, -44.0, -40.0, -36.0], (), False),
        (49.0, [-52.0, -44.0, -36.0], (), False),
        (101.0, [], (0.0, 10.0), False),
        (111.0, [], (0.0, 10.0), True),
        (-101.0, [], (0.0, 10.0), True),
        (45.0, [], (5.0, 4.0, 6.0), False),
    ],
)
def test_a_number_far_from_its_fellows_is_remarked_upon(value, others, ends, odd):
    remark = number_remark("mass", value, others, unit="g", ends=ends)
    assert (remark is not None) == odd
    if remark:
        assert remark.startswith(f"mass {value:.6g} g")


def test_the_ledger_refuses_slips_and_keeps_what_was_far_off_before(ledger, resin, dump):
    (cone,) = ledger.plan_cones([resin])
    before = dump(ledger)
    with pytest.raises(RecipeError, match=r"wall: found 4, expected 0\.2 to 1 mm"):
        ledger.printed(cone, changes={"wall": 4})
    with pytest.raises(RecipeError, match="wall"):
        ledger.add({**resin, "wall": 4})
    assert dump(ledger) == before
    plan = ledger.folder / "experiment.toml"
    plan.write_text(plan.read_text().replace("low = 0.2", "low = 0.9"))
    # The plan was narrowed since: what the card says is no slip of the one who prints it.
    assert ledger.printed(cone, changes={"cure_time": 13}).settings["wall"] == 0.4


def test_a_sheet_is_held_to_the_same(ledger, resin, tmp_path):
    sheet = tmp_path / "old.csv"
    head = "process,cure_time,wall,ribs\n"
    sheet.write_text(f"{head}resin,12,4,3\n")
    preview = preview_csv(ledger, sheet)
    assert "row 2, wall: found 4" in str(preview.problems[0])
    sheet.write_text(f"{head}resin,12,1.1,3\n")
    preview = preview_csv(ledger, sheet)
    assert preview.problems == ()
    assert any("row 2: wall 1.1 lies outside" in note for note in preview.notes)


@pytest.mark.parametrize(
    ("typed", "remarked"),
    [
        ("Monday", True),
        (" monday", True),
        ("mondya", True),
        ("mnday", True),
        ("mondayy", True),
        ("nonday", True),
        ("evening_2", True),
        ("monday", False),
        ("sunday", False),
        ("tuesday", False),
        ("evening-3", False),
        ("evening-22", False),
        ("rig b", False),
        ("jul", False),
    ],
)
def test_a_session_of_nearly_a_known_name_is_remarked_upon(typed, remarked):
    said = session_remark(typed, ["monday", "evening-1", "evening-2", "rig a", "jun"])
    assert (said is not None) == remarked
    if said is not None:
        assert f"session '{typed}' is new" in said
