"""What a stranger may send or leave in the folder: refused, or shown as the text that it is."""

from __future__ import annotations

import pytest

from experiments.measuring import measure_contents
from tests.bench_page import OURS, response_text
from tests.optimiser.page.test_cone_edit import form_of
from tests.pages import Page

pytestmark = pytest.mark.usefixtures("still")

SCRIPT = "<script>alert(1)</script>\"'><img src=x onerror=alert(1)>{{7*7}}=1+1"


def harmless(page):
    """No tag of the text became a tag of the page, and no template ran in it."""
    assert "<script>alert" not in page.source
    assert "<img" not in page.source
    assert "49=1+1" not in page.source
    assert not [1 for _, given in page.tags for name in given if name.startswith("on")]
    return page


def test_a_script_in_every_text_field_is_shown_as_text(browser):
    fields = {
        "set-process": "filament", "set-wall": "0.5", "state": "failed", "why": SCRIPT,
        "note": SCRIPT,
    }  # fmt: skip
    harmless(browser.told("/cones/add", **fields))
    browser.told("/cones/3/note", text=SCRIPT)
    files = [("files", (SCRIPT, response_text(5000), SCRIPT.replace('"', "")))]
    path = browser.send("/cones/3/measure", files=files, session=SCRIPT, note=SCRIPT,
                        **{"value-loss": "2"}).headers["location"]  # fmt: skip
    harmless(browser.get(path))
    for upload in browser.desk.uploads._waiting.values():
        upload.content.job.run()
    harmless(browser.get(path))
    browser.told(path, do="save", session=SCRIPT, note=SCRIPT, **{"value-loss": "2"})
    for room in ("/", "/cones", "/cones/3", "/cones/5", "/cones/3/edit", "/history", "/measure",
                 "/cones/3/measure", "/cones/add"):  # fmt: skip
        page = harmless(browser.get(room))
        assert room in ("/measure", "/cones/add", "/") or "alert(1)" in page.text, room


def test_a_script_that_is_refused_comes_back_as_text(browser):
    for path, fields in (
        ("/cones/add", {"set-wall": SCRIPT, "mass": SCRIPT}),
        ("/cones/3/edit", {**form_of(browser.get("/cones/3/edit")), "cone-wall": SCRIPT}),
        ("/cones/3/measure", {"session": "", "age_days": SCRIPT}),
        ("/plan", {"plan": SCRIPT, "digest": SCRIPT, "do": "save"}),
    ):
        harmless(Page(browser.send(path, status=200, **fields).text))
    for query in ("find=", "status=", "sort=", "told=", "data="):
        harmless(browser.get("/cones?" + query + "%3Cscript%3Ealert(1)%3C/script%3E"))


def test_a_strangers_plan_is_shown_as_text(browser):
    text = (browser.folder / "experiment.toml").read_text(encoding="utf-8")
    evil = text.replace('"window-sill radio"', f"'''{SCRIPT}'''")
    evil = evil.replace("[variables.wall]", f"[variables.wall]\nlabel = '''{SCRIPT}'''")
    (browser.folder / "experiment.toml").write_text(evil, encoding="utf-8")
    for room in ("/", "/cones", "/cones/1", "/cones/add", "/plan", "/cones/3/edit"):
        status = 200 if browser.client.get(room).status_code == 200 else 422
        harmless(browser.get(room, status=status))


def test_a_link_in_the_folder_is_not_followed(browser, tmp_path):
    secret = tmp_path / "secret.toml"
    secret.write_text("password = 1", encoding="utf-8")
    plan = browser.folder / "experiment.toml"
    plan.unlink()
    plan.symlink_to(secret)
    for room in ("/plan", "/", "/cones"):
        assert "password" not in browser.get(room, status=422).source
    (browser.folder / "cards").mkdir(exist_ok=True)
    (browser.folder / "cards" / "cone_01.html").symlink_to(secret)
    assert browser.client.get("/cards/cone_01.html").status_code == 404


def test_too_many_fields_or_files_or_a_huge_field_are_refused(browser):
    token = browser.token()
    many = {"token": token, **{f"f{n}": "1" for n in range(2000)}}
    assert browser.client.post("/undo", data=many, headers=OURS).status_code == 400
    files = [("files", (f"{n}.txt", b"1", "text/plain")) for n in range(50)]
    answer = browser.client.post(
        "/cones/3/measure", data={"token": token}, files=files, headers=OURS
    )
    assert answer.status_code == 400
    kind = {**OURS, "Content-Type": "multipart/form-data; boundary=x"}
    field = b'--x\r\nContent-Disposition: form-data; name="note"\r\n\r\n'
    body = field + b"a" * 1_100_000 + b"\r\n--x--\r\n"
    assert browser.client.post("/cones/3/measure", content=body, headers=kind).status_code == 400


@pytest.mark.parametrize("body", [b"", b"--x", b"\xff\xfe", b"--x\r\n\r\n\r\n--x--"])
def test_a_broken_form_is_refused_without_a_fault(browser, body):
    browser.get("/history")
    kind = {**OURS, "Content-Type": "multipart/form-data; boundary=x"}
    answer = browser.client.post("/undo", content=body, headers=kind)
    assert answer.status_code in (400, 403)


def test_a_formula_in_a_name_leaves_as_text(browser):
    with browser.ledger as ledger:
        measured = measure_contents(ledger.plan, [("=1+1.txt", response_text(6000))])
        ledger.measure(3, session="=cmd()", curves=measured.curves, values=measured.values)
    for line in browser.client.get("/cones/3?data=response").text.splitlines():
        assert not line.startswith(("=", "+", "-", "@"))
