"""The direction of imports, and the public names."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import experiments
import optimiser

ROOT = Path(__file__).parent.parent


def imported(path: Path) -> set[str]:
    """Name every module that a file imports, wherever in the file."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names |= {node.module}
            names |= {f"{node.module}.{alias.name}" for alias in node.names}
    return names


def modules(folder: str) -> list[Path]:
    found = sorted((ROOT / folder).rglob("*.py"))
    assert found
    return found


@pytest.mark.parametrize("path", modules("experiments"), ids=str)
def test_experiments_never_imports_optimiser(path):
    assert not {name for name in imported(path) if name.split(".")[0] == "optimiser"}


@pytest.mark.parametrize(
    "path", [p for p in modules("optimiser") if "command" not in p.parts], ids=str
)
def test_nothing_below_the_command_line_imports_it(path):
    assert not {name for name in imported(path) if name.startswith("optimiser.command")}


@pytest.mark.parametrize(
    "path", [p for p in modules("optimiser") if "page" not in p.parts], ids=str
)
def test_only_the_command_line_imports_the_page(path):
    found = {name for name in imported(path) if name.startswith("optimiser.page")}
    assert not found or path.parent.name == "command"


@pytest.mark.parametrize("path", modules("experiments/acoustics"), ids=str)
def test_acoustics_stands_alone(path):
    ours = {name for name in imported(path) if name.split(".")[0] == "experiments"}
    allowed = ("experiments.acoustics", "experiments.errors")
    assert not {name for name in ours if not name.startswith(allowed) and name != "experiments"}


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
