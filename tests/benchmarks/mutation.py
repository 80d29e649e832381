"""Change the metric and score modules in small ways, and see whether the tests notice.

``python tests/benchmarks/mutation.py --each 30 --seed 0 --results FILE``

A mutant has one operator, comparison, number or condition changed. Of each module so many are
drawn at random; the tests of the module, and those against published values, run on each. One that
no test fails on has survived: it is printed with its line, to be read. Some survivors change
nothing that can be seen, such as ``<`` for ``<=`` between decimals; they count all the same.
"""

from __future__ import annotations

import argparse
import ast
import copy
import importlib.abc
import importlib.util
import json
import os
import random
import resource
import sys
import time
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parent.parent.parent
PUBLISHED = ["tests/published/test_levels.py", "tests/published/test_decay.py",
             "tests/published/test_distortion.py", "tests/published/test_iec61260.py",
             "tests/published/test_butterworth.py"]  # fmt: skip
MODULES = {
    "optimiser.goals": ["tests/optimiser/test_goals.py"],
    **{
        f"experiments.acoustics.{name}": [
            f"tests/experiments/acoustics/test_{name}.py",
            *PUBLISHED,
        ]
        for name in ("bands", "response", "distortion", "decay", "percent", "breakup", "resonance")
    },
}
SECONDS = 60

SWAPS: dict[type[ast.AST], type[ast.AST]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq, ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn,
    ast.NotIn: ast.In, ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div,
    ast.Div: ast.Mult, ast.Pow: ast.Mult, ast.FloorDiv: ast.Div, ast.And: ast.Or,
    ast.Or: ast.And, ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd,
}  # fmt: skip
NAMES = {"max": "min", "min": "max", "argmax": "argmin", "argmin": "argmax", "any": "all",
         "all": "any", "maximum": "minimum", "minimum": "maximum", "log10": "log", "floor": "ceil",
         "ceil": "floor"}  # fmt: skip


def changes(tree: ast.Module) -> Iterator[tuple[ast.AST, str]]:
    """Change one place after another; the tree is as it was when the generator goes on."""
    for node in list(_code(tree)):
        if isinstance(node, ast.Compare):
            for place, old in enumerate(node.ops):
                node.ops[place] = SWAPS[type(old)]()  # type: ignore[assignment]
                yield node, f"{type(old).__name__} to {type(node.ops[place]).__name__}"
                node.ops[place] = old
        elif isinstance(node, ast.BinOp | ast.BoolOp) and type(node.op) in SWAPS:
            old_op = node.op
            node.op = SWAPS[type(old_op)]()  # type: ignore[assignment]
            yield node, f"{type(old_op).__name__} to {type(node.op).__name__}"
            node.op = old_op
        elif isinstance(node, ast.Constant) and type(node.value) in (int, float):
            value = node.value
            node.value = value + 1 if isinstance(value, int) else value * 1.1 + 0.01
            yield node, f"{value} to {node.value:.6g}"
            node.value = value
        elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not | ast.USub):
            held = node.op
            node.op = ast.UAdd() if isinstance(held, ast.USub) else ast.Not()
            kept = node.operand
            if isinstance(held, ast.Not):
                node.operand = ast.UnaryOp(ast.Not(), kept)
            yield node, f"without {type(held).__name__}"
            node.op, node.operand = held, kept
        elif isinstance(node, ast.If | ast.IfExp | ast.While):
            test = node.test
            node.test = ast.UnaryOp(ast.Not(), test)
            yield node, "condition turned round"
            node.test = test
        elif isinstance(node, ast.Name | ast.Attribute):
            key = "id" if isinstance(node, ast.Name) else "attr"
            name = getattr(node, key)
            if name in NAMES:
                setattr(node, key, NAMES[name])
                yield node, f"{name} to {NAMES[name]}"
                setattr(node, key, name)


def _code(tree: ast.Module) -> Iterator[ast.AST]:
    """Walk what is executed: no annotations, no texts, no list of public names."""
    todo: list[ast.AST] = [tree]
    while todo:
        node = todo.pop()
        yield node
        for name, value in ast.iter_fields(node):
            if name in ("annotation", "returns", "decorator_list", "type_params"):
                continue
            todo += [each for each in (value if isinstance(value, list) else [value])
                     if isinstance(each, ast.AST)]  # fmt: skip


class Mutated(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Loads one module from a changed tree."""

    def __init__(self, name: str, tree: ast.Module) -> None:
        self.name, self.tree = name, tree

    def find_spec(self, fullname, path=None, target=None):
        """Give the changed module for its name."""
        if fullname != self.name:
            return None
        return importlib.util.spec_from_loader(fullname, self, origin="changed")

    def exec_module(self, module):
        """Run the changed tree as the module."""
        file = ROOT / (self.name.replace(".", "/") + ".py")
        module.__file__ = str(file)
        exec(compile(self.tree, str(file), "exec"), module.__dict__)


def survives(name: str, tree: ast.Module) -> bool:
    """Run the tests of a module on a changed tree, in a process of its own."""
    child = os.fork()
    if child == 0:
        # Whatever happens in here, the process must not go on as a second parent.
        try:
            resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS + 1))
            null = os.open(os.devnull, os.O_WRONLY)
            os.dup2(null, 1)
            os.dup2(null, 2)
            sys.meta_path.insert(0, Mutated(name, ast.fix_missing_locations(tree)))
            import pytest

            words = ["-x", "-q", "-n", "0", "-p", "no:cacheprovider", "--no-header"]
            code = pytest.main([*words, *MODULES[name]])
            os._exit(0 if code == 0 else 1)
        except BaseException:
            os._exit(1)
    _, status = os.waitpid(child, 0)
    return status == 0


def main() -> None:
    """Draw mutants, run the tests, write what survived."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--each", type=int, default=30, help="mutants a module; 0 for all")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--only", action="append", help="a module; may be repeated")
    parser.add_argument("--results", type=Path, required=True)
    given = parser.parse_args()
    os.chdir(ROOT)
    sys.path.insert(0, str(ROOT))
    # What takes long to load is loaded once; nothing of ours is.
    import numpy  # noqa: F401
    import pandas  # noqa: F401
    import pytest  # noqa: F401
    import scipy.optimize
    import scipy.signal
    import scipy.stats  # noqa: F401

    for name in given.only or MODULES:
        source = (ROOT / (name.replace(".", "/") + ".py")).read_text(encoding="utf-8")
        tree = ast.parse(source)
        assert survives(name, copy.deepcopy(tree)), f"the tests of {name} fail by themselves"
        every = [(node.lineno, what, copy.deepcopy(tree)) for node, what in changes(tree)]
        rng = random.Random(f"{name} {given.seed}")
        drawn = rng.sample(every, min(given.each or len(every), len(every)))
        start, left = time.perf_counter(), []
        for line, what, mutant in sorted(drawn, key=lambda each: each[0]):
            killed = not survives(name, mutant)
            text = source.splitlines()[line - 1].strip()
            print("   ", "killed  " if killed else "survived", line, what, "|", text, flush=True)
            if not killed:
                left.append((line, what, text))
        row = {"module": name, "all": len(every), "drawn": len(drawn), "survived": left,
               "seconds": round(time.perf_counter() - start)}  # fmt: skip
        with given.results.open("a", encoding="utf-8") as file:
            file.write(json.dumps(row) + "\n")
        print(f"{name}: {len(drawn)} of {len(every)} drawn, {len(left)} survived", flush=True)


if __name__ == "__main__":
    main()
