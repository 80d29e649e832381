"""Change the metric and score modules in small ways, and see whether the tests notice.

``python tests/benchmarks/mutation.py --each 30 --seed 0 --results FILE``

A mutant has one operator, comparison, number or condition changed. Of each module so many are
drawn at random; the tests of the module, and those of its metrics against published values, run
on each. One that no test fails on has survived: it is printed with its line, to be read. Some
survivors change nothing that can be seen, such as ``<`` for ``<=`` between decimals; they count
all the same. Tests are collected once a module; each mutant is put into a fork of that process.
"""

from __future__ import annotations

import argparse
import ast
import copy
import importlib
import itertools
import json
import os
import random
import resource
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from types import FunctionType, ModuleType

import pytest

ROOT = Path(__file__).parent.parent.parent
PUBLISHED = {
    "bands": ("iec61260.py", "levels.py"), "distortion": ("distortion.py",),
    "response": ("levels.py", "butterworth.py::test_limits_of_butterworth_filters"),
    "percent": ("distortion.py",), "decay": ("decay.py",), "breakup": (),
    "resonance": ("butterworth.py::test_poles_of_a_second_order_section",),
}  # fmt: skip
MODULES = {
    "optimiser.goals": ["tests/optimiser/test_goals.py"],
    **{
        f"experiments.acoustics.{name}": [
            f"tests/experiments/acoustics/test_{name}.py",
            *(f"tests/published/test_{other}" for other in others),
        ]
        for name, others in PUBLISHED.items()
    },
}
SECONDS, BYTES = 60, 4 << 30  # a mutant that takes more of either is noticed

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
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name | ast.Attribute):
            key = "id" if isinstance(node.func, ast.Name) else "attr"
            name = getattr(node.func, key)
            if name in NAMES:
                setattr(node.func, key, NAMES[name])
                yield node, f"{name} to {NAMES[name]}"
                setattr(node.func, key, name)


def _code(tree: ast.Module) -> Iterator[ast.AST]:
    """Walk what is executed: no annotations, no texts, no list of public names."""
    todo: list[ast.AST] = [tree]
    while todo:
        node = todo.pop()
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
            continue
        yield node
        for name, value in ast.iter_fields(node):
            if name in ("annotation", "returns", "decorator_list", "type_params"):
                continue
            todo += [each for each in (value if isinstance(value, list) else [value])
                     if isinstance(each, ast.AST)]  # fmt: skip


def put_in(module: ModuleType, tree: ast.Module) -> None:
    """Make a loaded module what the changed tree says, for everybody who already imported from it.

    Functions keep their identity and get the changed code; numbers and texts are replaced wherever
    they are known by the same name.
    """
    changed = dict.fromkeys(("__name__", "__package__", "__file__"))
    changed = {name: getattr(module, name) for name in changed}
    exec(compile(tree, str(module.__file__), "exec"), changed)
    for name, old in list(vars(module).items()):
        new = changed.get(name)
        if getattr(old, "__module__", module.__name__) != module.__name__ or name[:2] == "__":
            continue
        if isinstance(old, FunctionType):
            _recode(old, new)
        elif isinstance(old, type):
            for key, method in vars(old).items():
                for way in ("fget", "func", "__func__"):
                    if hasattr(method, way) and isinstance(getattr(method, way), FunctionType):
                        _recode(getattr(method, way), getattr(vars(new)[key], way))
                if isinstance(method, FunctionType) and method.__code__.co_filename != "<string>":
                    _recode(method, vars(new)[key])
        elif isinstance(old, int | float | str | tuple) and old != new:
            for other in list(sys.modules.values()):
                if getattr(other, "__dict__", {}).get(name) is old:
                    setattr(other, name, new)


def _recode(old: FunctionType, new: FunctionType) -> None:
    old.__code__, old.__defaults__ = new.__code__, new.__defaults__
    old.__kwdefaults__ = new.__kwdefaults__


