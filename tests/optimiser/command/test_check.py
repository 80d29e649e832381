"""The verb check: every layer at once, for people and for programs."""

from __future__ import annotations


def rewrite(folder, *pairs):
    path = folder / "experiment.toml"
    text = path.read_text()
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new, 1)
    path.write_text(text)


def test_nothing_is_wrong(run, folder):
    told = run("check", "--in", folder)
    assert told.status == 0
    assert "3 variables, 2 metrics, 8 cones, 6 measurements" in told.out
    assert "nothing is wrong" in told.out
    assert run("check", "--json", "--in", folder).json["problems"] == []


def test_every_layer_is_told_in_one_round(run, folder):
    rewrite(
        folder,
        ("[variables.wall]\n", "[variables.wall]\ncolour = 3\n"),  # an unknown key
        ("low = 0.3", "low = 2,3"),  # not TOML, and then a range upside down
        ('minutes = "60', 'minutes = "wal + 60'),  # a formula
        ("[effort]", '[rules]\nno = "cure_time > 50"\n[sessions]\nreference_cone = 99\n[effort]'),
        ('unit = "%"', 'unit = "kg"'),  # the store
    )
    told = run("check", "--in", folder)
    assert told.status == 2
    for words in (
        "found 2,3",
        "colour",
        "low below high",
        "wal' is not a known name",
        "rules.no",
        "cone 99",
        "metrics.loss",
    ):
        assert words in told.err, words
    assert len(told.err.strip().splitlines()) == 7


def test_one_cause_is_one_error(run, folder):
    new = '[variables.glue]\nkind = "choice"\nlevels = ["none", "rim"]\n[metrics.upper_limit]'
    rewrite(folder, ("[metrics.upper_limit]", new))
    told = run("check", "--json", "--in", folder)
    assert told.status == 2
    (problem,) = told.json["problems"]
    assert problem["field"] == "variables.glue"
    assert "before = " in problem["text"]


def test_what_rests_on_a_broken_table_is_not_told_as_wrong(run, folder):
    rewrite(folder, ('levels = ["resin", "filament"]', 'levels = ["resin", "filament"]\nhue = 1'))
    told = run("check", "--json", "--in", folder)
    assert [problem["field"] for problem in told.json["problems"]] == ["variables.process.hue"]


def test_any_verb_tells_problems_as_json_where_json_is_asked_for(run, folder):
    rewrite(folder, ("low = 0.3", "low = 3"), ("good = 14.0", "good = 1.0"))
    told = run("knobs", "--json", "--in", folder)
    assert told.status == 2
    fields = [problem["field"] for problem in told.json["problems"]]
    assert fields == ["variables.wall.low", "metrics.upper_limit.poor"]
    assert told.err.count("error: ") == 2
    assert run("knobs", "--json", "--metric", "gloss", "--in", folder).json["problems"]


def test_what_is_left_over_is_a_note_and_no_error(run, folder):
    rewrite(folder, ("[metrics.loss]", "[metrics.damping]"))
    told = run("check", "--in", folder)
    assert told.status == 0
    assert "note: values of 'loss' entered for cones 1 to 6" in told.err
    assert run("check", "--json", "--in", folder).json["notes"]


def test_an_entered_value_far_from_the_others_is_a_note(run, folder):
    run("measure", 8, "--session", "may", "--value", "loss=3500", "--in", folder)
    told = run("check", "--in", folder)
    assert told.status == 0
    assert "note: cone 8: loss 3500 %: the other 6 cones had" in told.err


def test_a_second_reading_far_from_all_others_is_a_note_too(run, folder):
    run("measure", 2, "--session", "may", "--value", "loss=3500", "--in", folder)
    assert "note: cone 2: loss 3500 %: the other 5 cones had" in run("check", "--in", folder).err
