"""The HTML report in a browser that has no network: requests, errors, layout, accessibility."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from kit.render.document import document_of
from kit.render.html import html_page
from kit.safe_text import displayable
from tests.helpers.rendering import HOSTILE, hostile_notebook, plain_notebook
from tests.helpers.visit import DESK, PHONE, Visit

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = pytest.mark.system


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("pages")
    made = {"plain": plain_notebook(), "hostile": hostile_notebook()}
    for name, notebook in made.items():
        page = html_page(notebook, document_of(notebook))
        folder.joinpath(f"{name}.html").write_text(page, encoding="utf-8")
    return {name: folder / f"{name}.html" for name in made}


@pytest.mark.parametrize("name", ["plain", "hostile"])
@pytest.mark.parametrize("viewport", [PHONE, DESK], ids=["phone", "desk"])
def test_no_request_no_complaint_and_no_sideways_scroll(
    browser: Any, files: dict[str, Path], name: str, viewport: dict[str, int]
) -> None:
    with Visit(browser, files[name], viewport=viewport) as visit:
        for button in visit.page.query_selector_all("button, summary"):
            if button.is_visible():
                button.click()
        visit.page.wait_for_timeout(100)
        assert visit.requests == [visit.url]
        assert visit.complaints == []
        width = visit.page.evaluate("document.documentElement.scrollWidth")
        assert width <= viewport["width"]
        assert visit.beyond(".box, pre, .tide") == []


def test_the_policy_stops_what_should_ever_get_in(browser: Any, files: dict[str, Path]) -> None:
    with Visit(browser, files["plain"]) as visit:
        visit.page.evaluate(
            """() => {
                const script = document.createElement('script');
                script.textContent = 'window.ran = true';
                document.body.append(script);
                const image = document.createElement('img');
                image.src = 'https://example.org/x.png';
                document.body.append(image);
            }"""
        )
        visit.page.wait_for_timeout(100)
        assert visit.page.evaluate("window.ran") is None
        assert len(visit.complaints) == 2
        assert all("Content Security Policy" in c for c in visit.complaints)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("viewport", [PHONE, DESK], ids=["phone", "desk"])
def test_no_accessibility_violation(
    browser: Any, files: dict[str, Path], scheme: str, viewport: dict[str, int]
) -> None:
    for name in ("plain", "hostile"):
        # axe is a script of its own, which the page's policy would refuse
        with Visit(
            browser, files[name], color_scheme=scheme, viewport=viewport, bypass_csp=True
        ) as visit:
            visit.page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
            visit.page.wait_for_timeout(100)
            assert visit.accessibility_violations() == []


def test_a_table_is_copied_as_lines_and_tabs(browser: Any, files: dict[str, Path]) -> None:
    with Visit(browser, files["plain"], permissions=["clipboard-read", "clipboard-write"]) as visit:
        visit.page.get_by_role("button", name="Copy table: Table 1").click()
        visit.page.get_by_text("Copied", exact=True).wait_for()
        copied = visit.page.evaluate("navigator.clipboard.readText()")
        heard = visit.page.locator("[role=status]").text_content()
    assert copied.split("\n") == [
        "Phase\tDevice\tDrain (pp)",
        "Video\tLimpet 10\t12.5 ± 1.1",
        "Video\tDunlin 9\t-0.5",
        "Maps\tLimpet 10\t9.0",
        "Maps\t'=1+1\tnot recorded",
        "",
    ]
    assert heard == "Table 1 copied"


def test_copying_hostile_texts_makes_no_formula_and_no_extra_cell(
    browser: Any, files: dict[str, Path]
) -> None:
    with Visit(
        browser, files["hostile"], permissions=["clipboard-read", "clipboard-write"]
    ) as visit:
        visit.page.get_by_role("button", name="Copy table: Table 1").click()
        visit.page.get_by_text("Copied", exact=True).wait_for()
        copied = visit.page.evaluate("navigator.clipboard.readText()")
    rows = [line.split("\t") for line in copied.rstrip("\n").split("\n")][1:]
    assert [len(row) for row in rows] == [3] * len(HOSTILE)
    for row, text in zip(rows, HOSTILE, strict=True):
        shown = " ".join(displayable(text).split())
        assert row[0] == (f"'{shown}" if shown.startswith(("=", "+", "@", "-")) else shown)


def test_columns_of_numbers_sort_by_number(browser: Any, files: dict[str, Path]) -> None:
    with Visit(browser, files["plain"]) as visit:
        table = visit.page.locator("#table-drain")

        def column() -> list[str]:
            return table.locator("tbody tr td:nth-child(3)").all_text_contents()

        header = table.get_by_role("button", name="Drain")
        header.click()
        assert column() == ["−0.5", "9.0", "12.5 ± 1.1", "not recorded"]
        assert table.locator("th[aria-sort=ascending]").count() == 1
        header.focus()
        visit.page.keyboard.press("Enter")
        assert column() == ["12.5 ± 1.1", "9.0", "−0.5", "not recorded"]
        assert table.locator("th[aria-sort=descending]").count() == 1
        names = table.locator("tbody th").all_text_contents()
        assert sorted(names) == ["Maps", "Maps", "Video", "Video"]
        assert visit.page.locator("[role=status]").text_content() == (
            "Sorted by Drain (pp), descending"
        )


def test_code_is_folded_and_can_be_shown(browser: Any, files: dict[str, Path]) -> None:
    with Visit(browser, files["plain"]) as visit:
        code = visit.page.locator("details.code pre").first
        assert not code.is_visible()
        visit.page.get_by_role("button", name="Show all code").click()
        assert code.is_visible()
        visit.page.get_by_role("button", name="Hide all code").click()
        assert not code.is_visible()


def test_the_first_tab_stop_skips_to_the_report(browser: Any, files: dict[str, Path]) -> None:
    with Visit(browser, files["plain"]) as visit:
        visit.page.keyboard.press("Tab")
        assert visit.page.evaluate("document.activeElement.className") == "skip"
        visit.page.keyboard.press("Enter")
        assert visit.page.evaluate("document.activeElement.id") == "report"


def test_a_wide_table_scrolls_in_its_own_box_by_keyboard(
    browser: Any, files: dict[str, Path]
) -> None:
    with Visit(browser, files["hostile"], viewport=PHONE) as visit:
        box = visit.page.locator("figure.table .box").first
        assert box.get_attribute("tabindex") == "0"
        assert box.get_attribute("role") == "region"
        assert box.get_attribute("aria-label") == "Table 1"
        box.focus()
        visit.page.keyboard.press("ArrowRight")
        visit.page.wait_for_timeout(300)
        assert box.evaluate("e => e.scrollLeft") > 0
    with Visit(browser, files["plain"]) as visit:
        assert visit.page.locator("figure.table .box").first.get_attribute("tabindex") is None


def test_the_page_reads_without_scripts_and_prints_without_code(
    browser: Any, files: dict[str, Path]
) -> None:
    with Visit(browser, files["plain"], java_script_enabled=False) as visit:
        assert visit.page.get_by_text("12.5 ± 1.1").is_visible()
        assert visit.page.locator("figure.picture svg").first.is_visible()
        assert visit.page.locator("button").count() == 0
        visit.page.locator("details.code summary").first.click()
        assert visit.page.locator("details.code pre").first.is_visible()
    with Visit(browser, files["plain"], color_scheme="dark") as visit:
        visit.page.emulate_media(media="print", color_scheme="dark")
        for hidden in (".contents", ".code", ".tools", ".skip"):
            assert not visit.page.locator(hidden).first.is_visible()
        ink = visit.page.evaluate("getComputedStyle(document.body).color")
        assert ink == "rgb(23, 39, 44)"


def test_dark_and_light_figures_differ_in_ink_and_ground(
    browser: Any, files: dict[str, Path]
) -> None:
    seen = {}
    for scheme in ("light", "dark"):
        with Visit(browser, files["plain"], color_scheme=scheme) as visit:
            seen[scheme] = visit.page.evaluate(
                """() => { const svg = document.querySelector('figure.picture svg');
                    return [svg.querySelector('text'), svg.querySelector(':scope > rect')].map(
                        e => getComputedStyle(e).fill); }"""
            )
    assert seen["light"] == ["rgb(23, 39, 44)", "rgb(255, 255, 255)"]
    assert seen["dark"] == ["rgb(228, 236, 236)", "rgb(15, 25, 28)"]
