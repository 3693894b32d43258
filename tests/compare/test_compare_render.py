"""The comparison as files: twice the same, with its inputs inside, safe, and readable."""

import base64
import hashlib
import io
import json
import re
import shutil
from datetime import date

import pytest
from click.testing import CliRunner

from kit.cli import cli
from kit.compare.settings import CompareSettings
from kit.errors import RenderError, UsageError
from kit.places import samples_folder
from kit.read.record import read_record
from kit.render import compare as render_compare
from kit.render.compare import render_comparison

pytestmark = pytest.mark.slow

SAMPLES = [samples_folder() / "full-day", samples_folder() / "autumn-check"]
HOSTILE = "<script>alert(1)</script> $x$ **b** #read \u202eright"


def hostile_days(folder):
    """Write two small sessions whose texts try to be something else."""
    made = []
    for number in (1, 2):
        place = folder / f"day {number} {{x}}"
        place.mkdir(parents=True)
        quoted = json.dumps(HOSTILE, ensure_ascii=False)
        (place / "session.toml").write_text(
            f"[session]\nid = {quoted}\ntitle = {quoted}\ndate = {date(2026, 5, number)}\n"
            'start = "08:00"\n'
            f"[conditions]\nnetwork = {quoted}\nbrightness_pct = {50 + 10 * number}\n"
            f"[[devices]]\nid = \"a\"\nlabel = {quoted}\nsoftware = {quoted}\n"
            f'[[devices]]\nid = "b"\nlabel = "=1+1"\n'
            f'[[phases]]\nid = "p1"\nlabel = {quoted}\nactivity = {quoted}\nplanned_min = 60\n',
            encoding="utf-8",
        )  # fmt: skip
        (place / "log.csv").write_text(
            "event,phase,point,device,clock,soc_pct,last_on,first_off\n"
            "reading,p1,start,a,08:00,100,,\nreading,p1,start,b,08:00,100,,\n"
            "reading,p1,end,a,09:00,80,,\nreading,p1,end,b,09:00,82,,\n"
            f"power_off,,,a,13:0{number},,13:00,13:0{number}\n"
            f"power_off,,,b,13:3{number},,13:30,13:3{number}\n",
            encoding="utf-8",
        )
        made.append(place)
    return made


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("comparisons")
    settings = CompareSettings()
    return {
        "sample": render_comparison(SAMPLES, folder / "sample", settings=settings),
        "hostile": render_comparison(
            hostile_days(folder / "in"), folder / "hostile",
            settings=CompareSettings(accept=frozenset({"brightness_pct"})),
        ),
    }  # fmt: skip


def test_same_sessions_same_bytes_elsewhere_and_in_another_order(made, tmp_path):
    copies = []
    for place in reversed(SAMPLES):  # the later one first
        copy = tmp_path / "elsewhere" / place.name
        shutil.copytree(place, copy, ignore=shutil.ignore_patterns("report"))
        copies.append(copy)
    told = []
    again = render_comparison(
        copies, tmp_path / "out", settings=CompareSettings(),
        progress=lambda step, done: told.append((step, done)),
    )  # fmt: skip
    for name in ("notebook", "html", "pdf", "results"):
        assert getattr(again, name).read_bytes() == getattr(made["sample"], name).read_bytes(), name
    shares = [done for _, done in told]
    assert shares == sorted(shares)
    assert shares[-1] == 1.0
    assert any(step == "All-time order" for step, _ in told)


def test_the_page_carries_the_inputs_of_every_session(made):
    page = made["sample"].html.read_text(encoding="utf-8")
    links = dict(re.findall(r'download="([^"]+)"[^>]*href="data:[^;]+;base64,([^"]+)"', page))
    links |= {
        name: data
        for data, name in re.findall(
            r'href="data:[^;]+;base64,([^"]+)"[^>]*download="([^"]+)"', page
        )
    }
    inside = {name: base64.b64decode(data) for name, data in links.items()}
    manifest = json.loads(inside["manifest.json"])
    assert [s["fingerprint"] for s in manifest["sessions"]] == [
        read_record(place)[0].fingerprint for place in SAMPLES
    ]
    for place, listed in zip(SAMPLES, manifest["sessions"], strict=True):
        for name, file in zip(listed["inputs"], ("session.toml", "log.csv"), strict=True):
            assert inside[name] == (place / file).read_bytes()
    digests = {f["name"]: f["sha256"] for f in manifest["files"]}
    assert all(
        hashlib.sha256(data).hexdigest() == digests[name]
        for name, data in inside.items()
        if name in digests
    )
    whole = "".join(s["fingerprint"] for s in manifest["sessions"])
    assert manifest["fingerprint"] == hashlib.sha256(whole.encode()).hexdigest()[:12]


