"""Reading a plan file past its slips."""

from __future__ import annotations

import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from experiments.plan_text import parse_toml
from experiments.template import PLAN_TEMPLATE
from tests.examples import examples


@pytest.mark.parametrize(
    ("slip", "meant", "found", "remedy"),
    [
        ("[variables.cure time]", "[variables.cure_time]", "'cure time'", "[variables.cure_time]"),
        ("[variables.Wärme]", '[variables."Wärme"]', "'Wärme'", '[variables."Wärme"]'),
        ("wall thickness = 3", "wall_thickness = 3", "'wall thickness'", "wall_thickness"),
        ("low = 0,5", "low = 0.5", "0,5", "0.5"),
        ("low = -1,25   # mm", "low = -1.25", "-1,25", "-1.25"),
        ("kind = choice", 'kind = "choice"', "choice", '"choice"'),
        ("unit = mJ/cm2 # dose", 'unit = "mJ/cm2"', "mJ/cm2", '"mJ/cm2"'),
        ("flag = True", "flag = true", "True", "true"),
    ],
)
def test_a_plain_slip_is_told_and_read_as_it_was_meant(slip, meant, found, remedy):
    data, (problem,) = parse_toml(f"a = 1\n{slip}\nb = 2\n", "plan.toml")
    assert data == tomllib.loads(f"a = 1\n{meant}\nb = 2\n")
    assert problem.where == "plan.toml:2"
    assert found in problem.found
    assert remedy in problem.remedy


def test_names_say_what_they_may_be_made_of():
    _, (problem,) = parse_toml("[variables.cure time]\n", "plan.toml")
    assert problem.expected == "letters, digits and underscores in a name, no spaces"


def test_all_slips_are_told_at_once():
    text = "low = 0,5\nhigh = 1,5\nkind = choice\n[cure time]\n"
    data, problems = parse_toml(text, "p")
    assert [problem.where for problem in problems] == ["p:1", "p:2", "p:3", "p:4"]
    assert data == {"low": 0.5, "high": 1.5, "kind": "choice", "cure_time": {}}


@pytest.mark.parametrize(
    ("text", "where", "remedy"),
    [
        ("a = 1\na = 2\n", "p:2:", "The same key stands further up"),
        ("a = [1,\n", "p:1:end", ""),
        ("a 1\n", "p:1:", ""),
        ('a = "x\n', "p:1:", ""),
        ("[a]]\n", "p:1:", ""),
        ("low = 0,5\nb = = 2\n", "p:2:", ""),
    ],
)
def test_what_cannot_be_guessed_ends_the_reading(text, where, remedy):
    data, problems = parse_toml(text, "p")
    assert data is None
    assert problems[-1].where.startswith(where)
    assert remedy in problems[-1].remedy


def test_a_sound_document_is_left_alone():
    assert parse_toml(PLAN_TEMPLATE, "p") == (tomllib.loads(PLAN_TEMPLATE), [])


@settings(max_examples=examples(150), deadline=None)
@given(st.text(st.sampled_from("ab1 .,=[]\"'#\n-_ä\r{}"), max_size=60))
def test_junk_is_read_as_toml_reads_it_or_told(text):
    data, problems = parse_toml(text, "p")
    try:
        assert (data, problems) == (tomllib.loads(text), [])
    except tomllib.TOMLDecodeError:
        assert problems
