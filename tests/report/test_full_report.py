"""The kit's own notebook on real records: the whole report, looked at from outside."""

from __future__ import annotations

import json
import re
import subprocess
from typing import TYPE_CHECKING

import pytest

from kit.labels import TABLE_WIDTH
from kit.places import samples_folder
from kit.render.report import render_report
from kit.results import Settings
from kit.safe_text import displayable
from tests.helpers.page_tree import Element, parsed
from tests.helpers.rendering import HOSTILE
from tests.helpers.visit import DESK, PHONE, Visit
from tests.render.test_pdf import failures

if TYPE_CHECKING:
    from pathlib import Path

    from kit.render.report import Outputs

pytestmark = pytest.mark.slow

SETTINGS = Settings(draws=10_000)


def toml_text(text: str) -> str:
    """Return a TOML basic string: control characters escaped (TOML 1.0, "String")."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + re.sub(r"[\x00-\x1f\x7f]", lambda m: f"\\u{ord(m[0]):04X}", escaped) + '"'


def hostile_record(folder: Path) -> Path:
    """Write a session whose devices, phases, conditions and notes are the hostile strings."""
    setup = [
        '[session]\nid = "hostile"\ndate = 2026-05-16\nstart = "08:00"',
        f"title = {toml_text(HOSTILE[0] + HOSTILE[8])}",
        f"operator = {toml_text(HOSTILE[1])}\nnotes = {toml_text(HOSTILE[6])}",
        f"[conditions]\nnetwork = {toml_text(HOSTILE[9])}",
    ]
    rows = ["event,phase,point,device,elapsed_min,soc_pct"]
    for number, text in enumerate(HOSTILE):
        after = HOSTILE[(number + 1) % len(HOSTILE)]
        setup.append(
            f'[[devices]]\nid = "D{number}"\nlabel = {toml_text(text)}\n'
            f"notes = {toml_text(after)}\nrated_energy_wh = 30"
        )
        rows += [
            f"reading,P{phase},{point},D{number},{60 * (phase + (point == 'end'))},"
            f"{100 - 12 * (phase + (point == 'end')) - number % 3}"
            for phase in range(2)
            for point in ("start", "end")
        ]
    rows += [f"power_off,P1,,D{number},{110 + number},2" for number in range(4)]
    setup += [
        f'[[phases]]\nid = "P{phase}"\nlabel = {toml_text(HOSTILE[phase + 6])}\n'
        f"planned_min = 60\nactivity = {toml_text(HOSTILE[phase + 3])}\n"
        f"content = {toml_text(HOSTILE[phase + 10])}"
        for phase in range(2)
    ]
    folder.mkdir()
    folder.joinpath("session.toml").write_text("\n".join(setup) + "\n", encoding="utf-8")
    folder.joinpath("log.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def full_day(tmp_path_factory: pytest.TempPathFactory) -> Outputs:
    out = tmp_path_factory.mktemp("full") / "day"
    return render_report(samples_folder() / "full-day", out, settings=SETTINGS)


@pytest.fixture(scope="module")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> Outputs:
    folder = tmp_path_factory.mktemp("hostile")
    record = hostile_record(folder / "record")
    return render_report(record, folder / "out", settings=SETTINGS)


def page_of(outputs: Outputs) -> Element:
    return parsed(outputs.html.read_text(encoding="utf-8"))


def test_a_second_run_gives_the_same_bytes(full_day: Outputs, tmp_path: Path) -> None:
    again = render_report(samples_folder() / "full-day", tmp_path / "out", settings=SETTINGS)
    for first, second in (
        (full_day.notebook, again.notebook), (full_day.html, again.html),
        (full_day.pdf, again.pdf), (full_day.results, again.results),
    ):  # fmt: skip
        assert first.read_bytes() == second.read_bytes(), first.name
    names = sorted(p.name for p in full_day.tables.iterdir())
    assert names == sorted(p.name for p in again.tables.iterdir())
    for name in names:
        assert (full_day.tables / name).read_bytes() == (again.tables / name).read_bytes()


def test_every_table_of_the_results_is_a_csv(full_day: Outputs) -> None:
    results = json.loads(full_day.results.read_text(encoding="utf-8"))
    assert {f"{name}.csv" for name in results["tables"]} == {
        p.name for p in full_day.tables.iterdir()
    }
    head = (full_day.tables / "runtimes.csv").read_text(encoding="utf-8").splitlines()[0]
    assert head.split(",") == results["tables"]["runtimes"]["columns"]


def test_structure_of_the_page(full_day: Outputs, hostile: Outputs) -> None:
    for outputs in (full_day, hostile):
        root = page_of(outputs)
        ids = [e.attributes["id"] for e in root.walk() if "id" in e.attributes]
        assert len(ids) == len(set(ids))
        for table in root.all("table"):
            assert table.all("caption")[0].text.startswith("Table ")
        drawings = [s for s in root.all("svg") if s.attributes.get("role") == "img"]
        assert drawings
        for drawing in drawings:
            assert drawing.all("desc")[0].text
        assert not root.all("iframe", "object", "embed", "form", "link")[1:]
        assert len(root.all("script")) == 1


@pytest.mark.parametrize("text", HOSTILE)
def test_a_text_of_the_record_is_that_text(hostile: Outputs, text: str) -> None:
    root = page_of(hostile)
    shown = " ".join(displayable(text).split())
    cells = [e.text for table in root.all("table") for e in table.all("th", "td")]
    # its device: in full in the list of devices, and elsewhere if it is not too long for a table
    assert sum(shown in cell for cell in cells) >= (2 if len(shown) <= TABLE_WIDTH else 1)


@pytest.mark.system
@pytest.mark.parametrize("profile", ["ua1", "3a"])
def test_the_pdf_conforms(full_day: Outputs, hostile: Outputs, profile: str) -> None:
    for outputs in (full_day, hostile):
        assert failures(outputs.pdf.read_bytes(), profile) == []


@pytest.mark.system
def test_the_pdf_carries_the_record_and_the_results(full_day: Outputs) -> None:
    pikepdf = pytest.importorskip("pikepdf")
    with pikepdf.open(full_day.pdf) as pdf:
        found = {name: spec.get_file().read_bytes() for name, spec in pdf.attachments.items()}
    record = samples_folder() / "full-day"
    assert found == {
        "session.toml": (record / "session.toml").read_bytes(),
        "log.csv": (record / "log.csv").read_bytes(),
        "results.json": full_day.results.read_bytes(),
        "manifest.json": (full_day.results.parent / "manifest.json").read_bytes(),
    }


@pytest.mark.system
def test_nothing_runs_off_a_page(full_day: Outputs) -> None:
    command = ["pdftotext", "-bbox", str(full_day.pdf), "-"]
    boxes = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    words = re.findall(r'<word xMin="(.*?)" yMin="(.*?)" xMax="(.*?)" yMax="(.*?)">', boxes)
    left, top, right, bottom = zip(*(map(float, word) for word in words), strict=True)
    assert len(words) > 2000
    assert min(left) >= 19 / 25.4 * 72
    assert max(right) <= 191 / 25.4 * 72
    assert min(top) >= 10 / 25.4 * 72
    assert max(bottom) <= 289 / 25.4 * 72


@pytest.mark.system
@pytest.mark.parametrize("which", ["full_day", "hostile"])
def test_the_page_asks_for_nothing_and_fits_a_phone(
    browser: object, full_day: Outputs, hostile: Outputs, which: str
) -> None:
    outputs = {"full_day": full_day, "hostile": hostile}[which]
    for viewport in (PHONE, DESK):
        with Visit(browser, outputs.html, viewport=viewport) as visit:
            assert visit.requests == [visit.url]
            assert visit.complaints == []
            width = visit.page.evaluate("document.documentElement.scrollWidth")
            assert width <= viewport["width"]


@pytest.mark.system
@pytest.mark.parametrize("width", [1280, 1440, 1920])
def test_no_table_scrolls_beside_the_contents(
    browser: object, full_day: Outputs, width: int
) -> None:
    """Five devices, and the sources of uncertainty of all kinds of result."""
    with Visit(browser, full_day.html, viewport={"width": width, "height": 900}) as visit:
        scrolled = visit.page.evaluate(
            """() => [...document.querySelectorAll("figure.table .box")]
                .filter(box => box.scrollWidth > box.clientWidth + 1)
                .map(box => box.querySelector("table").id)"""
        )
    assert scrolled == []


@pytest.mark.system
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_accessibility_violation(browser: object, full_day: Outputs, scheme: str) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    with Visit(browser, full_day.html, color_scheme=scheme, bypass_csp=True) as visit:
        visit.page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
        found = axe.Axe().run(visit.page).response["violations"]
        assert [(v["id"], [n["html"][:90] for n in v["nodes"]][:3]) for v in found] == []
