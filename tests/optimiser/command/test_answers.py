"""Verbs that answer: text, JSON, pictures, refusals."""

from __future__ import annotations

import pytest

from experiments.ledger import Ledger

ANSWERS = [
    ("knobs",),
    ("optimum", "wall"),
    ("optimum", "process"),
    ("compare", "2", "4"),
    ("deadends",),
    ("front",),
    ("outlook",),
]


@pytest.mark.parametrize("words", ANSWERS, ids=" ".join)
def test_an_answer_states_its_calibration_and_cones(asked, words):
    told = asked(*words)
    assert told.status == 0
    assert "Stands on 6 measured cones" in told.out
    assert "of 6" in told.out
    assert max(map(len, told.out.splitlines())) <= 80
    assert "nan" not in told.out.lower().split()
    # Progress goes to stderr as one plain line where nobody watches.
    assert len(told.err.splitlines()) == 1


@pytest.mark.parametrize("words", ANSWERS[:-1], ids=" ".join)
def test_an_experiment_without_a_cone_gets_an_answer_too(run, fresh, tmp_path, words):
    if words[0] == "compare":
        words = ("compare", "process=filament,wall=0.5", "process=filament,wall=0,6")
    picture = tmp_path / "picture.svg"
    told = run(*words, "--svg", picture, "--in", fresh)
    assert told.status == 0
    assert "annot" in told.out
    assert picture.exists()


def test_what_knobs_do_together_is_listed_and_drawn(run, folder, tmp_path):
    pictures = [tmp_path / name for name in ("pairs.png", "effects.png")]
    told = run("knobs", "--together", "--png", pictures[0], "--in", folder)
    assert "What two knobs do together" in told.out
    run("knobs", "--png", pictures[1], "--in", folder)
    assert pictures[0].read_bytes() != pictures[1].read_bytes()


def test_an_optimum_with_another_knob_held(run, asked, folder):
    told = run("optimum", "wall", "--hold", "process=resin", "--hold", "cure_time=20", "--json",
               "--in", folder)  # fmt: skip
    assert told.json["hold"] == {"process": "resin", "cure_time": 20}
    assert set(told.json["metrics"]) == {"upper_limit", "loss"}
    said = asked("optimum", "wall").out
    assert "Best wall by level" in said
    wrong = run("optimum", "wall", "--hold", "wall=0.5", "--in", folder)
    assert wrong.status == 2
    assert "other than the one that is asked" in wrong.err


def test_knobs_of_one_metric(run, folder):
    told = run("knobs", "--metric", "loss", "--json", "--in", folder)
    assert told.json["metric"] == "loss"
    assert {knob["variable"] for knob in told.json["knobs"]} == {"process", "wall", "cure_time"}


def test_comparing_a_cone_with_a_change_of_it(run, folder):
    told = run("compare", "2", "2,cure_time=22,5;wall=0,7", "--json", "--in", folder)
    assert told.json["a"] == {"process": "resin", "wall": 0.6, "cure_time": 20.0}
    assert told.json["b"] == {"process": "resin", "wall": 0.7, "cure_time": 22.5}
    other = run("compare", "2", "2,process=filament,cure_time=none", "--json", "--in", folder)
    assert other.json["b"] == {"process": "filament", "wall": 0.6}


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        (("knobs", "--metric", "beauty"), "beauty"),
        (("optimum", "colour"), "colour"),
        (("compare", "1", "99"), "99"),
        (("compare", "1", "wall"), "wall"),
        (("compare", "1", "wall=9"), "0.3 to 1.2"),
        (("compare", "1", "process=filament,cure_time=9"), "printable"),
        (("compare", "1", ""), "cone number"),
    ],
)
def test_a_question_that_cannot_be_asked(run, folder, words, wanted):
    told = run(*words, "--in", folder)
    assert told.status == 2
    assert told.out == ""
    assert wanted in told.err


def test_comparing_levels_as_the_library_does(run, folder):
    told = run("compare", "process=resin", "process=filament", "--in", folder)
    assert told.status == 0
    said = " ".join(told.out.split())
    assert "process resin minus process filament" in said
    assert "at the best of its other settings" in said
    from experiments.ledger import Ledger
    from optimiser import compare

    with Ledger.open(folder) as ledger:
        plan, trials = ledger.plan, ledger.table()
    same = compare(plan, trials, a={"process": "resin"}, b={"process": "filament"}, seed=plan.seed)
    assert " ".join(same.text.split()) in said


def test_the_whole_check_is_shown_when_asked_for(run, asked, folder):
    assert "spread of the cones" not in asked("outlook").out
    assert "spread of the cones" in run("outlook", "--calibration", "--in", folder).out


