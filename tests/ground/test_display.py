"""Display objects: plain texts in, bundles out."""

from __future__ import annotations

import json
from html.parser import HTMLParser

import pytest

from kit.display import (
    PICTURE_MIME,
    PROSE_MIME,
    RESULTS_MIME,
    TABLE_MIME,
    Block,
    Column,
    DataBundle,
    Picture,
    Prose,
    Table,
    show,
)
from kit.safe_text import displayable
from tests.helpers.rendering import HOSTILE, SESSION, bundle, svg


class Cells(HTMLParser):
    """Tags and the text of each element."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[str] = []
        self.texts: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.texts.append("")

    def handle_data(self, data: str) -> None:
        if self.texts:
            self.texts[-1] += data


def hostile_table() -> Table:
    return Table(
        id="hostile",
        caption=HOSTILE[0],
        columns=(Column(name="Device"), Column(name=HOSTILE[1], unit=HOSTILE[2], align="right")),
        rows=tuple((text, text) for text in HOSTILE),
        notes=HOSTILE[:2],
    )


def test_table_html_shows_every_text_and_nothing_else() -> None:
    parser = Cells()
    parser.feed(hostile_table().html)
    rows = len(HOSTILE)
    assert parser.tags.count("tr") == rows + 1
    assert set(parser.tags) == {
        "table",
        "caption",
        "thead",
        "tbody",
        "tr",
        "th",
        "td",
        "p",
        "small",
    }
    for text in HOSTILE:
        assert parser.texts.count(displayable(text)) >= 2


def test_table_data_survives_json_and_holds_no_hidden_character() -> None:
    data = hostile_table()._repr_mimebundle_()[TABLE_MIME]
    assert json.loads(json.dumps(data)) == data
    assert [row[0] for row in data["rows"]] == [displayable(text) for text in HOSTILE]
    assert data["columns"][1]["align"] == "right"
    assert "\u202e" not in json.dumps(data, ensure_ascii=False)


def test_table_refuses_ragged_rows_and_bad_ids() -> None:
    columns = (Column(name="a"), Column(name="b"))
    with pytest.raises(ValueError, match="table 't', row 2: 1 cells for 2 columns"):
        Table(id="t", caption="", columns=columns, rows=(("1", "2"), ("3",)))
    with pytest.raises(ValueError, match="expected lower-case words"):
        Table(id="No Good", caption="", columns=columns, rows=())


def test_prose_gathers_consecutive_bullets() -> None:
    prose = Prose(
        blocks=(
            Block(kind="bullet", text="a"),
            Block(kind="bullet", text="b"),
            Block(text="<i>c</i>"),
            Block(kind="caution", text="d"),
            Block(kind="bullet", text="e"),
        )
    )
    assert prose.html == (
        "<ul><li>a</li><li>b</li></ul><p>&lt;i&gt;c&lt;/i&gt;</p>"
        "<blockquote><p>d</p></blockquote><ul><li>e</li></ul>"
    )
    assert prose.text == "- a\n- b\n<i>c</i>\nd\n- e"
    assert prose._repr_mimebundle_()[PROSE_MIME]["blocks"][2] == {
        "kind": "paragraph",
        "text": "<i>c</i>",
    }


def test_picture_carries_its_svg_without_hidden_characters() -> None:
    picture = Picture(id="p", svg=svg().replace("L240", "\u202eL240"), alt="a\u202eb", caption="c")
    made = picture._repr_mimebundle_()
    assert made["image/svg+xml"] == svg()
    assert made[PICTURE_MIME] == {"id": "p", "alt": "ab", "caption": "c"}


def test_picture_needs_an_alternative_text() -> None:
    with pytest.raises(ValueError, match="picture 'p' needs an alternative text"):
        Picture(id="p", svg=svg(), alt=" ", caption="c")


def test_data_bundle_turns_nan_into_null_and_keeps_texts_as_typed() -> None:
    tables = {"t": {"columns": ["a", "b"], "rows": [[float("nan"), "=1\u202e"], [1.5, None]]}}
    made = DataBundle({"session": SESSION, "tables": tables})._repr_mimebundle_()
    assert made[RESULTS_MIME]["tables"]["t"]["rows"] == [[None, "=1\u202e"], [1.5, None]]


@pytest.mark.parametrize(
    ("results", "message"),
    [
        ({"tables": {}}, "results lack session.id, session.title"),
        ({"session": SESSION}, "results lack tables"),
        (
            {"session": SESSION, "tables": {"../x": {"columns": [], "rows": []}}},
            "table name '../x'",
        ),
        (
            {"session": SESSION, "tables": {"t": {"columns": ["a"], "rows": [[1, 2]]}}},
            "table 't': not every row has 1 cells",
        ),
    ],
)
def test_data_bundle_refuses_what_the_renderer_cannot_write(
    results: dict[str, object], message: str
) -> None:
    with pytest.raises(ValueError, match=message.replace(".", r"\.")):
        DataBundle(results)


def test_data_bundle_refuses_values_that_json_does_not_know() -> None:
    with pytest.raises(TypeError, match="not JSON serializable"):
        DataBundle({"session": SESSION, "tables": {}, "other": {1, 2}})


def test_show_lays_tuples_out_flat(capsys: pytest.CaptureFixture[str]) -> None:
    show(bundle(), (bundle(), (bundle(),)))
    assert capsys.readouterr().out.count("DataBundle: session 'fixture', 1 table") == 3
