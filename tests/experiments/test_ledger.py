"""The acts and their state rules."""

from __future__ import annotations

from dataclasses import replace
from itertools import count

import pytest

from experiments.errors import LedgerError, PlanError, RecipeError
from experiments.ledger import Ledger
from experiments.records import StoredCurve

RESPONSE = StoredCurve("r.txt", "response", b"20 80\n20000 60\n", {"channel": 1})
DISTORTION = StoredCurve("d.txt", "distortion", b"100 1.5\n", {})
NUMBERS = count()


def anew():
    return [
        replace(one, content=one.content + f"30000 {next(NUMBERS)}\n".encode())
        for one in (RESPONSE, DISTORTION)
    ]


def measure(ledger, cone=1, session="monday", **more):
    more.setdefault("values", {"upper_limit": 9.5, "thd_peak": None})
    more.setdefault("curves", [RESPONSE, DISTORTION])
    return ledger.measure(cone, session=session, **more)


def test_planning_numbers_the_cones_and_keeps_what_the_proposal_stood_on(ledger, resin, filament):
    numbers = ledger.plan_cones(
        [resin, filament], reason=["far away", "cheap"], proposal={"seed": 5, "versions": {"a": 1}}
    )
    assert numbers == [1, 2]
    cone = ledger.cone(2)
    assert (cone.status, cone.plate, cone.origin) == ("planned", 1, "proposed")
    assert cone.settings == filament
    assert cone.reason == "cheap"
    assert cone.proposal["seed"] == 5
    assert cone.proposal["plan"] == ledger.plan.digest
    assert len(cone.proposal["data"]) == 64
    assert ledger.plan_cones([resin]) == [3]
    assert ledger.cone(3).plate == 2
    assert ledger.plan_cones([resin], plate=2) == [4]
    assert ledger.cone(4).plate == 2


def test_planning_refuses_what_cannot_be_printed_and_records_nothing(ledger, resin, dump):
    before = dump(ledger)
    with pytest.raises(RecipeError, match="wall"):
        ledger.plan_cones([resin, {**resin, "wall": 0.45}])
    with pytest.raises(LedgerError, match="recipes"):
        ledger.plan_cones([])
    with pytest.raises(LedgerError, match="reasons"):
        ledger.plan_cones([resin], reason=["a", "b"])
    with pytest.raises(LedgerError, match="plate"):
        ledger.plan_cones([resin], plate=0)
    assert dump(ledger) == before
    assert len(ledger.history()) == 1


def test_printed_records_mass_minutes_and_where_the_print_differed(ledger, resin):
    ledger.plan_cones([resin])
    cone = ledger.printed(1, mass=2.35, minutes=41, note=" smooth ", changes={"cure_time": 12.5})
    assert (cone.status, cone.mass, cone.minutes, cone.note) == ("printed", 2.35, 41.0, "smooth")
    assert cone.settings == {**resin, "cure_time": 12.5}


def test_printed_with_another_process_leaves_the_inactive_variable_out(ledger, resin):
    ledger.plan_cones([resin])
    with pytest.raises(RecipeError, match="cure_time"):
        ledger.printed(1, changes={"process": "filament"})
    cone = ledger.printed(1, changes={"process": "filament", "cure_time": None})
    assert cone.settings == {"process": "filament", "wall": 0.4, "ribs": 3}


def test_measuring_keeps_files_values_and_warnings(ledger, resin):
    ledger.add(resin)
    key = measure(
        ledger,
        warnings=["too short"],
        age_days=3,
        light_hours=7.5,
        temperature_c=21.5,
        humidity_percent=40,
        note="warm room",
    )
    (one,) = ledger.measurements(1)
    assert one.id == key
    assert one.values == {"upper_limit": 9.5, "thd_peak": None}
    assert one.files == ("r.txt", "d.txt")
    assert [str(warning) for warning in one.warnings] == ["too short"]
    assert (one.age_days, one.light_hours, one.note) == (3.0, 7.5, "warm room")
    assert (one.temperature_c, one.humidity_percent) == (21.5, 40.0)
    assert one.by_hand == frozenset()
    first, second = ledger.curves(1)
    assert (first.content, first.options) == (RESPONSE.content, {"channel": 1})
    assert (second.kind, second.session) == ("distortion", "monday")


def test_values_count_as_typed_where_no_file_gave_them(ledger, resin):
    ledger.add(resin)
    ledger.measure(1, session="a", values={"upper_limit": 8.0})
    measure(ledger, session="b", values={"upper_limit": 8.0, "mass": 2.0})
    given = {"values": {"upper_limit": 8.0}, "by_hand": ["upper_limit"]}
    measure(ledger, session="c", curves=anew(), **given)
    hands = [one.by_hand for one in ledger.measurements()]
    assert hands == [{"upper_limit"}, {"mass"}, {"upper_limit"}]


