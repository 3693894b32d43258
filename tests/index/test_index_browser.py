"""The index in a browser that has no network: search, sort, keyboard, phone, print, many rows."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from kit.index.entry import Entry, Lead, Longest
from kit.index.page import index_page
from tests.helpers.files import HOSTILE
from tests.helpers.visit import DESK, PHONE, Visit

if TYPE_CHECKING:
    pass

pytestmark = pytest.mark.system

SUPPORTED = Lead("supported", "lead supported by at least 35 min")
TIED = Lead("tied", "too close to call: Limpet 10 and Kelpfin 11")
ENTRIES = (
    Entry(
        title="Été on the mud flats", place="a/report", date="2026-05-16",
        devices=("Limpet 10", "Kelpfin 11"), longest=Longest("Kelpfin 11", "at least 9:59", 9.98),
        lead=SUPPORTED, headline="Kelpfin 11 lasted longest.", cautions=6, revision=1,
        links=(("HTML", "a/report/report.html"), ("JSON", "a/report/results.json")),
    ),
    Entry(
        title="beach 10", place="b/report", date="2026-03-07", devices=("Dunlin 9", "Limpet 10"),
        longest=Longest("Limpet 10", "8:00 to 8:04", 8.0), lead=TIED, headline="Too close.",
        cautions=0, revision=3, correction="conclusion changed", changed=True,
        links=(("HTML", "b/report/report.html"), ("PDF", "b/report/report.pdf")),
    ),
    Entry(
        title="Beach 9 & reef", place="c/report", date="2026-03-01",
        devices=("Dunlin 9", "Dunlin 9"),
        longest=Longest("Dunlin 9", "10:01 to 10:05", 10.02), lead=SUPPORTED, headline="Longest.",
        cautions=2, revision=1, remark="The record has changed since this report was made.",
        links=(("HTML", "c/report/report.html"),),
    ),
    Entry(state="no_report", title="bare", place="bare", headline="No report was found."),
)  # fmt: skip
PLACES = ["a/report", "b/report", "c/report", "bare"]


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("pages")
    hostile = [
        Entry(
            title=text, place=text, date=text, devices=(text, "Limpet 10"), headline=text,
            links=(("HTML", "a/report.html"),), longest=Longest(text, text, k), lead=TIED,
            remark=text, cautions=k, revision=1,
        )
        for k, text in enumerate(HOSTILE)
    ]  # fmt: skip
    many = [
        Entry(
            title=f"Session {k}", place=f"s{k}/report", date=f"20{10 + k % 16}-0{1 + k % 9}-11",
            devices=(f"Limpet {k % 97}", "Dunlin 9", "Kelpfin 11"), lead=SUPPORTED,
            longest=Longest("Dunlin 9", "at least 9:59", k % 613), cautions=k % 7, revision=1,
            headline="Dunlin 9 lasted longest: it was still on when the session was stopped.",
            links=ENTRIES[0].links,
        )
        for k in range(1_000)
    ]  # fmt: skip
    made = {"four": ENTRIES, "hostile": hostile, "many": many, "none": ()}
    for name, entries in made.items():
        page = index_page(entries, title="Season")
        (folder / f"{name}.html").write_text(page, encoding="utf-8")
    return {name: folder / f"{name}.html" for name in made}


def places(visit: Visit) -> list[str]:
    """Return the places of the rows in sight, in their order."""
    rows = visit.page.locator("tbody tr:not([hidden]) th small")
    return [str(text) for text in rows.all_text_contents()]


def said(visit: Visit) -> str:
    return str(visit.page.locator("[role=status]").text_content())


def sorted_by(visit: Visit) -> list[tuple[str, str]]:
    found = visit.page.locator("thead th[aria-sort]")
    return [(h.inner_text().split("\n")[0], h.get_attribute("aria-sort")) for h in found.all()]


def fragment(visit: Visit) -> str:
    visit.page.wait_for_timeout(300)
    return str(visit.page.evaluate("location.hash"))


@pytest.mark.parametrize("name", ["four", "hostile", "none"])
@pytest.mark.parametrize("viewport", [PHONE, DESK], ids=["phone", "desk"])
def test_no_request_no_complaint_and_no_sideways_scroll(
    browser: Any, files: dict[str, Path], name: str, viewport: dict[str, int]
) -> None:
    with Visit(browser, files[name], viewport=viewport) as visit:
        visit.page.locator("#search").fill("e")
        visit.page.locator("#show").select_option("supported")
        visit.page.locator("#show").select_option("")
        visit.page.locator("#search").fill("")
        visit.page.wait_for_timeout(300)
        assert visit.requests == [visit.url]
        assert visit.complaints == []
        width = visit.page.evaluate("document.documentElement.scrollWidth")
        assert width <= viewport["width"]
        assert visit.beyond("thead" if viewport == PHONE else "no-such-tag") == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("viewport", [PHONE, DESK], ids=["phone", "desk"])
def test_no_accessibility_violation(
    browser: Any, files: dict[str, Path], scheme: str, viewport: dict[str, int]
) -> None:
    for name in ("four", "hostile"):
        # axe is a script of its own, which the page's policy would refuse
        with Visit(
            browser, files[name], color_scheme=scheme, viewport=viewport, bypass_csp=True
        ) as visit:
            assert visit.accessibility_violations() == []
            visit.page.locator("#search").fill("no such session")
            assert visit.accessibility_violations() == []


def test_words_are_found_in_any_order_case_and_accent(browser: Any, files: dict[str, Path]) -> None:
    with Visit(browser, files["four"]) as visit:
        assert said(visit) == "4 sessions, by date, newest first"
        for words, found in (
            ("ete", ["a/report"]), ("LIMPET  mud", ["a/report"]), ("limpet", PLACES[:2]),
            ("2026-03", PLACES[1:3]), ("too close", ["b/report"]), ("json", []), ("", PLACES),
        ):  # fmt: skip
            visit.page.locator("#search").fill(words)
            assert places(visit) == found, words
        visit.page.locator("#search").fill("limpet")
        assert said(visit) == "2 of 4 sessions, by date, newest first"
        visit.page.locator("#search").fill("(.*")
        assert said(visit) == "0 of 4 sessions, by date, newest first"
        assert not visit.page.locator("table").is_visible()
        visit.page.get_by_role("button", name="Show all sessions").click()
        assert places(visit) == PLACES
        assert visit.page.evaluate("document.activeElement.id") == "search"


def test_sessions_of_one_device_and_of_one_kind_alone(browser: Any, files: dict[str, Path]) -> None:
    with Visit(browser, files["four"]) as visit:
        device = visit.page.locator("#device")
        assert device.locator("option").all_text_contents() == [
            "All devices", "Dunlin 9 (2)", "Kelpfin 11 (1)", "Limpet 10 (2)",
        ]  # fmt: skip
        device.select_option("Limpet 10")
        assert places(visit) == PLACES[:2]
        device.select_option("")
        for kind, found in (
            ("supported", ["a/report", "c/report"]), ("tied", ["b/report"]),
            ("cautions", ["a/report", "c/report"]), ("changed", ["b/report"]),
            ("remark", ["c/report"]), ("missing", ["bare"]), ("", PLACES),
        ):  # fmt: skip
            visit.page.locator("#show").select_option(kind)
            assert places(visit) == found, kind


def test_columns_sort_by_click_and_by_key_and_unknown_values_stay_last(
    browser: Any, files: dict[str, Path]
) -> None:
    a, b, c, bare = PLACES
    with Visit(browser, files["four"]) as visit:
        assert sorted_by(visit) == [("Date", "descending")]
        runtime = visit.page.get_by_role("button", name="Longest runtime")
        runtime.click()
        assert places(visit) == [c, a, b, bare]
        assert sorted_by(visit) == [("Longest runtime (h:mm)", "descending")]
        assert said(visit) == "4 sessions, by longest runtime, longest first"
        runtime.focus()
        visit.page.keyboard.press("Enter")
        assert places(visit) == [b, a, c, bare]
        assert sorted_by(visit) == [("Longest runtime (h:mm)", "ascending")]
        visit.page.get_by_role("button", name="Session", exact=True).focus()
        visit.page.keyboard.press("Space")
        # by number inside a name, whatever the case: bare, Beach 9, beach 10, Été
        assert places(visit) == [bare, c, b, a]
        visit.page.get_by_role("button", name="Cautions").click()
        assert places(visit) == [a, c, b, bare]
        visit.page.get_by_role("button", name="Revision").click()
        assert places(visit) == [b, a, c, bare]
        date = visit.page.get_by_role("button", name="Date")
        date.click()
        date.click()
        assert places(visit) == [c, b, a, bare]
        assert visit.page.locator("thead th").nth(2).get_by_role("button").count() == 0


def test_on_a_phone_a_list_sorts(browser: Any, files: dict[str, Path]) -> None:
    with Visit(browser, files["four"], viewport=PHONE) as visit:
        order = visit.page.get_by_label("Sort by")
        assert order.is_visible()
        order.select_option("Longest runtime, longest first")
        assert places(visit) == ["c/report", "a/report", "b/report", "bare"]
        assert order.locator("option").all_text_contents()[:4] == [
            "Date, newest first", "Date, oldest first", "Title, A to Z", "Title, Z to A",
        ]  # fmt: skip
    with Visit(browser, files["four"]) as visit:
        assert not visit.page.get_by_label("Sort by").is_visible()


def test_the_address_keeps_what_is_shown_and_brings_it_back(
    browser: Any, files: dict[str, Path]
) -> None:
    with Visit(browser, files["four"]) as visit:
        assert fragment(visit) == ""
        visit.page.locator("#search").fill("& beach")
        visit.page.locator("#device").select_option("Dunlin 9")
        visit.page.get_by_role("button", name="Session", exact=True).click()
        kept = fragment(visit)
        assert kept == "#q=%26+beach&device=Dunlin+9&sort=title"
        visit.page.locator("#search").fill("")
        visit.page.locator("#device").select_option("")
        visit.page.get_by_role("button", name="Date").click()
        assert fragment(visit) == ""
    with Visit(browser, files["four"], fragment="#q=beach&device=Dunlin+9&sort=title") as visit:
        assert places(visit) == ["c/report", "b/report"]
        assert visit.page.locator("#search").input_value() == "beach"
        assert visit.page.locator("#device").input_value() == "Dunlin 9"
        assert sorted_by(visit) == [("Session", "ascending")]
        visit.page.evaluate("location.hash = '#show=missing&sort=date&order=asc'")
        visit.page.wait_for_timeout(100)
        assert places(visit) == ["bare"]
        assert visit.page.locator("#search").input_value() == ""
    wrong = "#device=%3Cb%3E&show=toString&sort=__proto__&order=up&q="
    with Visit(browser, files["four"], fragment=wrong) as visit:
        assert places(visit) == PLACES
        assert visit.complaints == []
        assert fragment(visit) == ""


def test_the_first_tab_stop_skips_to_the_sessions_and_keeps_the_address(
    browser: Any, files: dict[str, Path]
) -> None:
    with Visit(browser, files["four"], fragment="#show=tied") as visit:
        visit.page.keyboard.press("Tab")
        assert visit.page.evaluate("document.activeElement.className") == "skip"
        visit.page.keyboard.press("Enter")
        assert visit.page.evaluate("document.activeElement.id") == "sessions"
        assert fragment(visit) == "#show=tied"
        assert places(visit) == ["b/report"]


def test_it_stays_a_table_for_those_who_listen(browser: Any, files: dict[str, Path]) -> None:
    for viewport in (PHONE, DESK):
        with Visit(browser, files["four"], viewport=viewport) as visit:
            table = visit.page.get_by_role("table", name="Sessions, newest first")
            assert table.get_by_role("row").count() == 5
            assert table.get_by_role("columnheader").count() == 8
            assert table.get_by_role("rowheader").count() == 4
            assert table.get_by_role("cell").count() == 4 * 7


def test_without_scripts_it_is_a_plain_table(browser: Any, files: dict[str, Path]) -> None:
    with Visit(browser, files["four"], java_script_enabled=False) as visit:
        assert visit.page.get_by_text("4 sessions, newest first").first.is_visible()
        assert visit.page.get_by_role("link", name="Été on the mud flats").first.is_visible()
        assert visit.page.locator("button:visible, select:visible, input:visible").count() == 0
        assert places(visit) == PLACES


def test_it_prints_what_is_shown_as_a_table_without_controls(
    browser: Any, files: dict[str, Path]
) -> None:
    with Visit(browser, files["four"], color_scheme="dark", fragment="#show=tied") as visit:
        visit.page.emulate_media(media="print", color_scheme="dark")
        for hidden in (".find", ".skip"):
            assert not visit.page.locator(hidden).is_visible()
        assert visit.page.evaluate("getComputedStyle(document.body).color") == "rgb(23, 39, 44)"
        shown = visit.page.locator("tbody tr").evaluate_all(
            "rows => rows.map(r => getComputedStyle(r).display)"
        )
        assert shown == ["none", "table-row", "none", "none"]
        assert not visit.page.get_by_role("link", name="PDF").is_visible()


def test_links_open_the_report(browser: Any, files: dict[str, Path]) -> None:
    target = files["four"].parent / "a" / "report"
    target.mkdir(parents=True)
    (target / "report.html").write_text("<title>opened</title>", encoding="utf-8")
    with Visit(browser, files["four"]) as visit:
        visit.page.get_by_role("link", name="Été on the mud flats", exact=True).click()
        assert visit.page.title() == "opened"


def test_a_thousand_sessions_filter_and_sort_without_a_wait(
    browser: Any, files: dict[str, Path]
) -> None:
    """A change is seen within 0.1 s by most people as immediate; here 5 times that, to be sure."""
    with Visit(browser, files["many"]) as visit:
        assert said(visit) == "1,000 sessions, by date, newest first"
        spent = visit.page.evaluate(
            """async () => {
                const spent = [];
                for (const [id, value, kind] of [["search", "limpet 5", "input"],
                    ["search", "", "input"], ["device", "Limpet 9", "change"],
                    ["device", "", "change"], ["order", "runtime asc", "change"]]) {
                  const control = document.getElementById(id);
                  const start = performance.now();
                  control.value = value;
                  control.dispatchEvent(new Event(kind));
                  await new Promise((done) => requestAnimationFrame(() => setTimeout(done)));
                  spent.push(performance.now() - start);
                }
                return spent;
            }"""
        )
        assert max(spent) < 500
        assert places(visit)[:2] == ["s0/report", "s613/report"]
