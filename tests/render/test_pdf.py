"""The PDF report: what it says, what it carries, and what it claims to conform to."""

from __future__ import annotations

import io
import re
import subprocess
from typing import TYPE_CHECKING, Any

import pytest

from kit.display import Block, Column, Prose, Table
from kit.errors import RenderError
from kit.render.document import document_of
from kit.render.pdf import Attachment, missing_characters, pdf_bytes, timestamp_of
from kit.safe_text import displayable
from tests.helpers.rendering import HOSTILE, bundle, hostile_notebook, notebook, plain_notebook

if TYPE_CHECKING:
    from pathlib import Path

LOG = Attachment(
    name="log.csv", data="event;soc\nreading;=1+1 é\n".encode(), mime="text/csv",
    description="Input", relationship="source",
)  # fmt: skip
RESULTS = Attachment(
    name="results.json", data=b'{"a": 1}\n', mime="application/json",
    description="Results", relationship="data",
)  # fmt: skip
# 2026-05-16T00:00Z: 56 years with 14 leap days since 1970, then 135 days of 2026
SESSION_DAY = (56 * 365 + 14 + 135) * 86400


def pdf_of(made: Any) -> bytes:
    return pdf_bytes(document_of(made), attachments=(LOG, RESULTS), timestamp=SESSION_DAY)


@pytest.fixture(scope="module")
def plain() -> bytes:
    return pdf_of(plain_notebook())


@pytest.fixture(scope="module")
def hostile() -> bytes:
    return pdf_of(hostile_notebook())


def test_equal_documents_give_equal_bytes(plain: bytes) -> None:
    assert plain.startswith(b"%PDF-1.7")
    assert pdf_of(plain_notebook()) == plain


def test_the_session_s_day_is_the_time_of_the_file() -> None:
    assert timestamp_of("2026-05-16", {}) == SESSION_DAY
    assert timestamp_of("2026-05-16", {"SOURCE_DATE_EPOCH": "1700000000"}) == 1700000000
    assert timestamp_of("2026-05-16", {"SOURCE_DATE_EPOCH": "soon"}) == SESSION_DAY
    # 30 years with 7 leap days
    assert timestamp_of(None, {}) == (30 * 365 + 7) * 86400


def test_missing_characters_are_read_from_the_diagnostic() -> None:
    diagnostic = (
        'error: PDF/A-3a error: the text `"漢"` could not be displayed with font `"X"`\n'
        'error: the text `"\\u{1f469}\\u{200d}\\""` could not be displayed with a font\n'
    )
    assert missing_characters(diagnostic) == {"漢", "\U0001f469", "\u200d", '"'}
    assert missing_characters("error: file not found") == frozenset()


def test_what_typst_refuses_is_an_error_in_words() -> None:
    twice = (LOG, LOG)
    with pytest.raises(RenderError, match="The PDF could not be set: "):
        pdf_bytes(document_of(plain_notebook()), attachments=twice, timestamp=0)


# ---- below: with tools that read PDF --------------------------------------------------------


def text_of(data: bytes) -> str:
    from pypdf import PdfReader

    return "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(data)).pages)


def squeezed(text: str) -> str:
    """Return text without white space: lines break anywhere."""
    return re.sub(r"\s+", "", text)


@pytest.mark.system
def test_texts_are_selectable_and_code_is_not_there(plain: bytes) -> None:
    pytest.importorskip("pypdf")
    text = text_of(plain)
    for words in (
        "Methods and results", "Saltmarsh survey", "An opening paragraph.",
        "Limpet 10 lasted longest.", "Caution. Stop at swelling.", "Table 1. Drain by phase.",
        "12.5 ± 1.1", "−0.5", "=1+1", "A note.", "Figure 2. Rates.", "0123456789ab",
        "Attached to this file: log.csv, results.json.",
    ):  # fmt: skip
        assert squeezed(words) in squeezed(text), words
    assert "show(part_" not in text


@pytest.mark.system
def test_a_text_of_the_record_is_that_text_everywhere(hostile: bytes) -> None:
    pytest.importorskip("pypdf")
    text = squeezed(text_of(hostile))
    remark = re.search(r"codepointinbrackets\((.*?)\)\.", text)
    # none on a computer whose own fonts have them all
    codes = re.findall(r"U\+([0-9A-F]+)", remark[1] if remark else "")
    lacking = {chr(int(code, 16)) for code in codes}
    shaping = re.compile("[\u200d\ufe0f]")
    for original in HOSTILE:
        shown = displayable(original)
        if lacking & set(shown):
            shown = "".join(
                f"[U+{ord(c):04X}]" if c in lacking else c for c in shaping.sub("", shown)
            )
        # words of these scripts are reordered in setting; an extractor gives them as they stand
        reordered = re.compile("[\u0590-\u06ff\u0900-\u097f]")
        parts = [w for w in shown.split() if not reordered.search(w)]
        whole = [shown] if len(parts) == len(shown.split()) else parts
        # two cells, a note, five kinds of prose and a caption at the least
        for part in whole:
            assert text.count(squeezed(part)) >= 9, original
    assert squeezed(displayable(" ".join(HOSTILE[:9]))) in text


