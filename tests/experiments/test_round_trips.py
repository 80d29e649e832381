"""Out and in again is the same: spreadsheets and archives of random experiments."""

from __future__ import annotations

import sqlite3
import tempfile
from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from experiments.exchange import export_csv, export_table, preview_csv
from experiments.ledger import Ledger
from experiments.packing import pack
from experiments.records import StoredCurve
from experiments.unpacking import unpack
from tests.experiments.conftest import PLAN
from tests.studies import repeats

words = st.text(
    st.characters(blacklist_categories=["Cs"], blacklist_characters="\0\x1b\x9b"), max_size=12
)
odd_words = words | st.sampled_from(
    ["=1+1", "-5", "+x", "@a", "'", "12-3", "1,234", "0.5", "Mar 12", "_x000B_"]
)
numbers = st.floats(1e-6, 1e9) | st.floats(0.01, 100).map(lambda value: round(value, 2))
resin = st.fixed_dictionaries(
    {
        "process": st.just("resin"),
        "cure_time": st.integers(0, 40) | st.floats(0, 40),
        "wall": st.floats(0.2, 1.0),
        "ribs": st.integers(0, 8),
    }
)
filament = st.fixed_dictionaries(
    {"process": st.just("filament"), "wall": st.floats(0.2, 1.0), "ribs": st.integers(0, 8)}
)
sittings = st.fixed_dictionaries(
    {
        "session": odd_words.filter(str.strip),
        "values": st.dictionaries(
            st.sampled_from(["upper_limit", "thd_peak", "mass"]), numbers, min_size=1
        ),
        "note": odd_words,
        "age_days": st.none() | st.floats(0, 9999),
        "temperature_c": st.none() | st.floats(-20, 60),
    }
)
cones = st.fixed_dictionaries(
    {
        "recipe": resin | filament,
        "mass": st.none() | st.floats(0.1, 20),
        "note": odd_words,
        "sittings": st.lists(sittings, max_size=2),
        "end": st.sampled_from(["", "aside", "failed", "undone"]),
    }
)


def record(ledger, cone, place):
    number = ledger.add(cone["recipe"], mass=cone["mass"], note=cone["note"])
    for sitting, one in enumerate(cone["sittings"]):
        content = f"20 {place}{sitting}".encode()
        curves = [StoredCurve("r.txt", "response", content)] * (place % 2)
        ledger.measure(number, curves=curves, **one)
    if cone["end"] == "aside":
        ledger.set_aside(number, why="=lent")
    elif cone["end"] == "failed" and not cone["sittings"]:
        ledger.failed(number, why="-warped")
    elif cone["end"] == "undone":
        ledger.undo()


def dump_text(folder):
    with closing(sqlite3.connect(folder / "experiment.db")) as connection:
        return list(connection.iterdump())


def round_trip(made):
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "radio"
        with Ledger.create(folder, PLAN, who="maker") as ledger:
            for number, cone in enumerate(made):
                record(ledger, cone, number)
            sheets = [
                export_csv(ledger, Path(place) / "a.csv"),
                export_csv(ledger, Path(place) / "b.csv", decimal=","),
                export_table(ledger, Path(place) / "c.xlsx"),
            ]
            for sheet in sheets:
                preview = preview_csv(ledger, sheet)
                assert (preview.changes, preview.problems) == ((), ()), sheet.name
            pack(ledger, Path(place) / "radio.zip")
        unpack(Path(place) / "radio.zip", Path(place) / "again")
        assert dump_text(Path(place) / "again") == dump_text(folder)
        assert (Path(place) / "again" / "experiment.toml").read_text() == PLAN


QUIET = {"deadline": None, "suppress_health_check": [HealthCheck.too_slow]}


@settings(max_examples=3, **QUIET)
@given(st.lists(cones, max_size=3))
def test_any_experiment_comes_back_as_it_was(made):
    round_trip(made)


@pytest.mark.slow
@settings(max_examples=repeats(40), **QUIET)
@given(st.lists(cones, max_size=5))
def test_any_experiment_comes_back_as_it_was_at_length(made):
    round_trip(made)
