"""Broken input by the thousand, in a process of its own: ``python -m tests.fuzzing KIND COUNT``.

Each case is a command, as a user gives it: `check` for plans, `import` for tables and workbooks,
`unpack` for archives, any verb for command lines. It has to end within 5 s of processor time (and
within a minute by the clock), either well or with an error that the user can mend. The process has
a limit of memory, and ends at once if a file outside its folder is written, moved or removed, or
the network is asked for.
"""

from __future__ import annotations

import importlib
import os
import random
import re
import resource
import shutil
import signal
import sys
import tempfile
import time
import zipfile
from collections.abc import Callable
from pathlib import Path
from urllib.parse import unquote, urlsplit

from click.testing import CliRunner

from tests.memory import most_megabytes

SECONDS = 5.0
WAITING = 60.0
MEMORY = 3 << 30
OUTSIDE = 98

ODD = [
    *("", "0", "-1", "1e309", "nan", "inf", "-0.0", "1e-320", "9" * 40, "0x10", "1_000", "1,5"),
    *("3.12", "Mar 12", "=1+1", "'", '"', "[]", "{}", "true", "null", "None", "\u200b", "ä" * 50),
    *("wall", "cone", "process", "resin", "../x", "/", "a/b", "\\", "%s", "{0}", "$HOME", "\t"),
    *("2026-03-12", "1E+05", "5 %", "1.234,5", "\ufeff", "x" * 300, "-", "--", ";", ",", "\n"),
]


def guard(folder: Path) -> None:
    """End the process as soon as anything outside the folder is touched."""
    inside = (str(folder), os.devnull, "/dev/tty")
    single = {"os.remove", "os.rmdir", "os.mkdir", "os.truncate", "os.chmod", "os.utime"}
    double = {"os.rename", "os.link", "os.symlink"}

    def place_of(event: str, arguments: tuple[object, ...]) -> str:
        """Give the folder that a path is relative to; `shutil.rmtree` opens it."""
        last = arguments[-1]
        opened = event in single and isinstance(last, int) and last > 2
        return os.readlink(f"/proc/self/fd/{last}") if opened else os.getcwd()

    def touched(event: str, arguments: tuple[object, ...]) -> None:
        paths: list[object] = []
        if event == "open" and isinstance(arguments[2], int):
            if arguments[2] & (os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND):
                paths = [arguments[0]]
        elif event == "sqlite3.connect":
            name = os.fsdecode(arguments[0])
            if name != ":memory:":
                paths = [unquote(urlsplit(name).path) if name.startswith("file:") else name]
        elif event in single:
            paths = [arguments[0]]
        elif event in double:
            paths = list(arguments[:2])
        elif event.startswith("socket.") or event in ("subprocess.Popen", "os.system", "os.exec"):
            paths = [event]
        for path in paths:
            if isinstance(path, int):
                continue
            text = os.path.abspath(os.path.join(place_of(event, arguments), os.fsdecode(path)))
            if not text.startswith(inside):
                os.write(2, f"touched {text!r} by {event}\n".encode(errors="replace"))
                os._exit(OUTSIDE)

    sys.addaudithook(touched)


def spoil_text(text: str, rng: random.Random) -> str:
    """Change a text as slips of the finger, and worse, do."""
    for _ in range(rng.randint(1, 4)):
        lines = text.split("\n")
        place = rng.randrange(len(lines))
        way = rng.randrange(9)
        if way == 0:
            del lines[place]
        elif way == 1:
            lines.insert(place, lines[rng.randrange(len(lines))])
        elif way == 2:
            other = rng.randrange(len(lines))
            lines[place], lines[other] = lines[other], lines[place]
        elif way == 3:
            lines[place] = lines[place][: rng.randint(0, len(lines[place]))]
        elif way == 4:
            words = re.split(r"([\w.+-]+)", lines[place])
            words[rng.randrange(len(words))] = rng.choice(ODD)
            lines[place] = "".join(words)
        elif way == 5:
            cells = re.split(r"([,;=\t])", lines[place])
            cells[rng.randrange(len(cells))] = rng.choice(ODD)
            lines[place] = "".join(cells)
        elif way == 6:
            at = rng.randint(0, len(lines[place]))
            lines[place] = lines[place][:at] + rng.choice(ODD) + lines[place][at:]
        elif way == 7:
            lines[place] += rng.choice("([{\"'") * rng.choice([1, 3, 200])
        else:
            a, b = rng.choice([(",", ";"), (".", ","), ("=", ":"), ('"', "'"), ("\n", "\r")])
            return text.replace(a, b)
        text = "\n".join(lines) or "\n"
    return text


