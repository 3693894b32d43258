"""Texts made harmless for display, and escaped where they meet a markup language."""

from __future__ import annotations

import sys
import unicodedata
from html.parser import HTMLParser

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.render.markdown_tree import markdown_blocks, plain_text
from kit.safe_text import (
    csv_cell,
    displayable,
    displayable_lines,
    escape_html,
    escape_markdown,
    starts_formula,
    visible_code_points,
)
from tests.helpers.rendering import HOSTILE

# classes of Unicode Standard Annex #9 that steer direction and show nothing themselves
STEERING = {"LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI"}
UNICODE = [chr(point) for point in range(sys.maxunicode + 1)]


def test_no_character_that_steers_direction_is_shown() -> None:
    steering = [c for c in UNICODE if unicodedata.bidirectional(c) in STEERING]
    assert len(steering) == 9
    assert displayable("".join(steering)) == ""
    assert displayable("\u200e\u200f\u061c") == ""


@pytest.mark.parametrize("category", ["Cc", "Co"])
def test_no_control_or_private_use_character_is_shown(category: str) -> None:
    chars = "".join(c for c in UNICODE if unicodedata.category(c) == category)
    assert displayable(chars).strip(" ") == ""


def test_letters_numbers_marks_and_symbols_stay() -> None:
    kept = {"Lu", "Ll", "Lt", "Lo", "Nd", "Nl", "No", "Pd", "Ps", "Po", "Sm", "Sc", "So", "Mc"}
    # Hangul fillers are letters by category and show nothing
    fillers = {"\u115f", "\u1160"}
    chars = "".join(c for c in UNICODE if unicodedata.category(c) in kept and c not in fillers)
    assert displayable(chars) == chars


def test_emoji_sequences_stay_whole() -> None:
    scientist = "\U0001f469\u200d\U0001f52c"
    flag = "\U0001f3f3\ufe0f\u200d\U0001f308"
    assert displayable(scientist + flag) == scientist + flag


def test_breaks_become_one_space_and_lone_surrogates_a_mark() -> None:
    assert displayable("a\r\n\tb\u2028c\ud800") == "a b c\ufffd"


@given(st.text())
def test_displayable_is_stable_and_can_be_written(text: str) -> None:
    once = displayable(text)
    assert displayable(once) == once
    assert once.encode("utf-8").decode("utf-8") == once
    assert "\n" not in once


@given(st.lists(st.text(alphabet=st.characters(exclude_characters="\n\r"))))
def test_lines_stay_lines(lines: list[str]) -> None:
    assert displayable_lines("\n".join(lines)).split("\n") == [
        displayable(line) for line in ("\n".join(lines)).split("\n")
    ]


class Text(HTMLParser):
    """What a browser would show of markup."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.text = ""
        self.tags: list[str] = []
        self.attributes: list[str | None] = []

    def handle_data(self, data: str) -> None:
        self.text += data

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += [value for _, value in attrs]


@given(st.text())
def test_escaped_html_is_the_text_in_content_and_in_attributes(text: str) -> None:
    parser = Text()
    parser.feed(f'<p title="{escape_html(text)}">{escape_html(text)}</p>')
    parser.close()
    assert parser.tags == ["p"]
    assert parser.text == displayable(text)
    assert parser.attributes == [displayable(text)]


@given(st.one_of(st.sampled_from(HOSTILE), st.text(min_size=1)))
def test_escaped_markdown_is_the_text(text: str) -> None:
    words = " ".join(displayable(text).split())
    blocks = markdown_blocks(escape_markdown(words))
    shown = " ".join(plain_text(b["inlines"]) for b in blocks)
    assert shown == words
    assert all(b["kind"] == "paragraph" for b in blocks)
    assert all(n["kind"] == "text" for b in blocks for n in b["inlines"])


@pytest.mark.parametrize(
    ("text", "formula"),
    [
        ("=1+1", True),
        ("  =1+1", True),
        ("+cmd", True),
        ("-cmd", True),
        ("@SUM(1)", True),
        ("\t=1", True),
        ("-0.25", False),
        ("+3", False),
        ("-1e-05", False),
        ("−2", False),
        ("Limpet = 10", False),
        ("", False),
    ],
)
def test_what_a_spreadsheet_would_run(text: str, formula: bool) -> None:
    assert starts_formula(text) is formula
    assert csv_cell(text) == (f"'{text}" if formula else text)


def test_missing_characters_stand_as_code_points_and_joiners_vanish() -> None:
    missing = frozenset("\U0001f469\U0001f52c\u200d\ufe0f")
    text = "a \U0001f469\u200d\U0001f52c\ufe0f b"
    assert visible_code_points(text, missing) == "a [U+1F469][U+1F52C] b"
    assert visible_code_points(text, frozenset()) == text
