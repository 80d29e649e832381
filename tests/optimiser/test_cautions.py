from __future__ import annotations

import pytest

from optimiser.cautions import MEASURING, PROCESSES, for_plan, for_settings
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