class Judge:
    """A plugin that collects the tests of a module once, then runs them on each mutant."""

    def __init__(self, name: str, each: int, seed: int) -> None:
        self.name, self.each, self.seed = name, each, seed
        self.row: dict[str, object] = {}

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        """Draw mutants, see which of them the tests notice, print each."""
        module = importlib.import_module(self.name)
        source = Path(str(module.__file__)).read_text(encoding="utf-8")
        tree = ast.parse(source)
        took = survives(session, module, copy.deepcopy(tree))
        assert took, f"{self.name}: the tests fail"
        # The quickest first: most mutants are noticed by one of them.
        order = sorted(range(len(took)), key=took.__getitem__)
        session.items[:] = [session.items[place] for place in order]
        every = [(node.lineno, what, copy.deepcopy(tree)) for node, what in changes(tree)]
        rng = random.Random(f"{self.name} {self.seed}")
        drawn = rng.sample(every, min(self.each or len(every), len(every)))
        start, left = time.perf_counter(), []
        for line, what, mutant in sorted(drawn, key=lambda each: each[0]):
            killed = not survives(session, module, mutant)
            text = source.splitlines()[line - 1].strip()
            print("   ", "killed  " if killed else "survived", line, what, "|", text, flush=True)
            if not killed:
                left.append((line, what, text))
        self.row = {"module": self.name, "seed": self.seed, "all": len(every),
                    "drawn": len(drawn), "survived": left,
                    "seconds": round(time.perf_counter() - start)}  # fmt: skip
        print(f"{self.name}: {len(drawn)} of {len(every)} drawn, {len(left)} survived", flush=True)
        return True


def survives(session: pytest.Session, module: ModuleType, tree: ast.Module) -> list[float]:
    """Run the collected tests on a changed tree, up to the first failure, in a fork.

    Returns the seconds that each took, or nothing if one failed.
    """
    read, write = os.pipe()
    child = os.fork()
    if child == 0:
        # Whatever happens in here, the process must not go on as a second parent.
        try:
            resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS + 1))
            resource.setrlimit(resource.RLIMIT_AS, (BYTES, BYTES))
            null = os.open(os.devnull, os.O_WRONLY)
            os.dup2(null, 1)
            os.dup2(null, 2)
            put_in(module, ast.fix_missing_locations(tree))
            ends = [time.process_time()]
            for here, after in zip(session.items, [*session.items[1:], None], strict=True):
                here.config.hook.pytest_runtest_protocol(item=here, nextitem=after)
                if session.testsfailed:
                    os._exit(1)
                ends.append(time.process_time())
            took = [round(b - a, 3) for a, b in itertools.pairwise(ends)]
            os.write(write, json.dumps(took).encode())
            os._exit(0)
        except BaseException:
            os._exit(1)
    os.close(write)
    with open(read, encoding="utf-8") as told:
        said = told.read()
    os.waitpid(child, 0)
    return json.loads(said or "[]")


def main() -> None:
    """Judge the modules one after another, each in a process of its own; write what survived."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--each", type=int, default=30, help="mutants a module; 0 for all")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--only", action="append", help="a module; may be repeated")
    parser.add_argument("--results", type=Path, required=True)
    given = parser.parse_args()
    results = given.results.resolve()
    os.chdir(ROOT)
    sys.path.insert(0, str(ROOT))
    for name in given.only or MODULES:
        child = os.fork()
        if child == 0:
            judge = Judge(name, given.each, given.seed)
            words = ["-q", "-s", "-n", "0", "-p", "no:cacheprovider", "-p", "no:cov"]
            pytest.main([*words, *MODULES[name]], plugins=[judge])
            if judge.row:
                with results.open("a", encoding="utf-8") as file:
                    file.write(json.dumps(judge.row) + "\n")
            os._exit(0)
        os.waitpid(child, 0)


if __name__ == "__main__":
    main()