def spoil_bytes(content: bytes, rng: random.Random) -> bytes:
    """Change bytes as bad disks, cut-off copies and strangers do."""
    changed = bytearray(content)
    for _ in range(rng.randint(1, 6)):
        place, way = rng.randrange(len(changed)), rng.randrange(5)
        if way == 0:
            changed[place] ^= 1 << rng.randrange(8)
        elif way == 1:
            changed[place : place + rng.choice([1, 16, 512])] = b""
        elif way == 2:
            changed[place:place] = rng.randbytes(rng.choice([1, 8, 100]))
        elif way == 3:
            changed[place : place + 4] = rng.choice(
                [b"\xff" * 4, bytes(4), b"PK\x01\x02", b"&lt;"]
            )
        elif len(changed) > 200:
            del changed[place:]
        if not changed:
            return b"\0"
    return bytes(changed)


Case = Callable[[random.Random], str]


def told(words: list[str], answer: str = "") -> str:
    """Give a command and say how it ended."""
    from optimiser.command import main

    done = CliRunner().invoke(main, words, input=answer)
    escaped = done.exception is not None and not isinstance(done.exception, SystemExit)
    if escaped or "fault of its own" in done.stderr or "Traceback" in done.output:
        return f"failed: {words}: {done.exception!r} {done.stderr[-300:]}"
    ends = {0: "taken", 1: "stopped", 2: "refused"}
    return ends.get(done.exit_code, f"failed: {words}: status {done.exit_code}")


def _experiment(folder: Path) -> Path:
    from experiments.ledger import Ledger
    from tests.optimiser.command.conftest import PLAN, RECIPES, write_response

    place = folder / "radio"
    with Ledger.create(place, PLAN, who="tester") as ledger:
        for recipe in RECIPES[:2]:
            number = ledger.add(recipe, mass=2.0, note="=odd")
            values = {"upper_limit": 8.0 + number / 3, "loss": 3.5}
            ledger.measure(number, session="2031-05-04", values=values)
        ledger.plan_cones(RECIPES[2:4])
    write_response(place / "raw.txt", 6000)
    return place


def _fresh(base: Path, place: Path) -> Path:
    """Put a copy of an experiment where the last one was worked on."""
    shutil.rmtree(place, ignore_errors=True)
    shutil.copytree(base, place)
    return place


def plans(folder: Path) -> Case:
    """Plans: the template and a small one, spoilt, in a folder with cones."""
    from experiments.errors import ExperimentError
    from experiments.plan import Plan
    from experiments.space import Space
    from experiments.template import PLAN_TEMPLATE
    from tests.optimiser.command.conftest import PLAN

    place = _experiment(folder)
    path = place / "experiment.toml"

    def case(rng: random.Random) -> str:
        content = spoil_text(rng.choice([PLAN, PLAN, PLAN_TEMPLATE]), rng).encode()
        path.write_bytes(spoil_bytes(content, rng) if rng.random() < 0.05 else content)
        result = told(["check", "--in", str(place)])
        try:
            plan = Plan.from_toml(path)
            Space(plan).sample(2, seed=0)
        except ExperimentError:
            return result if result == "refused" else f"failed: {result}, but no plan"
        if Plan.from_dict(plan.to_dict()) != plan:
            return "not itself"
        return f"{result}, a sound plan"

    return case


