"""The direction of imports, and the public names."""

from __future__ import annotations

import ast
from functools import cache
from pathlib import Path

import pytest

import experiments
import optimiser

ROOT = Path(__file__).parent.parent


@cache
def imported(path: Path) -> frozenset[str]:
    """Name every module that a file imports, wherever in the file."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names |= {node.module}
            names |= {f"{node.module}.{alias.name}" for alias in node.names}
    return frozenset(names)


def modules(folder: str, *, without: str = "") -> list[Path]:
    found = sorted(path for path in (ROOT / folder).rglob("*.py") if without not in path.parts)
    assert found
    return found


def test_experiments_never_imports_optimiser():
    for path in modules("experiments"):
        assert not {name for name in imported(path) if name.split(".")[0] == "optimiser"}, path


def test_nothing_below_the_command_line_imports_it():
    for path in modules("optimiser", without="command"):
        assert not {name for name in imported(path) if name.startswith("optimiser.command")}, path


def test_only_the_command_line_imports_the_page():
    for path in modules("optimiser", without="page"):
        found = {name for name in imported(path) if name.startswith("optimiser.page")}
        assert not found or path.parent.name == "command", path


def test_acoustics_stands_alone():
    allowed = ("experiments.acoustics", "experiments.errors")
    for path in modules("experiments/acoustics"):
        ours = {name for name in imported(path) if name.split(".")[0] == "experiments"}
        odd = {name for name in ours if not name.startswith(allowed) and name != "experiments"}
        assert not odd, path


@pytest.mark.parametrize("package", [experiments, optimiser])
def test_every_public_name_is_there(package):
    for name in package.__all__:
        assert getattr(package, name) is not None
    assert dir(package) == sorted(package.__all__)


def test_the_contract_names_what_other_programs_import():
    assert {"Plan", "Ledger"} <= set(experiments.__all__)
    wanted = {"propose", "fit", "sensitivity", "optimum", "compare", "dead_ends", "outlook"}
    assert wanted <= set(optimiser.__all__)


def test_an_unknown_public_name_is_an_attribute_error():
    with pytest.raises(AttributeError, match="nothing_here"):
        _ = optimiser.nothing_here
