"""Files: the table in a spreadsheet, copies of the whole, and ways to listen and to test tones."""

from __future__ import annotations

from pathlib import Path

from starlette.exceptions import HTTPException
from starlette.responses import Response

from experiments.exchange import export_table
from experiments.exchange.cells import MAX_BYTES
from experiments.packing import pack
from experiments.places import BACKUPS, age_order
from optimiser.page.call import Call
from optimiser.page.forms import Form
from optimiser.page.guard import UPLOAD_LIMIT
from optimiser.page.sending import made

__all__ = ["archive", "backup", "kept_copies", "show", "table", "told_copies"]

_TABLES = {"csv": ("table.csv", "."), "comma": ("table.csv", ","), "workbook": ("table.xlsx", ".")}
"""How the table can be had: what the file is called, and its decimal mark."""


def show(call: Call, form: Form | None = None) -> Response:
    """Show what can be taken along and what can be brought in."""
    return call.page(
        "files",
        form=form,
        limit=MAX_BYTES,
        most=UPLOAD_LIMIT,
        copies=told_copies(call.desk.folder),
    )


def kept_copies(folder: Path) -> list[Path]:
    """Give the copies that coneloop kept in the folder by itself, newest first; never a link."""
    found = [
        path
        for path in (folder / BACKUPS).glob("????-??-??_??????_before_*.db")
        if path.is_file() and not path.is_symlink() and not (folder / BACKUPS).is_symlink()
    ]
    return sorted(found, key=age_order, reverse=True)


def told_copies(folder: Path) -> list[tuple[str, str]]:
    """Give name and occasion of each of them."""
    told = []
    for path in kept_copies(folder):
        day, time, occasion = path.stem.split("_", 2)
        at = f"{day} {time[:2]}:{time[2:4]}:{time[4:]}"
        told.append((path.name, f"{at} UTC, {occasion.replace('_', ' ')}"))
    return told


def table(call: Call) -> Response:
    """Send the table as ``?as=`` says."""
    if call.asked("as") not in _TABLES:
        raise HTTPException(404)
    name, decimal = _TABLES[call.asked("as")]
    with call.desk.ledger() as ledger:
        return made(name, lambda path: export_table(ledger, path, decimal=decimal))


def backup(call: Call) -> Response:
    """Send the whole experiment as one file that was read back."""
    with call.desk.ledger() as ledger:
        return made("backup.db", ledger.backup)


def archive(call: Call) -> Response:
    """Send the whole experiment as an archive for somebody else."""
    with call.desk.ledger() as ledger:
        return made("experiment.zip", lambda path: pack(ledger, path))