def test_a_file_that_was_seen_before_is_pointed_out(ledger, resin):
    ledger.add(resin)
    ledger.add(resin)
    measure(ledger, 1)
    measure(ledger, 2, session="tuesday")
    first, second = ledger.measurements()
    assert first.warnings == ()
    assert [one.code for one in second.warnings] == ["seen_before", "seen_before"]
    assert "cone 1 in session monday" in second.warnings[0].text


def test_a_copy_is_no_repeat_of_the_same_cone(ledger, resin, dump):
    ledger.add(resin)
    measure(ledger)
    before = dump(ledger)
    with pytest.raises(LedgerError) as refusal:
        measure(ledger, session="tuesday", curves=[RESPONSE, anew()[1]])
    (problem,) = refusal.value.problems
    assert problem.where == "r.txt"
    assert "byte for byte the file that cone 1 has from session monday" in problem.found
    assert "Leave it out" in problem.remedy
    assert dump(ledger) == before
    # The same recording taken otherwise, as a sweep in place of its impulse, repeats nothing.
    ledger.measure(1, session="tuesday", curves=[replace(RESPONSE, kind="impulse")])


def test_a_measured_cone_can_be_measured_again(ledger, resin):
    ledger.add(resin)
    measure(ledger)
    measure(ledger, session="a year later", age_days=365, curves=anew())
    table = ledger.table()
    assert list(table["session"]) == ["monday", "a year later"]
    assert list(table["status"]) == ["measured", "measured"]
    assert ledger.cone(1).measurements == 2
    assert list(ledger.sessions()["measurements"]) == [1, 1]


def test_a_cone_made_outside_any_proposal(ledger, resin):
    assert ledger.add({**resin, "wall": 0.43}) == 1
    assert ledger.cone(1).status == "printed"
    assert ledger.cone(1).origin == "added"
    assert ledger.add(resin, status="failed", why="warped") == 2
    assert ledger.cone(2).why == "warped"
    with pytest.raises(RecipeError):
        ledger.add({**resin, "wall": 0.43}, status="planned")
    with pytest.raises(LedgerError, match="status"):
        ledger.add(resin, status="measured")
    with pytest.raises(RecipeError, match="ribs"):
        ledger.add({"process": "filament", "wall": 0.4})
    assert len(ledger.cones()) == 2


def act_on(ledger, act, cone=1):
    if act == "printed":
        ledger.printed(cone)
    elif act == "failed":
        ledger.failed(cone, why="tore")
    elif act == "measured":
        measure(ledger, cone, curves=anew())
    elif act == "set aside":
        ledger.set_aside(cone, why="lent")
    else:
        ledger.put_back(cone)


REACH = {
    "planned": [],
    "printed": ["printed"],
    "measured": ["printed", "measured"],
    "failed": ["failed"],
    "set aside": ["set aside"],
}
ALLOWED = {
    ("planned", "printed"),
    ("planned", "failed"),
    ("printed", "failed"),
    ("printed", "measured"),
    ("measured", "measured"),
    ("planned", "set aside"),
    ("printed", "set aside"),
    ("measured", "set aside"),
    ("failed", "set aside"),
    ("set aside", "put back"),
}


@pytest.mark.parametrize("status", REACH)
@pytest.mark.parametrize("act", ["printed", "failed", "measured", "set aside", "put back"])
def test_each_act_is_done_or_refused_by_state(ledger, resin, dump, status, act):
    ledger.plan_cones([resin])
    for step in REACH[status]:
        act_on(ledger, step)
    before = dump(ledger)
    if (status, act) in ALLOWED:
        act_on(ledger, act)
        assert ledger.cone(1).status == ("planned" if act == "put back" else act)
    else:
        with pytest.raises(LedgerError) as refusal:
            act_on(ledger, act)
        (problem,) = refusal.value.problems
        assert problem.where == "cone 1"
        assert status in problem.found
        assert problem.remedy
        assert dump(ledger) == before


@pytest.mark.parametrize("status", ["planned", "printed", "measured", "failed"])
def test_putting_back_restores_the_state(ledger, resin, status):
    ledger.plan_cones([resin])
    for step in REACH[status]:
        act_on(ledger, step)
    before = ledger.cone(1)
    ledger.set_aside(1, why="lent to a friend")
    assert ledger.cone(1).why == "lent to a friend"
    ledger.put_back(1)
    assert ledger.cone(1) == before


