"""Whatever is typed into a sheet: either nothing happens, or exactly what the preview showed."""

from __future__ import annotations

import contextlib

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from experiments.errors import ExchangeError
from experiments.exchange import apply, export_csv, preview_csv
from experiments.trials import WEIGHED
from tests.examples import examples

GOOD = {
    "plate": ["", "1", "4"],
    "session": ["monday", "=friday", "Größe"],
    "age_days": ["", "0", "12.5"],
    "light_hours": ["", "3"],
    "temperature_c": ["", "-4", "21.5"],
    "humidity_percent": ["", "0", "45"],
    "cure_time": ["0", "12", "12.5"],
    "wall": ["0.4", "0.6"],
    "ribs": ["0", "3"],
    "upper_limit": ["", "9.5", "0.333333", "8"],
    "thd_peak": ["", "1.25", "0"],
    "mass": ["", "2.25", "2.5"],
    "print_minutes": ["", "0", "74.5"],
    "why": ["", "-too hot"],
    "note": ["", "-5", "'=x", "two\nlines", "+"],
}
ODD = {
    **GOOD,
    "cone": ["", "1", "3", "9", "x"],
    "status": ["planned", "printed", "measured", "failed", "set aside", "", "lost"],
    "plate": ["0"],
    "session": [""],
    "age_days": ["-1"],
    "humidity_percent": ["101"],
    "process": ["resin", "filament", "", "clay"],
    "cure_time": ["", "soon"],
    "wall": ["0.45", ""],
    "ribs": ["2.5", ""],
    "upper_limit": ["loud"],
    "mass": ["0"],
    "measurement": ["", "1", "2", "7"],
    "version": ["", "1", "5"],
}
OF_THE_CONE = {"status", "plate", "process", "cure_time", "wall", "ribs", "print_minutes", "why"}


def edit(typed):
    """A row, a column, a text; and whether all rows of the cone get it."""
    return st.sampled_from(sorted(typed)).flatmap(
        lambda column: st.tuples(
            st.integers(0, 5),
            st.just(column),
            st.sampled_from(typed[column]),
            st.just(column in OF_THE_CONE),
        )
    )


edits = st.lists(edit(GOOD), min_size=1, max_size=5) | st.lists(
    edit(GOOD) | edit(ODD), min_size=1, max_size=3
)


def cells(ledger):
    """Every cell of the table by cone, measurement and column; nothing is None."""
    frame = ledger.wide_table().drop(columns="version")
    unmeasured = frame["measurement"].isna()
    frame["mass"] = frame["mass"].where(~unmeasured, frame[WEIGHED])
    found = {}
    for row in frame.drop(columns=WEIGHED).to_dict("records"):
        for column, value in row.items():
            empty = pd.isna(value) or value == ""
            key = (row["cone"], None if pd.isna(row["measurement"]) else row["measurement"])
            found[(*key, column)] = None if empty else value
    return found


def shown(preview, before):
    """The preview's changes, spread over all rows of a cone where they belong to the cone."""
    found = {}
    for change in preview.changes:
        for cone, measurement, column in before:
            if cone == change.cone and column == change.column:
                if before[cone, measurement, column] == change.before:
                    found.setdefault((cone, measurement, column), []).append(change.after)
    return found


@settings(
    max_examples=examples(30),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(edits=edits)
def test_any_edit_is_refused_whole_or_does_what_the_preview_showed(
    full, tmp_path, read_sheet_rows, dump, edits
):
    sheet = read_sheet_rows(export_csv(full, tmp_path / "table.csv", force=True))
    for place, column, text, everywhere in edits:
        cone = sheet.rows[place]["cone"]
        for row in sheet.rows if everywhere else [sheet.rows[place]]:
            if row["cone"] == cone:
                row[column] = text
    state, before = dump(full), cells(full)
    try:
        preview = preview_csv(full, sheet.save())
    except ExchangeError:
        return
    assert dump(full) == state
    if preview.problems:
        with pytest.raises(ExchangeError):
            apply(full, preview)
        assert dump(full) == state
        return
    apply(full, preview)
    after = cells(full)
    if preview.new_cones == preview.new_measurements == 0:
        assert after.keys() == before.keys()
        changed = {key: after[key] for key in after if after[key] != before[key]}
        promised = shown(preview, before)
        for key, value in changed.items():
            assert value in promised[key]
        for change in preview.changes:
            assert any(
                key[0] == change.cone and key[2] == change.column and value == change.after
                for key, value in changed.items()
            )
    else:
        assert len({key[:2] for key in after}) >= len({key[:2] for key in before})
        assert full.table()["cone"].nunique() == len({key[0] for key in before}) + (
            preview.new_cones
        )
    path = export_csv(full, tmp_path / "again.csv", force=True)
    again = preview_csv(full, path)
    assert (again.changes, again.problems) == ((), ())
    if preview.changes:
        full.undo()
    assert dump(full) == state


@settings(
    max_examples=examples(60),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(
    content=st.binary(max_size=60)
    | st.builds(
        lambda header, rest: (",".join(header) + "\n" + rest).encode("utf-8", "surrogatepass"),
        st.lists(st.sampled_from([*ODD, "x", "", "Wall (mm)", "cone "]), max_size=6),
        st.text(st.sampled_from(",;\n\"'=.1+-e0a\t\r\0"), max_size=40),
    )
)
def test_any_file_is_previewed_or_refused_in_plain_words(full, tmp_path, dump, content):
    path = tmp_path / "odd.csv"
    path.write_bytes(content)
    before = dump(full)
    with contextlib.suppress(ExchangeError):
        preview = preview_csv(full, path)
        apply(full, preview)
        if preview.changes:
            full.undo()
    assert dump(full) == before