@pytest.mark.system
def test_attachments_are_inside_byte_for_byte(plain: bytes) -> None:
    pikepdf = pytest.importorskip("pikepdf")
    with pikepdf.open(io.BytesIO(plain)) as pdf:
        found = {name: spec.get_file() for name, spec in pdf.attachments.items()}
        assert {n: f.read_bytes() for n, f in found.items()} == {
            "log.csv": LOG.data, "results.json": RESULTS.data,
        }  # fmt: skip
        assert {n: f.mime_type for n, f in found.items()} == {
            "log.csv": "text/csv", "results.json": "application/json",
        }  # fmt: skip
        relations = {str(s.obj.AFRelationship) for s in pdf.attachments.values()}
        assert relations == {"/Source", "/Data"}


@pytest.mark.system
def test_metadata_language_and_tags(plain: bytes, hostile: bytes) -> None:
    pikepdf = pytest.importorskip("pikepdf")
    with pikepdf.open(io.BytesIO(plain)) as pdf:
        assert str(pdf.docinfo.Title) == "Saltmarsh survey · Methods and results"
        assert str(pdf.docinfo.CreationDate).startswith("D:20260516000000")
        assert "/Author" not in pdf.docinfo
        assert str(pdf.Root.Lang) == "en-GB"
        assert bool(pdf.Root.MarkInfo.Marked)
        tags = [str(e.S) for e in elements(pdf.Root.StructTreeRoot)]
        alts = [str(e.Alt) for e in elements(pdf.Root.StructTreeRoot) if "/Alt" in e]
    assert alts == ["Two lines fall.", "Bars."]
    for tag, least in {
        "/Title": 1, "/H1": 3, "/H2": 1, "/Table": 2, "/TH": 5, "/Caption": 3, "/Figure": 2,
        "/L": 2, "/Link": 1,
    }.items():  # fmt: skip
        assert tags.count(tag) >= least, tag
    with pikepdf.open(io.BytesIO(hostile)) as pdf:
        assert str(pdf.docinfo.Author) == displayable(HOSTILE[0])


def elements(node: Any) -> list[Any]:
    """Return the structure elements below a node, in order."""
    import pikepdf

    found = []
    if isinstance(node, pikepdf.Array):
        for child in node:
            found += elements(child)
    elif isinstance(node, pikepdf.Dictionary):
        if "/S" in node:
            found.append(node)
        if "/K" in node:
            found += elements(node.K)
    return found


def failures(data: bytes, profile: str) -> list[tuple[str, str]]:
    """Return what the independent checker finds, but for one finding that it cannot make rightly.

    It takes the end-of-line before ``endstream`` off a stream to compare its length. When the
    compressed data happen to end in CR, it takes that for half of the end-of-line (CR LF); so
    the lengths are checked here.
    """
    page = pytest.importorskip("page")
    found = page.validate_pdf_bytes(data, profile=profile).failures
    starts = list(re.finditer(rb"/Length (\d+)(?:(?!endobj).)*?>>\nstream\n", data, re.DOTALL))
    assert len(starts) == data.count(b"\nstream\n") > 5
    for start in starts:
        assert data[start.end() + int(start[1]) :].startswith(b"\nendstream")
    return [(f.rule_id, f.message) for f in found if "STREAM-LENGTH" not in f.rule_id]


@pytest.mark.system
@pytest.mark.parametrize("profile", ["ua1", "3a"])
def test_conformance_by_an_independent_checker(plain: bytes, hostile: bytes, profile: str) -> None:
    assert failures(plain, profile) == []
    assert failures(hostile, profile) == []


@pytest.mark.system
def test_the_independent_checker_sees_a_fault(plain: bytes) -> None:
    pikepdf = pytest.importorskip("pikepdf")
    page = pytest.importorskip("page")
    out = io.BytesIO()
    with pikepdf.open(io.BytesIO(plain)) as pdf:
        del pdf.Root.Lang
        pdf.save(out)
    assert not page.validate_pdf_bytes(out.getvalue(), profile="ua1").is_compliant


@pytest.mark.system
def test_every_font_is_embedded(hostile: bytes) -> None:
    pikepdf = pytest.importorskip("pikepdf")
    with pikepdf.open(io.BytesIO(hostile)) as pdf:
        descriptors = [
            o for o in pdf.objects
            if isinstance(o, pikepdf.Dictionary) and o.get("/Type") == "/FontDescriptor"
        ]  # fmt: skip
        assert descriptors
        assert all({"/FontFile2", "/FontFile3"} & set(d.keys()) for d in descriptors)