@pytest.mark.parametrize(
    ("bad", "field"),
    [
        ({"session": "  "}, "session"),
        ({"values": {"sharpness": 1.0}}, "sharpness"),
        ({"values": {"upper_limit": float("inf")}}, "upper_limit"),
        ({"values": {"upper_limit": "loud"}}, "upper_limit"),
        ({"age_days": -1}, "age in days"),
        ({"light_hours": "long"}, "light in hours"),
        ({"temperature_c": 295.15}, "temperature in °C"),
        ({"humidity_percent": 140}, "humidity in %"),
        ({"note": "\ud800"}, "note"),
    ],
)
def test_a_bad_measurement_is_refused_whole(ledger, resin, dump, bad, field):
    ledger.add(resin)
    before = dump(ledger)
    with pytest.raises(LedgerError, match=field):
        measure(ledger, **bad)
    assert dump(ledger) == before


def test_every_unknown_metric_is_named_at_once(ledger, resin):
    ledger.add(resin)
    with pytest.raises(LedgerError) as refusal:
        measure(ledger, values={"one": 1.0, "two": 2.0})
    assert [problem.found for problem in refusal.value.problems] == ["'one'", "'two'"]


def test_a_measurement_needs_something_to_record(ledger, resin):
    ledger.add(resin)
    with pytest.raises(LedgerError, match="neither files nor values"):
        ledger.measure(1, session="monday", values={"upper_limit": None})


@pytest.mark.parametrize("cone", [0, -3, 2.5, "seven", None, True, 10**12])
def test_a_cone_number_is_a_whole_number(ledger, resin, cone):
    ledger.add(resin)
    with pytest.raises(LedgerError, match="cone"):
        ledger.failed(cone, why="x")


def test_an_unknown_cone_is_named(ledger, resin):
    with pytest.raises(LedgerError, match="the table is empty"):
        ledger.printed(7)
    ledger.add(resin)
    with pytest.raises(LedgerError, match="cone: found 7"):
        ledger.printed(7)
    with pytest.raises(LedgerError, match="cone: found 7"):
        ledger.cone(7)
    with pytest.raises(LedgerError, match="cone: found 7"):
        ledger.note("hello", cone=7)


@pytest.mark.parametrize("mass", [0, -1, "heavy", float("inf")])
def test_a_mass_is_a_number_above_zero(ledger, resin, mass):
    ledger.plan_cones([resin])
    with pytest.raises(LedgerError, match="mass"):
        ledger.printed(1, mass=mass)
    assert ledger.cone(1).status == "planned"


def test_a_reason_is_needed_for_failing_and_setting_aside(ledger, resin):
    ledger.plan_cones([resin])
    with pytest.raises(LedgerError, match="why"):
        ledger.failed(1, why=" ")
    with pytest.raises(LedgerError, match="why"):
        ledger.set_aside(1, why="")


def test_numpy_numbers_are_welcome(ledger, resin):
    np = pytest.importorskip("numpy")
    ledger.plan_cones([{**resin, "wall": np.float64(0.4), "ribs": np.int64(3)}], plate=np.int64(4))
    ledger.printed(np.int64(1), mass=np.float64(2.0))
    ledger.measure(1, session="a", values={"upper_limit": np.float64(7.5), "thd_peak": np.nan})
    assert ledger.measurements()[0].values == {"upper_limit": 7.5, "thd_peak": None}
    assert ledger.cone(1).settings == resin


def test_a_broken_plan_stops_opening(ledger):
    ledger.close()
    (ledger.folder / "experiment.toml").write_text("name = 3")
    with pytest.raises(PlanError):
        Ledger.open(ledger.folder)


def test_without_files_a_mass_given_on_printing_counts_only_where_nothing_is_computed(
    ledger, resin, tmp_path
):
    weighed = ledger.add(resin, mass=2.31)
    with pytest.raises(LedgerError, match=r"Give its raw files, or `--value mass=NUMBER`\."):
        ledger.measure(weighed, session="monday")
    text = 'name = "scales"\n[variables.wall]\nkind = "integer"\nlow = 1\nhigh = 3\n'
    text += '[metrics.mass]\nfrom = "hand"\nunit = "g"\ngoal = "minimise"\n'
    with Ledger.create(tmp_path / "scales", text) as scales:
        light, unweighed = scales.add({"wall": 1}, mass=2.31), scales.add({"wall": 2})
        scales.measure(light, session="monday")
        table = scales.table().set_index("cone")
        assert table.loc[light, "mass"] == 2.31
        assert table.loc[light, "status"] == "measured"
        with pytest.raises(LedgerError, match=r"Give its raw files, or `--value mass=NUMBER`\."):
            scales.measure(unweighed, session="monday")


@pytest.mark.parametrize("mass", [0.0, -2.0])
def test_a_measured_mass_is_above_zero(ledger, resin, mass):
    cone = ledger.add(resin)
    with pytest.raises(LedgerError, match="mass"):
        ledger.measure(cone, session="monday", values={"mass": mass})
