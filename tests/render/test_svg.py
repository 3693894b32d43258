"""Figures made fit for a page."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.errors import RenderError
from kit.render.svg import DARK_GROUND, colour_sheet, contrast, dark_colour, page_svg
from kit.safe_text import displayable
from tests.helpers.rendering import HOSTILE, svg


def made(source: str) -> ET.Element:
    return ET.fromstring(page_svg(source, anchor="f", title="T", description="D").markup)


EVIL = (
    "<script>alert(1)</script>"
    '<foreignObject><p xmlns="http://www.w3.org/1999/xhtml">x</p></foreignObject>'
    '<a href="javascript:alert(2)"><text>link</text></a>'
    '<image href="https://example.org/x.png" width="1" height="1"/>'
    '<use xlink:href="https://example.org/y.svg#z"/>'
    '<rect width="1" height="1" onload="alert(3)" style="fill: url(https://example.org/z)"/>'
    '<rect width="1" height="1" fill="url(\'//example.org/q\')"/>'
    "<style>@import url(https://example.org/s.css);</style>"
    '<animate attributeName="href" to="javascript:alert(4)"/>'
    "<metadata>who</metadata>"
)


def test_nothing_active_or_outside_passes() -> None:
    markup = page_svg(svg(inside=EVIL), anchor="f", title="T", description="D").markup
    for word in ("script", "foreignObject", "alert", "example.org", "onload", "style>", "animate"):
        assert word not in markup
    assert "http" not in markup.replace("http://www.w3.org/", "")


def test_ids_and_references_carry_the_figure() -> None:
    root = made(svg())
    ids = {e.get("id") for e in root.iter() if e.get("id")}
    assert ids == {"f-frame", "f-line", "f-title", "f-desc"}
    assert root.find(".//path").get("clip-path") == "url(#f-frame)"
    assert root.find(".//use").get("href") == "#f-line"


def test_two_figures_share_no_id() -> None:
    found = [
        re.findall(r' id="([^"]+)"', page_svg(svg(), anchor=a, title="", description="").markup)
        for a in ("one", "two")
    ]
    assert not set(found[0]) & set(found[1])


def test_name_description_and_natural_width() -> None:
    root = made(svg())
    assert root.get("role") == "img"
    assert [root[0].tag, root[0].text, root[1].tag, root[1].text] == ["title", "T", "desc", "D"]
    assert root.get("aria-labelledby") == "f-title"
    assert root.get("aria-describedby") == "f-desc"
    assert "max-width:240pt" in root.get("style")
    assert root.get("height") is None


def test_ink_and_ground_follow_the_theme_and_hues_are_variables() -> None:
    page = page_svg(svg(), anchor="f", title="T", description="D")
    assert page.colours == ("#1b6f73", "#ffffff")
    assert "fill:var(--cffffff)" in page.markup
    assert "stroke:var(--c1b6f73)" in page.markup
    sheet = colour_sheet(page.colours)
    assert sheet.startswith(":root{--c1b6f73:#1b6f73;--cffffff:var(--figure)}")
    assert "@media screen and (prefers-color-scheme: dark)" in sheet


def test_presentation_attributes_and_short_colours_are_variables_too() -> None:
    page = page_svg(
        svg(inside='<rect fill="#abc" stroke="black" width="1" height="1"/>'),
        anchor="f", title="", description="",
    )  # fmt: skip
    assert "fill:var(--caabbcc);stroke:var(--c000000)" in page.markup
    assert "fill=" not in page.markup


@pytest.mark.parametrize("text", HOSTILE)
def test_a_text_in_a_figure_stays_that_text(text: str) -> None:
    shown = displayable(text)
    page = page_svg(svg(text), anchor="f", title=shown, description=shown)
    root = ET.fromstring(page.markup)
    assert root.find(".//text").text == shown
    assert root.find("title").text == shown


@pytest.mark.parametrize(
    ("source", "message"),
    [
        ("<svg", "is no well-formed SVG"),
        ("<p>x</p>", "is no SVG: its root is 'p'"),
        ('<!DOCTYPE svg [<!ENTITY a "b">]><svg xmlns="http://www.w3.org/2000/svg"/>', "entities"),
    ],
)
def test_what_is_no_figure_is_refused(source: str, message: str) -> None:
    with pytest.raises(RenderError, match=message):
        page_svg(source, anchor="f", title="", description="")


def test_contrast_meets_the_values_of_the_standard() -> None:
    # WCAG 2.2 defines 21:1 for black on white and 1:1 for equal colours
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#4a5f65", "#4a5f65") == pytest.approx(1)
    # by hand: (0.05 + 0.2126) / 0.05 for pure red on black
    assert contrast("#ff0000", "#000000") == pytest.approx(5.252)


NEARLY_BLACK = 30  # of 255: what is darker is ink


@given(st.tuples(*[st.integers(0, 255)] * 3))
def test_every_line_colour_stands_out_on_the_dark_ground(parts: tuple[int, int, int]) -> None:
    colour = "#{:02x}{:02x}{:02x}".format(*parts)
    dark = dark_colour(colour)
    spread = max(parts) - min(parts)
    if dark.startswith("var"):
        assert max(parts) <= NEARLY_BLACK or min(parts) == 255
    elif spread >= 16 and (max(parts) + min(parts)) / 510 <= 0.8:
        assert contrast(dark, DARK_GROUND) >= 3
