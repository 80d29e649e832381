"""The table to a spreadsheet and back: export, preview, apply.

Rows match by cone number and measurement id. A column that is missing changes nothing; a blank
cell clears what may be empty. The column ``version`` holds the number of the last act that
touched the cone: when the cone was changed since the export, edits of its rows are refused.
"""

from __future__ import annotations

from experiments.exchange.applying import apply
from experiments.exchange.editing import ConeSheet, EditConflict, cone_sheet, edit_cone
from experiments.exchange.exporting import export_csv, export_table
from experiments.exchange.preview import Change, Preview
from experiments.exchange.previewing import preview_contents, preview_csv

__all__ = [
    "Change",
    "ConeSheet",
    "EditConflict",
    "Preview",
    "apply",
    "cone_sheet",
    "edit_cone",
    "export_csv",
    "export_table",
    "preview_contents",
    "preview_csv",
]
