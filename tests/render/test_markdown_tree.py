"""Markdown as plain data: structure kept, raw HTML and outside references not."""

from __future__ import annotations

import pytest

from kit.render.markdown_tree import markdown_blocks, plain_text


def text(value: str) -> dict[str, str]:
    return {"kind": "text", "text": value}


def test_blocks_of_every_kind() -> None:
    source = "## T\n\np **b** *i* ~~s~~ `c`\n\n3. a\n4. b\n\n> q\n\n```\nx\n y\n```\n\n---\n"
    heading, paragraph, listing, quote, code, rule = markdown_blocks(source)
    assert heading == {"kind": "heading", "level": 2, "inlines": [text("T")], "text": "T"}
    assert [n["kind"] for n in paragraph["inlines"]] == [
        "text", "strong", "text", "emphasis", "text", "strike", "text", "code",
    ]  # fmt: skip
    assert (listing["ordered"], listing["start"], len(listing["items"])) == (True, 3, 2)
    assert quote["blocks"] == [{"kind": "paragraph", "inlines": [text("q")]}]
    assert code == {"kind": "code", "text": "x\n y"}
    assert rule == {"kind": "rule"}


def test_a_table_keeps_its_alignment() -> None:
    (grid,) = markdown_blocks("| a | b | c |\n|---|--:|:-:|\n| 1 | 2 | 3 |\n")
    assert grid["align"] == ["left", "right", "center"]
    assert [plain_text(cell) for cell in grid["head"]] == ["a", "b", "c"]
    assert [[plain_text(cell) for cell in row] for row in grid["rows"]] == [["1", "2", "3"]]


def test_sub_and_sup_are_understood_and_may_nest() -> None:
    (block,) = markdown_blocks("u<sub>c<sup>2</sup></sub> = 1<br>x")
    assert block["inlines"] == [
        text("u"),
        {"kind": "sub", "inlines": [text("c"), {"kind": "sup", "inlines": [text("2")]}]},
        text(" = 1"),
        {"kind": "break"},
        text("x"),
    ]


@pytest.mark.parametrize(
    "source",
    [
        "a <script>alert(1)</script> b",
        "a <img src=x onerror=alert(1)> b",
        "a <sub>open",
        "a </sub> b",
        "<div onclick='x()'>block</div>",
        "<!-- comment -->",
    ],
)
def test_other_html_is_the_text_it_is(source: str) -> None:
    (block,) = markdown_blocks(source)
    assert block["kind"] == "paragraph"
    assert plain_text(block["inlines"]) == source
    assert {n["kind"] for n in block["inlines"]} == {"text"}


@pytest.mark.parametrize(
    "url", ["javascript:alert(1)", "data:text/html,x", "file:///etc/passwd", "x.html", "//x.org/a"]
)
def test_a_link_that_is_not_web_or_mail_is_its_words(url: str) -> None:
    (block,) = markdown_blocks(f"[words]({url})")
    assert block["inlines"] == [text("words")]


def test_a_web_link_stays_a_link() -> None:
    (block,) = markdown_blocks("[words](https://example.org/a?b=c#d)")
    assert block["inlines"] == [
        {"kind": "link", "url": "https://example.org/a?b=c#d", "inlines": [text("words")]}
    ]


def test_an_image_is_its_words() -> None:
    (block,) = markdown_blocks("![two lines](https://example.org/x.png)")
    assert block["inlines"] == [text("two lines")]
