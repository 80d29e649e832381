"""Every verb that shows something says it as one JSON document, and nothing else on stdout."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from optimiser.command.root import VERBS

# The page is a server: it shows nothing on stdout. The demo has tests of its own
# (test_report.py), since it makes its experiment itself.
OTHERWISE = {"page", "demo"}

ANSWERS: dict[str, tuple[str, ...]] = {
    "knobs": (),
    "optimum": ("wall",),
    "compare": ("process=resin", "process=filament"),
    "front": (),
    "expect": ("2",),
    "deadends": (),
    "outlook": (),
    "recommend": (),
    "drift": (),
    "ageing": (),
    "table": ("--spread",),
}

MODELLED = ("knobs", "optimum", "compare", "front", "deadends", "outlook")


@pytest.fixture(scope="module")
def bench(_measured, tmp_path_factory, write_raw) -> Path:
    """A folder with an experiment, `radio`, that the verbs change one after the other."""
    desk = tmp_path_factory.mktemp("desk")
    shutil.copytree(_measured, desk / "radio")
    shutil.copytree(_measured, desk / "broken")
    write_raw(desk / "raw.txt", 6000)
    return desk


def acts(desk: Path) -> dict[str, tuple[object, ...]]:
    """Words for each verb, in an order in which each has what it needs."""
    radio = ("--in", desk / "radio")
    return {
        "start": (desk / "new",),
        "check": radio,
        "next": radio,
        "again": (1, *radio),
        "printed": (9, "--mass", 2, *radio),
        "measure": (9, desk / "raw.txt", "--session", "june", "--value", "loss=3", *radio),
        "failed": (8, "--why", "tore", *radio),
        "aside": (9, "--why", "fell", *radio),
        "add": ("--set", "process=filament", "--set", "wall=0.7", *radio),
        "sweep": (desk / "sweep.wav",),
        "recompute": radio,
        "listen": (desk / "raw.txt",),
        "export": (desk / "table.csv", *radio),
        "import": (desk / "table.csv", "--yes", *radio),
        "pack": (desk / "radio.zip", *radio),
        "unpack": (desk / "radio.zip", desk / "unpacked", "--yes"),
        "undo": radio,
        "history": radio,
        "backup": (desk / "radio.db", *radio),
        "restore": (desk / "radio.db", "--yes", *radio),
        "rescue": (desk / "broken",),
        "report": (desk / "report.md", "--in", desk / "new"),
    }


def test_every_verb_is_walked(tmp_path):
    assert set(VERBS) == {*acts(tmp_path), *ANSWERS} | OTHERWISE


def test_every_act_says_what_it_did_in_one_document(run, bench):
    for verb, words in acts(bench).items():
        told = run(verb, *words, "--json")
        assert told.status == 0, (verb, told.err, told.out)
        assert isinstance(told.json, dict | list), verb  # `json` refuses NaN and what follows


@pytest.mark.parametrize("verb", ANSWERS)
def test_every_estimate_of_an_answer_has_its_interval_and_its_cones(run, folder, tmp_path, verb):
    picture = tmp_path / "picture.png"
    drawn = () if verb == "table" else ("--png", picture)
    told = run(verb, *ANSWERS[verb], "--json", *drawn, "--in", folder)
    assert told.status == 0, told.err
    if verb != "table":
        assert {"cones", "notes", "text"} <= set(told.json)
        assert picture.read_bytes().startswith(b"\x89PNG")
    if verb in MODELLED:
        assert told.json["cones"] == 6
        assert "calibration" in told.json
    known = [pair for pair in estimates(told.json, verb) if pair[1]["mean"] is not None]
    # Rig, spread and ageing need cones heard twice; where an optimum lies is no mean.
    assert known or verb in {"drift", "ageing", "table", "optimum"}
    for place, each in known:
        assert each["low"] is not None, place
        assert each["low"] <= each["high"], place
        assert each["cones"] > 0, place


def estimates(value: Any, place: str) -> Iterator[tuple[str, dict[str, Any]]]:
    """Give every estimate in a document: what has a mean, an interval and cones."""
    if isinstance(value, dict):
        if {"mean", "low", "high", "cones"} <= set(value):
            yield place, value
        for key, each in value.items():
            yield from estimates(each, f"{place}.{key}")
    elif isinstance(value, list):
        for number, each in enumerate(value):
            yield from estimates(each, f"{place}[{number}]")


@pytest.mark.parametrize("verb", ANSWERS)
def test_an_answer_of_nothing_is_a_document_too(run: Callable[..., Any], fresh, verb):
    words = ("--set", "process=filament", "--set", "wall=0.7") if verb == "expect" else ()
    words = words or ANSWERS[verb]
    told = run(verb, *words, "--json", "--in", fresh)
    assert told.status == 0, told.err
    assert all(each["mean"] is None for _, each in estimates(told.json, verb))


def test_an_error_is_one_document_too(run, fresh):
    told = run("optimum", "nothing", "--json", "--in", fresh)
    assert told.status == 2
    assert list(told.json) == ["problems"]
