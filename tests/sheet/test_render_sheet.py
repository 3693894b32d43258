"""The run sheet on paper and on the page: A4 and Letter, twice the same, nothing from outside."""

import io
import json
import shutil

import pytest

from kit.errors import NotebookError, RecordError, RenderError, UsageError
from kit.render import sheet as render_sheet
from kit.render.sheet import render_run_sheet
from tests.helpers.files import PLAN

pytestmark = pytest.mark.slow

HOSTILE = (
    "<script>alert(1)</script>", '#read("/etc/passwd")', "**x** [a](b)", "\u202eright\u202c",
    "shell 🐚", "x" * 300,
)  # fmt: skip


def quoted(text):
    return json.dumps(text, ensure_ascii=False)


def plan_with(labels, path):
    """Write a plan whose texts are the labels."""
    devices = "".join(
        f'[[devices]]\nid = "d{i}"\nlabel = {quoted(label)}\n'
        "forecast = { rates_pp_per_h = { map = 10 } }\n"
        for i, label in enumerate(labels)
    )
    phases = "".join(
        f'[[phases]]\nid = "p{i}"\nlabel = {quoted(label)}\nactivity = "map"\n'
        f"content = {quoted(label)}\nplanned_min = 60\n"
        for i, label in enumerate(labels)
    )
    head = (
        f'[session]\nid = "d"\ntitle = {json.dumps(labels[0])}\nnotes = {json.dumps(labels[1])}\n'
    )
    path.write_text(head + devices + phases, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def sheets(tmp_path_factory):
    folder = tmp_path_factory.mktemp("sheets")
    hostile = plan_with(HOSTILE, folder / "hostile.toml")
    many = plan_with([f"Tablet number {i}" for i in range(14)], folder / "many.toml")
    return {
        "a4": render_run_sheet(PLAN, folder / "a4"),
        "letter": render_run_sheet(PLAN, folder / "letter", paper="letter"),
        "hostile": render_run_sheet(hostile, folder / "hostile"),
        "many": render_run_sheet(many, folder / "many"),
    }


def test_all_parts_are_made_and_progress_is_told(tmp_path):
    told = []
    made = render_run_sheet(PLAN, tmp_path / "out", progress=lambda s, f: told.append((s, f)))
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == [
        "run-sheet.html", "run-sheet.ipynb", "run-sheet.pdf",
    ]  # fmt: skip
    assert made.findings == ()
    fractions = [f for _, f in told]
    assert fractions == sorted(fractions)
    assert fractions[-1] == 1.0
    assert any(step == "Scorecard" for step, _ in told)


def test_same_plan_same_bytes(sheets, tmp_path):
    copy = tmp_path / "elsewhere {x}" / "plan.toml"
    copy.parent.mkdir()
    shutil.copyfile(PLAN, copy)
    again = render_run_sheet(copy, tmp_path / "out")
    for name in ("notebook", "html", "pdf"):
        assert getattr(again, name).read_bytes() == getattr(sheets["a4"], name).read_bytes(), name


def test_a_faulty_plan_writes_nothing(tmp_path):
    bad = tmp_path / "bad.toml"
    bad.write_text("[plan]\nread_at = 1\n")
    with pytest.raises(RecordError):
        render_run_sheet(bad, tmp_path / "out")
    with pytest.raises(UsageError):
        render_run_sheet(tmp_path / "none.toml", tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_a_failing_cell_keeps_the_last_sheet(tmp_path, monkeypatch):
    out = tmp_path / "out"
    made = render_run_sheet(PLAN, out)
    before = made.pdf.read_bytes()
    notebook = json.loads((render_sheet.templates_folder() / "run_sheet.ipynb").read_text())
    notebook["cells"][4]["source"] = ["run_sheet.nothing(sheet)"]
    (tmp_path / "templates").mkdir()
    (tmp_path / "templates" / "run_sheet.ipynb").write_text(json.dumps(notebook))
    monkeypatch.setattr(render_sheet, "templates_folder", lambda: tmp_path / "templates")
    with pytest.raises(NotebookError):
        render_run_sheet(PLAN, out)
    assert made.pdf.read_bytes() == before
    assert (out / "run-sheet.failed.ipynb").exists()
    monkeypatch.undo()
    render_run_sheet(PLAN, out)
    assert not (out / "run-sheet.failed.ipynb").exists()


def test_an_output_that_cannot_be_written_is_told(tmp_path):
    (tmp_path / "out").write_text("a file where the folder should be")
    with pytest.raises(RenderError):
        render_run_sheet(PLAN, tmp_path / "out")


def test_html_has_boxes_room_and_page_starts(sheets):
    page = sheets["a4"].html.read_text(encoding="utf-8")
    assert page.count('class="writing"') >= 6
    assert page.count("\N{BALLOT BOX}") > 100
    assert page.count('class="new-page"') == 3
    assert "Plan fingerprint" in page
    assert "Data fingerprint</dt>" not in page


def test_hostile_texts_stay_texts(sheets):
    page = sheets["hostile"].html.read_text(encoding="utf-8")
    assert "<script>alert(1)" not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page
    assert "**x** [a](b)" in page
    assert "\u202e" not in page


@pytest.mark.system
@pytest.mark.parametrize(("name", "size"), [("a4", (595.28, 841.89)), ("letter", (612.0, 792.0))])
def test_pages_have_their_size_and_their_sections(sheets, name, size):
    pypdf = pytest.importorskip("pypdf")
    reader = pypdf.PdfReader(io.BytesIO(sheets[name].pdf.read_bytes()))
    assert 5 <= len(reader.pages) <= 9
    for page in reader.pages:
        assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(
            size, abs=0.5
        )
    texts = [page.extract_text() for page in reader.pages]
    for title in ("Timetable", "Scorecard", "Near the end"):
        (start,) = [i for i, t in enumerate(texts) if f"{title}\n" in t]
        body = texts[start].split("plan ", 1)[1]  # after the running header
        assert title in body[:120], title
    assert "Whole percentages as the displays show them" in " ".join(texts)


@pytest.mark.system
@pytest.mark.parametrize("name", ["a4", "letter"])
def test_rows_to_write_in_are_eight_millimetres_high(sheets, name):
    pypdf = pytest.importorskip("pypdf")
    reader = pypdf.PdfReader(io.BytesIO(sheets[name].pdf.read_bytes()))
    [page] = [p for p in reader.pages if "More 1" in (p.extract_text() or "")]
    heights = {}

    def visit(text, matrix, _text_matrix, _font, _size):
        for word in ("More 1", "More 2", "More 3"):
            if word in text:
                heights[word] = matrix[5]

    page.extract_text(visitor_text=visit)
    steps = [abs(heights[f"More {i}"] - heights[f"More {i + 1}"]) for i in (1, 2)]
    # a point is 25.4/72 mm
    assert all(8.0 <= s * 25.4 / 72 <= 8.5 for s in steps), heights


@pytest.mark.system
def test_a_long_row_of_devices_keeps_every_column(sheets):
    pypdf = pytest.importorskip("pypdf")
    reader = pypdf.PdfReader(io.BytesIO(sheets["many"].pdf.read_bytes()))
    text = " ".join(" ".join(p.extract_text().split()) for p in reader.pages)
    for i in range(14):
        assert f"{i}" in text
    assert "part 2 of" in text


@pytest.mark.system
def test_hostile_texts_in_the_pdf(sheets):
    pypdf = pytest.importorskip("pypdf")
    reader = pypdf.PdfReader(io.BytesIO(sheets["hostile"].pdf.read_bytes()))
    text = "".join("".join(p.extract_text().split()) for p in reader.pages)
    assert "<script>alert(1)</script>" in text
    assert '#read("/etc/passwd")' in text
    assert "root:" not in text


@pytest.mark.system
@pytest.mark.parametrize("name", ["a4", "hostile", "many"])
def test_page_asks_for_nothing_and_is_accessible(sheets, name):
    sync_api = pytest.importorskip("playwright.sync_api")
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    found = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("chrome")
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=found, args=["--no-sandbox"])
        context = browser.new_context(offline=True, viewport={"width": 390, "height": 800})
        page = context.new_page()
        requests, complaints = [], []
        page.on("request", lambda r: requests.append(r.url))
        page.on("console", lambda m: complaints.append(m.text))
        page.on("pageerror", lambda e: complaints.append(str(e)))
        url = sheets[name].html.as_uri()
        page.goto(url)
        page.wait_for_timeout(150)
        assert requests == [url]
        assert complaints == []
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
        results = axe.Axe().run(page)
        told = [(v["id"], v["nodes"][0]["html"][:120]) for v in results.response["violations"]]
        assert told == []
        browser.close()