def _sheets(folder: Path, name: str, spoil: Callable[[bytes, random.Random], bytes]) -> Case:
    """Import a spoilt sheet; some are taken in and undone."""
    from experiments.exchange import export_table
    from experiments.ledger import Ledger

    base, place = _experiment(folder), folder / "work"
    with Ledger.open(base) as ledger:
        content = export_table(ledger, folder / name).read_bytes()
    path, table = folder / f"odd-{name}", _fresh(base, place) / "experiment.db"

    def case(rng: random.Random) -> str:
        path.write_bytes(spoil(content, rng))
        before = table.read_bytes()
        take_in = rng.random() < 0.5
        result = told(["import", str(path), "--in", str(place)], "y\n" if take_in else "n\n")
        if table.read_bytes() == before:
            return f"{result}, nothing changed"
        if not take_in:
            return f"failed: {path} was taken in unasked"
        undone = told(["undo", "--in", str(place)])
        _fresh(base, place)
        return f"{result}, changed" if undone == "taken" else f"failed: undo was {undone}"

    return case


def tables(folder: Path) -> Case:
    """CSV files, spoilt as texts and as bytes."""

    def spoil(content: bytes, rng: random.Random) -> bytes:
        if rng.random() < 0.2:
            return spoil_bytes(content, rng)
        text = spoil_text(content.decode("utf-8-sig"), rng)
        return text.encode(rng.choice(["utf-8", "utf-8-sig", "utf-16", "cp1252"]), "replace")

    return _sheets(folder, "table.csv", spoil)


def workbooks(folder: Path) -> Case:
    """Workbooks, one part spoilt, or the whole file."""
    import io

    def spoil(content: bytes, rng: random.Random) -> bytes:
        if rng.random() < 0.3:
            return spoil_bytes(content, rng)
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            parts = {name: archive.read(name) for name in archive.namelist()}
        name = rng.choice([*parts, *["xl/worksheets/sheet1.xml"] * 8])
        text = parts[name].decode("utf-8", "replace").replace("><", ">\n<")
        parts[name] = spoil_text(text, rng).encode("utf-8", "replace")
        target = io.BytesIO()
        with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
            for each, part in parts.items():
                archive.writestr(each, part)
        return target.getvalue()

    return _sheets(folder, "table.xlsx", spoil)


def archives(folder: Path) -> Case:
    """Archives: their bytes spoilt, or one of their files with a list that fits."""
    import json
    from hashlib import sha256

    from experiments.ledger import Ledger
    from experiments.packing import pack

    with Ledger.open(_experiment(folder)) as ledger:
        pack(ledger, folder / "radio.zip")
    whole = (folder / "radio.zip").read_bytes()
    with zipfile.ZipFile(folder / "radio.zip") as archive:
        files = {name: archive.read(name) for name in archive.namelist()}
    path, out = folder / "odd.zip", folder / "out"
    beside = {*os.listdir(folder), path.name}

    def case(rng: random.Random) -> str:
        if rng.random() < 0.5:
            path.write_bytes(spoil_bytes(whole, rng))
        else:
            odd = dict(files)
            name = rng.choice(list(odd))
            odd[name] = spoil_bytes(odd[name], rng)
            listed = json.loads(files["manifest.json"])
            if name != "manifest.json":
                for one in listed["files"]:
                    content = odd[one["name"]]
                    one |= {"bytes": len(content), "sha256": sha256(content).hexdigest()}
                odd["manifest.json"] = json.dumps(listed).encode()
            with zipfile.ZipFile(path, "w", zipfile.ZIP_STORED) as target:
                for each, content in odd.items():
                    target.writestr(each, content)
        result = told(["unpack", str(path), str(out), "--yes"])
        if result == "taken":
            shutil.rmtree(out)
        return result if set(os.listdir(folder)) == beside else "left behind"

    return case


SLOW = ("demo", "page", "report", "knobs", "deadends", "outlook", "recommend", "ageing", "drift",
        "optimum", "compare", "front", "next", "again", "expect", "rescue")  # fmt: skip


