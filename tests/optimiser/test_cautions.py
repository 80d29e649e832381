from __future__ import annotations

import pytest

from experiments.plan import Plan
from optimiser.cautions import MEASURING, PROCESSES, for_plan, for_settings, unstated
from tests import answers


def test_a_recipe_brings_the_cautions_of_its_own_process():
    plan = answers.plan()
    assert for_settings(plan, {"process": "resin"}) == [PROCESSES["resin"]]
    assert for_settings(plan, {"process": "filament"}) == [PROCESSES["filament"]]


def test_a_plan_that_does_not_say_brings_the_general_ones():
    silent = answers.plan(effort={}, variables={"wall": answers.PLAN["variables"]["wall"]})
    assert for_settings(silent, {"wall": 0.5}) == [PROCESSES["other"]]
    assert for_plan(silent) == [PROCESSES["other"], MEASURING]


def test_a_plan_brings_all_of_its_processes_and_measuring():
    wanted = [PROCESSES["resin"], PROCESSES["filament"], MEASURING]
    assert for_plan(answers.plan()) == wanted


@pytest.mark.parametrize(
    ("process", "hazards"),
    [
        (
            "resin",
            ("gloves", "solvent", "ultraviolet", "mask", "safety data sheet", "local rules"),
        ),
        ("filament", ("burn", "fumes", "mask", "safety data sheet", "local rules")),
        ("other", ("mask", "safety data sheet", "local rules")),
    ],
)
def test_every_hazard_is_named_and_deferred(process, hazards):
    text = " ".join(PROCESSES[process].lines)
    assert [hazard for hazard in hazards if hazard not in text] == []


def test_measuring_warns_of_loud_tones_and_mains():
    text = " ".join(MEASURING.lines)
    assert "hearing" in text
    assert "Mains" in text
    assert "licensed" in text


def _silent(**variables):
    metrics = {"mass": {"from": "hand", "goal": "minimise"}}
    return Plan.from_dict({"name": "silent", "variables": variables, "metrics": metrics})


WAYS = {"kind": "choice", "levels": ["grey resin", "filament-0.4", "paper"]}
EXPOSURE = {"kind": "continuous", "low": 1, "high": 4, "unit": "s"}


@pytest.mark.parametrize(
    ("plan", "settings", "kinds"),
    [
        (_silent(making=WAYS), {"making": "grey resin"}, ["resin"]),
        (_silent(making=WAYS), {"making": "filament-0.4"}, ["filament"]),
        (_silent(making=WAYS), {"making": "paper"}, ["other"]),
        (_silent(layer_exposure=EXPOSURE), {"layer_exposure": 2.0}, ["resin"]),
        (_silent(nozzle=EXPOSURE), {"nozzle": 2.0}, ["filament"]),
        (_silent(secure_fit=EXPOSURE), {"secure_fit": 2.0}, ["other"]),  # whole words only
    ],
)
def test_where_the_plan_does_not_state_the_process_its_words_tell(plan, settings, kinds):
    assert for_settings(plan, settings) == [PROCESSES[kind] for kind in kinds]


def test_a_knob_that_a_recipe_does_not_use_tells_nothing_of_it():
    plan = _silent(making=WAYS, exposure={**EXPOSURE, "only_when": {"making": ["grey resin"]}})
    assert for_settings(plan, {"making": "filament-0.4"}) == [PROCESSES["filament"]]
    assert for_plan(plan) == [PROCESSES["resin"], PROCESSES["filament"], MEASURING]


def test_check_is_told_what_the_cards_show_where_nothing_is_stated():
    assert unstated(answers.plan()) == []
    (told,) = unstated(_silent(making=WAYS))
    assert "those for resin and filament, by its words" in told
    (told,) = unstated(_silent(angle=EXPOSURE))
    assert "general ones only" in told
