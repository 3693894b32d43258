"""An executed notebook read as a document."""

from __future__ import annotations

import pytest

from kit.display import Block, Column, Picture, Prose, Table
from kit.errors import RenderError
from kit.render.document import document_of
from tests.helpers.rendering import bundle, notebook, plain_notebook, svg


def table(table_id: str) -> Table:
    return Table(id=table_id, caption="c", columns=(Column(name="a"),), rows=(("1",),))


def test_sections_numbers_and_results() -> None:
    document = document_of(plain_notebook())
    assert (document.kind, document.title) == ("Methods and results", "Saltmarsh survey")
    assert [s.title for s in document.sections] == [
        "", "At a glance", "Setup", "State of charge",
    ]  # fmt: skip
    assert [s.id for s in document.sections][1:] == ["at-a-glance", "setup", "state-of-charge"]
    numbered = [
        (item["type"], item["number"], item["anchor"])
        for section in document.sections
        for item in section.items
        if "number" in item
    ]
    assert numbered == [
        ("table", 1, "table-drain"),
        ("picture", 1, "figure-soc"),
        ("picture", 2, "figure-rate"),
    ]
    assert document.results["session"]["fingerprint"] == "0123456789ab"


def test_anchors_are_unique_whatever_the_ids_and_headings() -> None:
    document = document_of(
        notebook("## Same", table("x"), "## Same\n\n### Same", table("x"), "## Same-2", bundle())
    )
    anchors = [s.id for s in document.sections] + [
        found
        for section in document.sections
        for item in section.items
        for found in [item.get("anchor"), *(b.get("id") for b in item.get("blocks", ()))]
        if found
    ]
    assert len(anchors) == len(set(anchors)) == 6
    assert "table-x-2" in anchors


def test_heading_levels_never_skip_one() -> None:
    document = document_of(
        notebook(
            "## A\n\n##### deep\n\n###### deeper",
            Prose(blocks=(Block(kind="heading", text="h"),)),
            "#### under it",
            bundle(),
        )
    )
    levels = [
        block.get("level", 3)
        for item in document.sections[0].items
        for block in item.get("blocks", ())
    ]
    assert levels == [3, 4, 3, 4]


def test_a_second_title_is_a_section() -> None:
    document = document_of(notebook("# Kind", "# Other", bundle()))
    assert (document.kind, [s.title for s in document.sections if s.title]) == ("Kind", ["Other"])


def test_code_follows_what_it_shows_and_silent_cells_are_gathered() -> None:
    made = notebook("## A", (), (), table("x"), (), bundle())
    items = document_of(made).sections[0].items
    assert [item["type"] for item in items] == ["code", "table", "code"]
    assert [len(item["cells"]) for item in items if item["type"] == "code"] == [2, 3]


def test_output_of_other_libraries() -> None:
    made = notebook(
        {"text/html": "<b>x</b>", "text/plain": "x"},
        {"image/png": "aGk=\n", "text/plain": "x"},
        {"text/plain": "\x1b[31mred\x1b[0m\nnext"},
        {"application/x-unknown": "?"},
        bundle(),
    )
    items = [i for i in document_of(made).sections[0].items if i["type"] != "code"]
    assert items == [
        {"type": "html", "html": "<b>x</b>"},
        {"type": "image", "png": "aGk="},
        {"type": "plain", "text": "red\nnext"},
    ]


def test_printed_text_is_shown_and_warnings_are_not() -> None:
    made = notebook(bundle())
    made.cells[0].outputs[:0] = [
        {"output_type": "stream", "name": "stderr", "text": "/home/x: Warning"},
        {"output_type": "stream", "name": "stdout", "text": "printed\n"},
    ]
    items = document_of(_as_nodes(made)).sections[0].items
    assert [i for i in items if i["type"] != "code"] == [{"type": "plain", "text": "printed"}]


def _as_nodes(made: object) -> object:
    from nbformat import from_dict

    return from_dict(made)


def test_a_title_of_hidden_characters_only() -> None:
    assert document_of(notebook(bundle(title="\u202e"))).title == "Untitled session"


def test_a_notebook_without_results_is_refused() -> None:
    picture = Picture(id="p", svg=svg(), alt="a", caption="c")
    with pytest.raises(RenderError, match="shows no DataBundle"):
        document_of(notebook("# A", picture))
