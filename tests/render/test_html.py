"""The HTML report: structure, texts, colours, and what it must not contain."""

from __future__ import annotations

import base64
import hashlib
import re
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.render.document import document_of
from kit.render.html import html_page, sanitized
from kit.render.svg import DARK_GROUND, DARK_INK
from kit.safe_text import displayable
from tests.helpers.page_tree import Element, parsed, variables
from tests.helpers.rendering import HOSTILE, bundle, hostile_notebook, notebook, plain_notebook


def page_of(made: object) -> str:
    return html_page(made, document_of(made))


@pytest.fixture(scope="module")
def plain() -> str:
    return page_of(plain_notebook())


@pytest.fixture(scope="module")
def hostile() -> str:
    return page_of(hostile_notebook())


def test_equal_notebooks_give_equal_bytes(plain: str) -> None:
    assert page_of(plain_notebook()) == plain


def test_the_page_says_what_it_is(plain: str) -> None:
    root = parsed(plain)
    assert plain.startswith("<!DOCTYPE html>")
    (html,) = root.all("html")
    assert html.attributes["lang"] == "en-GB"
    assert root.all("title")[0].text == "Saltmarsh survey · Methods and results"
    assert root.all("h1")[0].text == "Saltmarsh survey"
    assert [e.text for e in root.all("dt", "dd")] == [
        "Session of", "2026-05-16", "Revision", "2", "Data fingerprint", "0123456789ab",
    ]  # fmt: skip


def test_landmarks_skip_link_and_contents(plain: str) -> None:
    root = parsed(plain)
    for tag in ("header", "nav", "main", "footer", "h1"):
        assert len(root.all(tag)) == 1, tag
    links = [a.attributes["href"] for a in root.all("a")]
    assert links[0] == "#report"
    (main,) = root.all("main")
    assert main.attributes["id"] == "report"
    (nav,) = root.all("nav")
    sections = [(h.attributes["id"], h.text) for h in root.all("h2")]
    assert [(a.attributes["href"][1:], a.text) for a in nav.all("a")] == sections
    assert len(sections) == 3
    for section in main.all("section"):
        named = section.attributes.get("aria-labelledby")
        assert named in dict(sections) or section.attributes.get("aria-label") == "Summary"


def test_headings_never_skip_a_level_and_ids_are_unique(plain: str, hostile: str) -> None:
    for page in (plain, hostile):
        root = parsed(page)
        levels = [int(h.tag[1]) for h in root.all("h1", "h2", "h3", "h4", "h5", "h6")]
        assert levels[0] == 1
        assert all(b - a <= 1 for a, b in pairwise(levels))
        ids = [e.attributes["id"] for e in root.walk() if "id" in e.attributes]
        assert len(ids) == len(set(ids))


def test_tables_have_caption_and_scoped_headings_in_a_box_of_their_own(plain: str) -> None:
    root = parsed(plain)
    (figure,) = [f for f in root.all("figure") if "table" in f.classes]
    (box,) = [e for e in figure.children if isinstance(e, Element) and "box" in e.classes]
    (table,) = box.all("table")
    assert table.attributes["id"] == "table-drain"
    assert table.all("caption")[0].text == "Table 1. Drain by phase."
    head = [(th.attributes["scope"], th.text) for th in table.all("thead")[0].all("th")]
    assert head == [("col", "Phase"), ("col", "Device"), ("col", "Drain (pp)")]
    assert ["data-sort" in th.attributes for th in table.all("thead")[0].all("th")] == [
        False, False, True,
    ]  # fmt: skip
    rows = table.all("tbody")[0].all("tr")
    assert [row.all("th")[0].attributes["scope"] for row in rows] == ["row"] * 4
    assert [row.classes for row in rows] == [[], ["again"], ["group"], ["again"]]
    assert [row.all("td")[1].classes for row in rows] == [["right"]] * 4
    assert figure.all("ul")[0].text == "A note."


