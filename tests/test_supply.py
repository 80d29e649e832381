"""What comes from elsewhere: no code in data, no network, every dependency with its bounds."""

from __future__ import annotations

import ast
import json
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from experiments.ledger import Ledger
from optimiser.command.root import VERBS
from tests.optimiser.command.conftest import PLAN, RECIPES, write_response

ROOT = Path(__file__).parent.parent
MODULES = sorted([*(ROOT / "experiments").rglob("*.py"), *(ROOT / "optimiser").rglob("*.py")])

CODE_BEARING = {"pickle", "cPickle", "marshal", "shelve", "dill", "joblib", "cloudpickle", "yaml",
                "ruamel", "jsonpickle", "dbm", "imp", "code", "runpy"}  # fmt: skip
"""Modules whose formats can run code when they are read, or that run code from a file."""
NETWORK = {"socket", "ssl", "urllib.request", "http.client", "http.server", "requests", "httpx",
           "urllib3", "aiohttp", "ftplib", "smtplib", "poplib", "imaplib", "telnetlib", "xmlrpc",
           "socketserver", "asyncio", "uvicorn", "starlette", "websockets"}  # fmt: skip
BUILT_IN = {"eval", "exec", "compile", "__import__"}
METHODS = {"read_pickle", "read_hdf", "enable_load_extension", "load_extension", "fromfile"}
OWNED = {("np", "load"), ("numpy", "load"), ("os", "system"), ("os", "popen")}


@pytest.fixture(scope="module")
def trees():
    """Every module of ours as a syntax tree."""
    return {path: ast.parse(path.read_text(encoding="utf-8")) for path in MODULES}


def imports(tree):
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def odd_calls(tree):
    """Name the calls that run what they are given, or read a format that can."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            method = getattr(node.func, "attr", "")
            owner = getattr(getattr(node.func, "value", None), "id", "")
            odd = getattr(node.func, "id", "") in BUILT_IN or method in METHODS
            if odd or (owner, method) in OWNED or "allow_pickle" in {k.arg for k in node.keywords}:
                yield ast.unparse(node)


def within(name, modules):
    return any(name == one or name.startswith(f"{one}.") for one in modules)


def test_nothing_reads_a_format_that_bears_code(trees):
    for path, tree in trees.items():
        assert not [name for name in imports(tree) if within(name, CODE_BEARING)], path
        assert not list(odd_calls(tree)), path


def test_what_bears_code_is_known():
    odd = "eval(x); np.load(x); df.read_pickle(x); f(x, allow_pickle=True); os.system(x)"
    assert len(list(odd_calls(ast.parse(odd)))) == 5
    assert not list(odd_calls(ast.parse("re.compile(x); parser.eval(x); platform.system()")))


def test_only_the_page_knows_of_a_network(trees):
    for path, tree in trees.items():
        if "page" not in path.parts and path.stem != "page":
            assert not [name for name in imports(tree) if within(name, NETWORK)], path


GUARD = """
import json, os, sys

def guard(event, arguments):
    if event.startswith("socket.") and event != "socket.gethostname":
        os.write(2, f"the network was asked for: {event}\\n".encode())
        os._exit(99)

sys.addaudithook(guard)
from click.testing import CliRunner
from optimiser.command import main

for words in json.load(sys.stdin):
    done = CliRunner().invoke(main, words)
    print(words[0], done.exit_code, done.stderr[-300:].replace(chr(10), " "), flush=True)
"""


def every_verb(folder, place):
    """Say each verb once, with words that work."""
    raw, wave = str(place / "raw.txt"), str(place / "sweep.wav")
    here = ["--in", str(folder)]
    return [
        ["start", str(place / "new")],
        *([verb, *here] for verb in ("check", "table", "history", "knobs", "deadends", "outlook")),
        ["optimum", "wall", *here],
        ["compare", "1", "2", *here],
        ["front", *here],
        ["expect", "1", *here],
        ["drift", *here],
        ["ageing", *here],
        ["recommend", *here],
        ["next", "--count", "2", *here],
        ["again", "1", *here],
        ["add", "--set", "process=filament", "--set", "wall=0.5", *here],
        ["printed", "7", *here],
        ["failed", "8", "--why", "tore", *here],
        ["aside", "1", "--why", "lent", *here],
        ["measure", "7", "--session", "june", raw, "--value", "loss=3", *here],
        ["listen", raw],
        ["sweep", wave],
        ["recompute", *here],
        ["export", str(place / "t.csv"), *here],
        ["export", str(place / "t.xlsx"), *here],
        ["import", str(place / "t.xlsx"), "--yes", *here],
        ["undo", *here],
        ["pack", str(place / "p.zip"), *here],
        ["unpack", str(place / "p.zip"), str(place / "out"), "--yes"],
        ["backup", str(place / "b.db"), *here],
        ["restore", str(place / "b.db"), "--yes", *here],
        ["rescue", str(folder), str(place / "rescued")],
        ["report", *here],
    ]


SERVES = {"page"}
"""What is there to be reached over the network, on this computer unless it is told otherwise."""
DEMO = {"demo"}
"""Takes long, and does what the others do."""
ANSWERS = {"knobs", "deadends", "outlook", "optimum", "compare", "front", "expect", "recommend",
           "drift", "ageing", "report", "again", "next"}  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("answers", [False, True])
def test_no_verb_asks_for_the_network(tmp_path, answers):
    with Ledger.create(tmp_path / "radio", PLAN, who="tester") as ledger:
        for recipe in RECIPES:
            number = ledger.add(recipe, mass=2.0)
            values = {"upper_limit": 9.0 + number % 4, "loss": 4.0 - 0.3 * number}
            ledger.measure(number, session="may", values=values)
        ledger.plan_cones(RECIPES[:2])
    write_response(tmp_path / "raw.txt", 6000)
    every = every_verb(tmp_path / "radio", tmp_path)
    assert {words[0] for words in every} == set(VERBS) - SERVES - DEMO
    said = [words for words in every if answers or words[0] not in ANSWERS]
    done = subprocess.run(
        [sys.executable, "-c", GUARD],
        input=json.dumps(said),
        capture_output=True,
        text=True,
        cwd=ROOT,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    lines = done.stdout.splitlines()
    assert len(lines) == len(said)
    failures = [line for line in lines if line.split()[1] != "0"]
    assert not failures


def test_the_guard_sees_a_socket():
    code = GUARD.partition("from click")[0] + "import socket; socket.create_connection(('::1', 9))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, check=False)
    assert done.returncode == 99


def dependencies():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    return project["dependencies"], project["optional-dependencies"]


def test_every_dependency_has_a_lower_bound_and_no_upper_one():
    needed, more = dependencies()
    for one in [*needed, *(each for group in more.values() for each in group)]:
        assert re.fullmatch(r"[A-Za-z0-9._-]+(\[[a-z]+\])?>=\d+(\.\d+)*", one), one


def test_every_dependency_is_said_what_it_is_for():
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    for one in dependencies()[0]:
        name = re.split(r"[>\[]", one)[0]
        assert re.search(rf"(?m)^\|[^|]*\b{re.escape(name)}\b[^|]*\|", text), name