def test_cones_are_named_in_a_comparison(run, folder):
    said = " ".join(run("compare", "2", "4,wall=0.7", "--in", folder).out.split())
    assert "cone 2 minus cone 4 with wall 0.7" in said


def test_each_side_of_a_comparison_is_worded_rightly(run, asked, folder):
    out = run("compare", "process=resin,wall=0.6", "2", "--in", folder).out
    said = " ".join(out.replace("\xa0", " ").split())
    assert "process resin, wall 0.6 mm minus cone 2" in said
    assert "process resin, wall 0.6 mm at the best of its other settings" in said
    assert "each side" not in said
    said = " ".join(asked("compare", "2", "4").out.split())
    assert "at the best" not in said
    said = " ".join(run("compare", "2", "2", "--in", folder).out.split())
    assert "Cone 2 is compared with itself" in said


def test_the_evidence_for_a_knob_is_shown_and_explained(asked):
    said = " ".join(asked("knobs").out.split())
    assert "evidence verdict" in said
    assert "Evidence tells whether a knob does anything" in said


def test_a_picture_that_cannot_be_written(run, folder):
    told = run("outlook", "--png", folder / "experiment.toml" / "x.png", "--in", folder)
    assert told.status == 2
    assert "x.png" in told.err


def test_the_front_of_a_plan_with_a_score(run, asked, folder):
    told = asked("front")
    said = " ".join(told.out.replace("\xa0", " ").split())
    assert "on the front" in said
    assert "probably on the front between upper limit and loss" in said
    found = run("front", "--json", "--in", folder).json
    assert found["metrics"] == ["upper_limit", "loss"]
    assert all(0 <= member["chance"] <= 1 for member in found["members"])
    assert 0 <= found["volume"]["low"] <= found["volume"]["mean"] <= found["volume"]["high"]


def test_the_front_between_named_metrics(run, folder):
    given = ("--between", "loss, upper_limit", "--json", "--in", folder)
    assert run("front", *given).json["metrics"] == ["upper_limit", "loss"]
    told = run("front", "--between", "loss", "--in", folder)
    assert told.status == 2
    assert "expected two or three" in told.err


def test_a_single_metric_has_no_front(run, folder):
    plan = folder / "experiment.toml"
    text = plan.read_text(encoding="utf-8")
    start = text.index("[metrics.loss]")
    watched = text[start:].replace('goal = "minimise"', 'goal = "watch"')
    plan.write_text(text[:start] + watched, encoding="utf-8")
    told = run("front", "--in", folder)
    assert told.status == 2
    assert "error: metrics: found 1 metric with a goal, expected two or three" in told.err


def test_a_plan_that_trades_says_whose_outlook_it_is(run, folder):
    plan = folder / "experiment.toml"
    plan.write_text('goal = "trade"\n' + plan.read_text(encoding="utf-8"), encoding="utf-8")
    svg = folder / "outlook.svg"
    said = " ".join(run("outlook", "--svg", svg, "--in", folder).out.split())
    assert "Outlook of the front" in said
    assert "no rule says when to stop" in said
    assert "score" not in said
    assert "Diamonds: on the front" in svg.read_text(encoding="utf-8")
    for verb in ("table", "check"):
        assert run(verb, "--in", folder).status == 0
    for words in (("knobs",), ("deadends",), ("optimum", "wall"), ("compare", "2", "4")):
        (note,) = run(*words, "--json", "--in", folder).json["notes"]
        assert note.endswith("judges by the score, with their weights.")
    told = run("next", "--dry-run", "--count", "2", "--json", "--in", folder)
    assert told.status == 0
    for pick in told.json["picks"]:
        assert "to the hypervolume of the front" in pick["why"]
        assert "score" not in pick["why"]


def test_two_prints_of_one_recipe_are_set_side_by_side(run, folder):
    """No differences of zero, and nothing that could be told by printing more of them."""
    with Ledger.open(folder) as ledger:
        twin = ledger.add(ledger.cone(1).settings, status="printed")
        ledger.measure(twin, session="june", values={"upper_limit": 9.0, "loss": 2.0})
    said = " ".join(run("compare", "1", twin, "--in", folder).out.split())
    assert f"cone 1 minus cone {twin}, as measured: one recipe" in said
    assert "are the same recipe" in said
    assert "would tell" not in said
    found = run("compare", "1", twin, "--json", "--in", folder).json
    assert found["same"]
    assert {each["metric"] for each in found["twins"]} == {"upper_limit", "loss"}