def test_figures_are_inline_with_name_and_description(plain: str) -> None:
    root = parsed(plain)
    drawings = [s for s in root.all("svg") if s.attributes.get("role") == "img"]
    assert len(drawings) == 2
    for drawing, name, description in zip(
        drawings,
        ("Figure 1. State of charge.", "Figure 2. Rates."),
        ("Two lines fall.", "Bars."),
        strict=True,
    ):
        named = {e.attributes["id"]: e.text for e in drawing.walk() if "id" in e.attributes}
        assert named[drawing.attributes["aria-labelledby"]] == name
        assert named[drawing.attributes["aria-describedby"]] == description
    captions = [c.text for c in root.all("figcaption")]
    assert captions == ["Figure 1. State of charge.", "Figure 2. Rates."]


def test_code_is_there_and_folded(plain: str) -> None:
    folded = [d for d in parsed(plain).all("details") if "code" in d.classes]
    assert folded
    assert all("open" not in d.attributes for d in folded)
    assert "show(part_3)" in folded[0].text


def test_prose_of_every_kind(plain: str) -> None:
    root = parsed(plain)
    assert [p.text for p in root.all("p") if "lead" in p.classes] == ["Limpet 10 lasted longest."]
    cautions = [p.text for p in root.all("p") if "caution" in p.classes]
    assert cautions == ["Caution. Stop at swelling."]
    assert ["first", "second"] in [[li.text for li in ul.all("li")] for ul in root.all("ul")]


def test_markdown_is_set(plain: str) -> None:
    root = parsed(plain)
    assert [e.text for e in root.all("em")] == ["opening"]
    assert "code" in [e.text for e in root.all("code")]
    (link,) = [a for a in root.all("a") if a.attributes["href"].startswith("http")]
    assert link.attributes == {"href": "https://example.org/", "rel": "noreferrer noopener"}
    grid = next(t for t in root.all("table") if "id" not in t.attributes)
    assert [c.text for c in grid.all("th", "td")] == ["Quantity", "Value", "Start", "08:00"]


def test_nothing_is_fetched(plain: str, hostile: str) -> None:
    for page in (plain, hostile):
        for element in parsed(page).walk():
            for name, value in element.attributes.items():
                if name in ("src", "srcset", "data", "poster", "action", "formaction", "ping"):
                    assert value.startswith("data:image/png;base64,"), (element.tag, name)
                if name in ("href", "xlink:href"):
                    allowed = element.tag == "a" and value.startswith("https://")
                    assert allowed or value.startswith("#") or value == "data:,"
            assert element.tag not in ("iframe", "object", "embed", "base", "form", "video")
        assert not re.search(r"url\((?!#)", page)
        assert "@import" not in page


def test_the_policy_allows_the_page_s_own_script_and_nothing_else(hostile: str) -> None:
    root = parsed(hostile)
    (script,) = root.all("script")
    assert not script.attributes
    digest = base64.b64encode(hashlib.sha256(script.raw.encode()).digest()).decode()
    (policy,) = [
        m.attributes["content"]
        for m in root.all("meta")
        if m.attributes.get("http-equiv") == "Content-Security-Policy"
    ]
    rules = dict(rule.strip().split(" ", 1) for rule in policy.split(";"))
    assert rules == {
        "default-src": "'none'",
        "style-src": "'unsafe-inline'",
        "img-src": "data:",
        "script-src": f"'sha256-{digest}'",
        "base-uri": "'none'",
        "form-action": "'none'",
    }
    handlers = [n for e in root.walk() for n in e.attributes if n.lower().startswith("on")]
    assert handlers == []


