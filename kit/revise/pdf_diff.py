"""What is inside a PDF report, and where two of them differ."""

from __future__ import annotations

import io
from difflib import SequenceMatcher
from typing import TYPE_CHECKING, Any

from kit.errors import RenderError
from kit.revise.difference import Difference, cut_both

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from pypdf import PdfReader

__all__ = ["attachments", "pdf_differences"]

MOST_OBJECTS = 200_000
ATTACHED = ("/EmbeddedFiles", "/AF", "/EF")
UPWARDS = ("/Parent", "/P", "/Pg")
"""Keys that lead back to what holds an object, where it was met already."""
STORED = ("/Length", "/Filter", "/DecodeParms")
"""How a stream is stored, which says nothing of what is in it."""
FACTS = {
    "/Title": "the title of the document",
    "/Author": "the author of the document",
    "/CreationDate": "the date of the document",
    "/ModDate": "the date of the document",
    "/Metadata": "the metadata of the document",
}


def opened(data: bytes) -> PdfReader:
    """Return a reader of a PDF.

    Raises
    ------
    RenderError
        If it is none.
    """
    import logging

    from pypdf import PdfReader
    from pypdf.errors import PyPdfError

    logging.getLogger("pypdf").setLevel(logging.CRITICAL)
    try:
        reader = PdfReader(io.BytesIO(data))
        len(reader.pages)
    except (PyPdfError, ValueError, KeyError, TypeError, OSError) as error:
        message = f"The file is no PDF that can be read: {error}"
        raise RenderError(message) from error
    return reader


def attachments(data: bytes) -> dict[str, list[bytes]]:
    """Return the files inside a PDF: name → contents, more than one if a name stands twice."""
    reader = opened(data)
    return {name: list(contents) for name, contents in reader.attachments.items()}


def pdf_differences(
    found: bytes,
    expected: bytes,
    *,
    file: str,
    texts_only: bool = False,
    reworded: Callable[[str], str] = str,
) -> Iterator[Difference]:
    """Yield where two PDFs differ: lines of text by page, then everything else.

    The files inside are not looked at; `kit.revise.verify` does that.

    Parameters
    ----------
    found, expected
        The PDFs.
    file
        Name of the PDF.
    texts_only
        Compare the text only (for another version of the kit).
    reworded
        Changes a line of the expected text to what the found one should have.
    """
    a, b = opened(found), opened(expected)
    if len(a.pages) != len(b.pages):
        pages = [f"{len(r.pages)} pages" for r in (a, b)]
        yield Difference(file=file, place="length", found=pages[0], expected=pages[1])
    texts = list(zip(a.pages, b.pages, strict=False))
    places = [] if texts_only else list(dict.fromkeys(_graph(a, b)))
    named = {int(p.removeprefix("page ")) for p in places if p.startswith("page ")}
    # reading a text takes long; a page whose objects are equal has the same
    told = set()
    for number, (one, other) in enumerate(texts, start=1):
        if number in named or texts_only:
            lines = [reworded(line) for line in _text(other)]
            for difference in _lines(_text(one), lines, f"page {number}", file):
                told.add(f"page {number}")
                yield difference
    for place in places:
        if place not in told:
            what = "another drawing" if place.startswith("page ") else "another content"
            yield Difference(
                file=file, place=place, found=what, expected="what follows from the data"
            )


def _text(page: Any) -> list[str]:
    return [line.strip() for line in page.extract_text().splitlines() if line.strip()]


def _lines(
    found: Sequence[str], expected: Sequence[str], place: str, file: str
) -> Iterator[Difference]:
    matcher = SequenceMatcher(None, found, expected, autojunk=False)
    for tag, i, j, k, n in matcher.get_opcodes():
        if tag == "equal":
            continue
        one, other = cut_both(" / ".join(found[i:j]) or None, " / ".join(expected[k:n]) or None)
        yield Difference(file=file, place=place, found=one, expected=other)


def _graph(a: PdfReader, b: PdfReader) -> Iterator[str]:
    """Yield the places in which the objects of two PDFs differ."""
    pages = {
        reference.idnum: number
        for number, page in enumerate(b.pages, start=1)
        if (reference := page.indirect_reference) is not None
    }
    waiting: list[tuple[Any, Any, str]] = [
        (a.trailer.get("/Root"), b.trailer.get("/Root"), "the structure of the document"),
        (a.trailer.get("/Info"), b.trailer.get("/Info"), "the facts of the document"),
    ]
    met: set[tuple[int, int]] = set()
    while waiting and len(met) < MOST_OBJECTS:
        one, other, place = waiting.pop()
        ids = tuple(getattr(x, "idnum", -1) for x in (one, other))
        place = f"page {pages[ids[1]]}" if ids[1] in pages else place
        if ids[0] >= 0 and ids[1] >= 0:
            if (ids[0], ids[1]) in met:
                continue
            met.add((ids[0], ids[1]))
        x, y = (v.get_object() if hasattr(v, "get_object") else v for v in (one, other))
        if isinstance(x, dict) and isinstance(y, dict):
            yield from _keys(x, y, place)
            waiting += _inside(x, y, place)
            if hasattr(x, "get_data") and hasattr(y, "get_data") and x.get_data() != y.get_data():
                yield place
        elif isinstance(x, list) and isinstance(y, list):
            if len(x) != len(y):
                yield place
            waiting += [(p, q, place) for p, q in zip(x, y, strict=False)]
        elif x != y:
            yield place


def _inside(x: Any, y: Any, place: str) -> list[tuple[Any, Any, str]]:
    """Return the entries that two dictionaries share, references not followed yet."""
    return [
        (x.raw_get(key), y.raw_get(key), FACTS.get(str(key), place))
        for key in x.keys() & y.keys()
        if key not in (*ATTACHED, *STORED, *UPWARDS)
    ]


def _keys(x: dict[str, Any], y: dict[str, Any], place: str) -> Iterator[str]:
    for key in (x.keys() ^ y.keys()) - set(STORED) - set(ATTACHED):
        yield FACTS.get(str(key), place)
