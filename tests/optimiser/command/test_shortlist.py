"""A shortlist: read as spreadsheets write it, refused where a recipe cannot be printed."""

from __future__ import annotations

import pytest

from experiments.errors import ExchangeError
from experiments.ledger import Ledger
from optimiser.command.shortlist import read_shortlist


@pytest.fixture
def read(folder, tmp_path):
    def read(text):
        file = tmp_path / "list.csv"
        file.write_text(text, encoding="utf-8")
        with Ledger.open(folder) as ledger:
            return read_shortlist(file, ledger.plan)

    return read


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("resin,0.55,12", 'line 3, column wall: found "0.55", expected a printable value'),
        ("resin,1.3,12", 'line 3, column wall: found "1.3", expected a printable value'),
        ("resin,thick,12", 'line 3, column wall: found "thick"'),
        ("wood,0.5,12", 'line 3, column process: found "wood", expected a level'),
        ("filament,0.5,12", 'line 3, column cure_time: found "12", expected no value'),
        ("resin,0.5,", "line 3, column cure_time: found nothing, expected a value"),
        ("resin,0,5,12", "line 3: found 4 cells, expected at most 3"),
    ],
)
def test_a_row_that_cannot_be_printed_is_refused_by_file_line_and_column(read, row, said):
    with pytest.raises(ExchangeError) as refusal:
        read(f"process,wall,cure_time\nresin,0.5,12\n{row}\n")
    (problem,) = refusal.value.problems
    assert f"list.csv, {said}" in str(problem)


def test_every_bad_row_is_named_at_once_and_blank_lines_count(read):
    with pytest.raises(ExchangeError) as refusal:
        read("process,wall,cure_time\n\nresin,0.55,12\nresin,0.5,12\nfilament,0.5,1\n")
    assert [one.where for one in refusal.value.problems] == [
        "list.csv, line 3, column wall",
        "list.csv, line 5, column cure_time",
    ]


def test_labels_and_further_columns_are_understood(read):
    frame = read("Cure time (min);Wall;Process;colour\n12,5;0,5;resin;blue\n;0,8;filament;\n")
    assert frame["process"].tolist() == ["resin", "filament"]
    assert frame["wall"].tolist() == [0.5, 0.8]
    assert frame["cure_time"].fillna(-1).tolist() == [12.5, -1]


def test_a_column_that_is_missing_or_there_twice_is_named(read):
    with pytest.raises(ExchangeError, match="no column cure_time"):
        read("process,wall\nresin,0.5\n")
    with pytest.raises(ExchangeError, match="wall 2 times"):
        read("process,wall,Wall,cure_time\nresin,0.5,0.5,1\n")


def test_a_broken_rule_is_named_with_its_line(folder, read):
    file = folder / "experiment.toml"
    text = file.read_text(encoding="utf-8")
    file.write_text(f'{text}\n[rules]\nstiff = "wall >= 0.5"\n', encoding="utf-8")
    with pytest.raises(ExchangeError, match=r"list\.csv, line 2, rules\.stiff"):
        read("process,wall,cure_time\nresin,0.4,12\n")