@pytest.mark.parametrize("text", HOSTILE)
def test_a_text_of_the_record_is_that_text_everywhere(hostile: str, text: str) -> None:
    root = parsed(hostile)
    shown = " ".join(displayable(text).split())
    cells = [c.text for c in root.all("tbody")[0].all("th", "td")]
    assert cells.count(shown) == 2
    prose = [e.text for e in root.all("p", "li", "h3")]
    # paragraph, bullet, lead, heading, and a note under the table
    assert prose.count(shown) == 5
    assert f"Caution. {shown}" in prose
    figures = [f for f in root.all("figure") if "picture" in f.classes]
    captions = [f.all("figcaption")[0].text for f in figures]
    assert sum(c.endswith(f". {shown}") for c in captions) == 1
    assert [s.text for s in root.all("desc")].count(shown) == 1
    assert [t.text for s in root.all("svg") for t in s.all("text")].count(shown) == 1


def test_title_of_hostile_texts(hostile: str) -> None:
    root = parsed(hostile)
    shown = " ".join(displayable(" ".join(HOSTILE[:9])).split())
    assert root.all("h1")[0].text == shown
    assert root.all("title")[0].text == f"{shown} · Methods and results"


def test_html_of_other_libraries_is_sanitized() -> None:
    made = notebook(
        {"text/html": '<table onclick="x()"><tr><td style="a:b">1<script>y()</script></td></tr>'
                      '</table><img src="https://example.org/p.png"><a href="javascript:z()">l</a>'
                      "<style>td{}</style>"},
        {"image/png": "aGk="},
        {"text/plain": "<b>"},
        bundle(),
    )  # fmt: skip
    root = parsed(page_of(made))
    (main,) = root.all("main")
    assert not main.all("script", "style")
    (table,) = main.all("table")
    assert table.attributes == {}
    assert table.all("td")[0].attributes == {}
    assert table.text == "1"
    (image,) = main.all("img")
    assert image.attributes["src"] == "data:image/png;base64,aGk="
    assert "javascript" not in main.text + str([e.attributes for e in main.walk()])
    assert "<b>" in [p.text for p in main.all("pre")]


@given(st.text())
def test_sanitizing_never_lets_a_script_or_a_handler_through(text: str) -> None:
    made = sanitized(f"<b>{text}</b><script>{text}</script><i onclick='{text}'>")
    assert not re.search(r"<script|<[^>]*\son\w+\s*=", made, re.IGNORECASE)


def luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.2 defines it, written out by channel."""
    total = 0.0
    for weight, start in ((0.2126, 1), (0.7152, 3), (0.0722, 5)):
        value = int(colour[start : start + 2], 16) / 255
        total += weight * (value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4)
    return total


def ratio(first: str, second: str) -> float:
    low, high = sorted((luminance(first), luminance(second)))
    return (high + 0.05) / (low + 0.05)


def themes(page: str) -> dict[str, dict[str, str]]:
    style = parsed(page).all("style")[0].raw
    light, dark = re.findall(r":root \{(.*?)\n\s*\}", style, re.DOTALL)[:2]
    return {"light": variables("", light), "dark": variables("", dark)}


TEXT_PAIRS = [
    ("ink", "ground"), ("soft", "ground"), ("accent", "ground"), ("ink", "figure"),
    ("ink", "panel"), ("soft", "panel"), ("accent", "panel"),
    ("caution-ink", "caution-ground"), ("code-word", "panel"), ("code-text", "panel"),
    ("code-note", "panel"), ("ground", "ink"),
]  # fmt: skip


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_text_contrast_meets_level_aa_in_both_themes(plain: str, theme: str) -> None:
    colours = themes(plain)[theme]
    for text, ground in TEXT_PAIRS:
        assert ratio(colours[text], colours[ground]) >= 4.5, (text, ground)
    # edges that carry meaning: 3:1
    for line in ("strong-line", "caution-line", "accent"):
        assert ratio(colours[line], colours["ground"]) >= 3


def test_the_figures_know_the_page_s_dark_colours(plain: str) -> None:
    dark = themes(plain)["dark"]
    assert (dark["figure"], dark["ink"]) == (DARK_GROUND, DARK_INK)