def commands(folder: Path) -> Case:
    """Command lines: a verb, and words that go with it or do not."""
    import click

    from optimiser.command import main
    from optimiser.command.root import VERBS

    base = _experiment(folder)
    place = folder / "work" / "radio"
    context, count = click.Context(main), 0
    names = ["1", "2", "3", "raw.txt", "t.csv", "t.xlsx", "p.zip", "b.db", "wall=0.5", "loss=3"]
    quick = [verb for verb in VERBS if verb not in SLOW]

    def fitting(rng: random.Random, params: list[click.Parameter]) -> list[str]:
        """Give what the verb takes, most of it with a value that might be meant."""
        words: list[str] = []
        for each in rng.sample(params, rng.randint(0, min(4, len(params)))):
            option = isinstance(each, click.Option)
            words += each.opts[-1:] if option else []
            if not (option and each.is_flag):
                words.append(rng.choice(names if rng.random() < 0.8 else ODD))
        return words

    def case(rng: random.Random) -> str:
        nonlocal count
        if count % 40 == 0:
            os.chdir(folder)
            shutil.rmtree(place.parent, ignore_errors=True)
            os.chdir(_fresh(base, place))
        count += 1
        verb = rng.choice(quick) if rng.random() < 0.97 else rng.choice(SLOW[2:])
        params = main.get_command(context, verb).params
        if rng.random() < 0.5:
            words = fitting(rng, params)
        else:
            options = [name for each in params for name in each.opts]
            pool = [*names, *ODD, *(name for name in options if name[:1] == "-")]
            several = range(rng.randint(0, 5))
            words = [rng.choice(rng.choice([names, pool, options])) for _ in several]
        # An odd word may be the name of a file to write, which is then the user's wish.
        words = [word for word in words if not word.startswith(("/", "..")) and "\0" not in word]
        return told([verb, *words], rng.choice(["", "y\n", "n\n"]))

    return case


KINDS: dict[str, Callable[[Path], Case]] = {
    "plans": plans,
    "tables": tables,
    "workbooks": workbooks,
    "archives": archives,
    "commands": commands,
}


def run(kind: str, count: int, seed: int) -> None:
    """Run the cases of one kind and print what came of them."""
    folder = Path(tempfile.mkdtemp(prefix="fuzzing-"))
    tempfile.tempdir = str(folder)
    # Where it is asked for first, it may ask the system for its fonts and keep a list of them.
    importlib.import_module("matplotlib.font_manager")
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))

    def late(sort: int, _frame: object) -> None:
        busy = f"{SECONDS} s of processor time"
        raise BaseException(
            f"a case took more than {busy if sort == signal.SIGPROF else f'{WAITING} s'}"
        )

    signal.signal(signal.SIGPROF, late)
    signal.signal(signal.SIGALRM, late)
    case = KINDS[kind](folder)
    guard(folder)
    results: dict[str, int] = {}
    slowest = 0.0
    for number in range(count):
        rng = random.Random(f"{kind} {seed} {number}")
        signal.setitimer(signal.ITIMER_PROF, SECONDS)
        signal.setitimer(signal.ITIMER_REAL, WAITING)
        start = time.process_time()
        try:
            result = case(rng)
        except BaseException:
            print(f"case {number} of {kind}, seed {seed}", file=sys.stderr)
            raise
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.setitimer(signal.ITIMER_REAL, 0)
        slowest = max(slowest, time.process_time() - start)
        if result.startswith(("failed", "not itself", "left behind")):
            raise SystemExit(f"case {number} of {kind}, seed {seed}: {result}")
        results[result] = results.get(result, 0) + 1
    memory = most_megabytes()
    told = ", ".join(f"{name} {times}" for name, times in sorted(results.items()))
    print(f"{kind}: {count} cases, {told}; slowest {slowest:.2f} s, {memory:.0f} MB at most")
    os.chdir("/")
    shutil.rmtree(folder)


if __name__ == "__main__":
    run(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]) if len(sys.argv) > 3 else 0)