def long_document() -> Any:
    """Return a report with a table of many pages, a wide one and long words."""
    columns = (Column(name="Phase"), Column(name="Row"), Column(name="Note"))
    long_text = "word " * 40
    rows = tuple(
        (f"Phase {k // 9}", f"row-{k:03d}", f"begin {k:03d} {long_text}end {k:03d}")
        for k in range(120)
    )
    wide = tuple(
        Column(name=f"Periwinkle 8 unit {k}", unit="pp/h", align="right") for k in range(24)
    )
    return notebook(
        "## Long",
        Table(id="long", caption="Long.", columns=columns, rows=rows),
        "## Wide",
        Table(id="wide", caption="Wide.", columns=(Column(name="Phase"), *wide),
              rows=tuple((f"P{p}", *(f"{p}{k}.5 ± 0.4" for k in range(24))) for p in range(3))),
        "## Words",
        Prose(blocks=(Block(text="x" * 400), Block(kind="caution", text="y" * 400))),
        Table(id="words", caption="z" * 300, columns=(Column(name="q" * 200), Column(name="b")),
              rows=(("w" * 300, "v" * 300),)),
        bundle(title="A title of many words " * 12),
    )  # fmt: skip


@pytest.mark.system
def test_pages_are_numbered_and_say_which_report_they_belong_to() -> None:
    pypdf = pytest.importorskip("pypdf")
    pages = pypdf.PdfReader(io.BytesIO(pdf_of(long_document()))).pages
    assert len(pages) > 5
    for number, page in enumerate(pages, start=1):
        text = page.extract_text()
        assert f"{number} / {len(pages)}" in text
        assert ("Revision 2 · data 0123456789ab" in text) == (number > 1)


@pytest.mark.system
def test_no_row_is_cut_and_the_head_is_repeated() -> None:
    pypdf = pytest.importorskip("pypdf")
    pages = [p.extract_text() for p in pypdf.PdfReader(io.BytesIO(pdf_of(long_document()))).pages]
    table_pages = [text for text in pages if re.search(r"begin \d{3}", text)]
    assert len(table_pages) > 3
    seen = []
    for text in table_pages:
        begun = re.findall(r"begin (\d{3})", text)
        assert begun == re.findall(r"end (\d{3})", text)
        assert re.search(r"Phase\s+Row\s+Note", text)
        seen += begun
    assert seen == [f"{k:03d}" for k in range(120)]


@pytest.mark.system
@pytest.mark.parametrize("which", ["long", "hostile"])
def test_nothing_runs_off_the_page(which: str, tmp_path: Path) -> None:
    made = long_document() if which == "long" else hostile_notebook()
    if which == "hostile":  # an over-long text inside a figure is cut by the figure's own frame
        made.cells = [c for c in made.cells if "image/svg+xml" not in str(c.get("outputs", ""))]
    file = tmp_path / "report.pdf"
    file.write_bytes(pdf_of(made))
    command = ["pdftotext", "-bbox", str(file), "-"]
    boxes = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    words = re.findall(r'<word xMin="(.*?)" yMin="(.*?)" xMax="(.*?)" yMax="(.*?)">', boxes)
    left, top, right, bottom = zip(*(map(float, word) for word in words), strict=True)
    width, height, margin = 210 / 25.4 * 72, 297 / 25.4 * 72, 20 / 25.4 * 72
    assert len(words) > 500
    assert min(left) >= margin - 1
    assert max(right) <= width - margin + 1
    assert min(top) >= 10 / 25.4 * 72
    assert max(bottom) <= height - 8 / 25.4 * 72


def many_short_sections(count: int) -> Any:
    """Return a report whose headings come to stand at every height of a page.

    Under each heading stands the line "lead K."; what comes after it begins with "next K".
    """
    cells: list[Any] = []
    for k in range(count):
        lead, after = f"lead {k}.", f"next {k} " + "and more words " * 20
        filler = tuple(Block(text="Between.") for _ in range(2 + k % 7))
        cells += (
            [f"## Heading\n\n{lead}", Prose(blocks=(Block(text=after), *filler))],
            [f"## Heading\n\n{lead}", Prose(blocks=(Block(kind="bullet", text=after), *filler))],
            [f"## Heading\n\n{lead}\n\n{after}", Prose(blocks=filler)],
            [f"## Heading\n\n{lead}\n\n* {after}", Prose(blocks=filler)],
            ["## Heading", Prose(blocks=(Block(text=lead), Block(text=after), *filler))],
            ["## Heading", Prose(blocks=(Block(kind="heading", text="Lower"),)),
             Prose(blocks=(Block(text=lead),)),
             Table(id=f"t{k}", caption=after, columns=(Column(name="A"),), rows=(("b",),)),
             Prose(blocks=filler)],
        )[k % 6]  # fmt: skip
    return notebook(*cells, bundle())


@pytest.mark.system
def test_a_heading_and_its_lead_stand_on_the_page_of_what_they_lead_to() -> None:
    pypdf = pytest.importorskip("pypdf")
    count = 240
    data = pdf_of(many_short_sections(count))
    pages = [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(data)).pages]

    def place(pattern: str) -> int:
        return next(n for n, text in enumerate(pages) if re.search(pattern, text))

    apart = [k for k in range(count) if place(rf"lead {k}\.") != place(rf"next {k}\b")]
    assert apart == []
    # and no page is left nearly empty for it; after the first section come the long contents
    assert min(len(text.splitlines()) for text in pages[1:-1]) > 20
