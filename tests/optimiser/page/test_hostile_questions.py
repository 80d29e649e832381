"""A stranger's names in the rooms that ask the model, and uploads without end."""

from __future__ import annotations

import csv
import http.client
import io
import re
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from urllib.parse import quote, urlsplit

import pytest

from experiments.ledger import Ledger
from experiments.measuring import measure_contents
from optimiser.page.answering import QUESTIONS
from tests.bench_page import PLAN, Browser, opened, response_text
from tests.optimiser.page.test_hostile import SCRIPT, harmless
from tests.optimiser.page.test_rooms_that_ask import RECIPES, whole
from tests.page_browser import serving

EVIL = SCRIPT.replace("'", "`")
FORMULA = "=HYPERLINK(1)"
TYPED = quote(SCRIPT)


def _plan() -> str:
    """A plan whose every word is hostile: script in names, labels, units, levels; formulas too."""
    text = PLAN.replace("cautions =", "# cautions =")
    for found, put in (
        ('"window-sill radio"', f"'{EVIL}'"),
        ('"filament"]', f"'{EVIL}']"),
        ('unit = "mm"', f"unit = '{EVIL}'"),
        ("[variables.wall]", f"[variables.wall]\nlabel = '{FORMULA}'\nnote = '{EVIL}'"),
        ("[variables.cure_time]", f"[variables.cure_time]\nlabel = '{EVIL}'"),
        ("[metrics.loss]", f"[metrics.loss]\nlabel = '{EVIL}'"),
        ('unit = "%"', f"unit = '{EVIL}'"),
    ):
        assert found in text
        text = text.replace(found, put)
    return text


@pytest.fixture(scope="module")
def evil(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    """The page of such an experiment: six measured cones, a failed one, a planned one."""
    folder = tmp_path_factory.mktemp("evil") / "radio"
    with Ledger.create(folder, _plan()) as ledger:
        for place, recipe in enumerate(RECIPES):
            named = {**recipe, "process": recipe["process"].replace("filament", EVIL)}
            cone = ledger.add(named, note=EVIL)
            file = (FORMULA, response_text(6000 + 900 * place))
            heard = measure_contents(ledger.plan, [file], hand={"loss": 1.0 + 0.4 * place})
            ledger.measure(cone, session=EVIL, curves=heard.curves, values=heard.values)
            ledger.note(EVIL, cone=cone)
        ledger.add({"process": EVIL, "wall": 0.3}, status="failed", why=EVIL)
        ledger.plan_cones([{"process": EVIL, "wall": 0.7}], reason=[EVIL])
    yield from opened(folder)


def formulas(table: str) -> list[str]:
    """Give the cells that a spreadsheet would work out."""
    cells = [cell for row in csv.reader(io.StringIO(table)) for cell in row]
    return [cell for cell in cells if cell[:1] in "=+-@\t\r" and not _number(cell)]


def _number(cell: str) -> bool:
    return bool(re.fullmatch(r"-?\d+(\.\d+)?(e[-+]\d+)?|", cell))


def test_a_formula_is_told_from_a_number():
    assert formulas("=1+1,-2.5,'=1,a\n-1e-05,@x,,+cmd") == ["=1+1", "@x", "+cmd"]


def test_trying_shows_a_strangers_names_as_text(evil):
    recipe = "set-process=resin&set-wall=0.6&set-cure_time=12"
    recipe += "&pin-process=resin&pin-wall=0.9&pin-cure_time=3"
    page = harmless(whole(evil, f"/try?{recipe}"))
    assert "alert(1)" in page.text
    assert page.source.count("<svg") > 1
    for part in ("numbers", "curves"):
        harmless(evil.get(f"/try?{recipe}&part={part}"))
    assert not formulas(evil.client.get(f"/try?{recipe}&data=response").text)


def test_what_is_typed_into_questions_comes_back_as_text(evil):
    for path in (
        f"/try?set-wall={TYPED}&set-process={TYPED}&pin-wall={TYPED}&like={TYPED}&part={TYPED}",
        f"/next?count={TYPED}&per={TYPED}&hold-wall={TYPED}",
        f"/answers/compare?a={TYPED}&b={TYPED}",
        f"/answers/optimum?variable={TYPED}&hold-wall={TYPED}",
        f"/answers/knobs?metric={TYPED}",
        f"/answers/ageing?by={TYPED}",
        f"/report?build={TYPED[:0]}&told={TYPED}",
    ):
        answer = evil.client.get(path)
        assert answer.status_code in (200, 422), (path, answer.text)
        page = harmless(whole(evil, path) if answer.status_code == 200 else evil.get(path, 422))
        assert "fault of its own" not in page.text, path


@pytest.mark.slow
def test_picks_answers_and_report_show_a_strangers_names_as_text(evil):
    harmless(whole(evil, "/next?count=2"))
    for name in QUESTIONS:
        query = f"?a=process=resin&b=process={quote(EVIL)}" if name == "compare" else "?"
        page = harmless(whole(evil, f"/answers/{name}{query}"))
        assert "fault of its own" not in page.text, name
        for key in re.findall(r"[?&;]data=(\w+)", page.source):
            table = evil.client.get(f"/answers/{name}{query}&data={key}").text
            assert not formulas(table), (name, key)
    whole(evil, "/report?build=yes")
    report = evil.client.get("/report/file").text
    assert "alert(1)" in report
    assert "<script>alert" not in report
    assert "<img" not in report


def _most_memory(process: int) -> int:
    """Give the most memory that a process ever held, in MB."""
    status = Path(f"/proc/{process}/status").read_text(encoding="utf-8")
    found = re.search(r"VmHWM:\s+(\d+) kB", status)
    assert found
    return int(found[1]) // 1000


def _post(address: str, head: dict[str, str]) -> http.client.HTTPConnection:
    """Begin to send a form with a file."""
    line = http.client.HTTPConnection(urlsplit(address).netloc, timeout=30)
    line.putrequest("POST", "/cones/1/measure")
    kind = "multipart/form-data; boundary=x"
    for name, value in {"Origin": address, "Content-Type": kind, **head}.items():
        line.putheader(name, value)
    line.endheaders()
    return line


@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="memory is read from /proc")
def test_a_gigabyte_is_refused_and_never_held(empty):
    part = b'--x\r\nContent-Disposition: form-data; name="files"; filename="a"\r\n\r\n'
    with serving(empty) as (address, process):
        with closing(http.client.HTTPConnection(urlsplit(address).netloc)) as other:
            other.request("GET", "/cones")
            other.getresponse().read()
        before = _most_memory(process)
        with closing(_post(address, {"Content-Length": "1000000000"})) as line:
            assert line.getresponse().status == 413  # before anything was sent
        with closing(_post(address, {"Transfer-Encoding": "chunked"})) as line:
            piece = part + b"0" * 1_000_000
            for _ in range(1000):
                line.send(b"%x\r\n%s\r\n" % (len(piece), piece))
                piece = b"0" * 1_000_000
            line.send(b"0\r\n\r\n")
            assert line.getresponse().status == 413
        assert _most_memory(process) - before < 60