def test_hostile_texts_stay_texts(made):
    page = made["hostile"].html.read_text(encoding="utf-8")
    assert "<script>alert(1)" not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page
    assert "\u202e" not in re.sub(r'href="data:[^"]+"', "", page)
    cells = (made["hostile"].tables / "order.csv").read_text(encoding="utf-8")
    assert "'=1+1" in cells
    assert (made["hostile"].tables / "quoted-cells.txt").exists()


def test_a_folder_that_holds_something_else_is_refused(made, tmp_path):
    taken = tmp_path / "taken"
    taken.mkdir()
    (taken / "report.html").write_text("a report")
    with pytest.raises(UsageError, match="holds the report"):
        render_comparison(SAMPLES, taken, settings=CompareSettings())
    with pytest.raises(UsageError, match="one of the sessions"):
        render_comparison(SAMPLES, SAMPLES[0], settings=CompareSettings())


def test_one_session_is_refused_and_nothing_written(tmp_path):
    with pytest.raises(UsageError, match="at least two"):
        render_comparison(SAMPLES[:1], tmp_path / "out", settings=CompareSettings())
    assert not (tmp_path / "out" / "comparison.html").exists()


def test_a_record_that_changes_meanwhile_is_noticed(tmp_path, monkeypatch):
    monkeypatch.setattr(render_compare, "fingerprint", lambda members: "another")
    with pytest.raises(RenderError, match="changed while"):
        render_comparison(SAMPLES, tmp_path / "out", settings=CompareSettings())
    assert not (tmp_path / "out" / "comparison.html").exists()


def test_the_command_says_what_it_made(tmp_path):
    run = CliRunner().invoke(
        cli, ["compare", *map(str, SAMPLES), "-o", str(tmp_path / "out"), "--same", "goby=goby"]
    )
    assert run.exit_code == 0, run.output
    assert "comparison.html" in run.output
    assert "it cannot be said which runs longest" in run.output
    wrong = CliRunner().invoke(
        cli, ["compare", *map(str, SAMPLES), "-o", str(tmp_path / "out"), "--same", "goby"]
    )
    assert isinstance(wrong.exception, UsageError)


@pytest.mark.system
@pytest.mark.parametrize("name", ["sample", "hostile"])
@pytest.mark.parametrize("width", [1280, 360])
def test_page_asks_for_nothing_is_accessible_and_fits(made, name, width):
    sync_api = pytest.importorskip("playwright.sync_api")
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    found = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("chrome")
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=found, args=["--no-sandbox"])
        context = browser.new_context(offline=True, viewport={"width": width, "height": 800})
        page = context.new_page()
        requests, complaints = [], []
        page.on("request", lambda r: requests.append(r.url))
        page.on("console", lambda m: complaints.append(m.text))
        page.on("pageerror", lambda e: complaints.append(str(e)))
        url = made[name].html.as_uri()
        page.goto(url)
        page.wait_for_timeout(150)
        assert requests == [url]
        assert complaints == []
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        results = axe.Axe().run(page)
        told = [(v["id"], v["nodes"][0]["html"][:120]) for v in results.response["violations"]]
        assert told == []
        browser.close()


@pytest.mark.system
def test_the_pdf_holds_the_inputs_and_every_section(made):
    pypdf = pytest.importorskip("pypdf")
    reader = pypdf.PdfReader(io.BytesIO(made["sample"].pdf.read_bytes()))
    text = " ".join(" ".join(p.extract_text().split()) for p in reader.pages)
    for title in ("All-time order", "Who led", "What is comparable", "Phases matched"):
        assert title in text
    for place, key in zip(SAMPLES, ("01-saltmarsh-2026-05-16", "02-saltmarsh-2026-10-10"),
                          strict=True):  # fmt: skip
        (data,) = reader.attachments[f"{key}-log.csv"]
        assert data == (place / "log.csv").read_bytes()
    hostile = pypdf.PdfReader(io.BytesIO(made["hostile"].pdf.read_bytes()))
    assert "<script>alert(1)</script>" in "".join(
        "".join(p.extract_text().split()) for p in hostile.pages
    )
