"""The PDF report: set by Typst from plain data, tagged, with the data attached.

The compiler comes as a wheel; no TeX, no browser, no system package and no system font is
needed. The template (``pdf_template/report.typ``, with a file per subject beside it) reads one
JSON file. The PDF declares PDF/A-3a (archivable, with attachments) and PDF/UA-1 (accessible).
"""

from __future__ import annotations

import importlib.util
import json
import re
import shutil
import tempfile
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from kit import __version__
from kit.errors import RenderError
from kit.safe_text import visible_code_points

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from kit.render.document import Document

__all__ = ["Attachment", "Paper", "pdf_bytes", "timestamp_of"]

Paper = Literal["a4", "letter"]

TEMPLATES = Path(__file__).resolve().parent / "pdf_template"
# matplotlib's folder also holds a font of last resort, with which any character passes as a box
FONT_FILES = (
    "DejaVuSans.ttf",
    "DejaVuSans-Bold.ttf",
    "DejaVuSans-Oblique.ttf",
    "DejaVuSans-BoldOblique.ttf",
)
# how often characters are given up as code points before the PDF is
MAX_TRIES = 3
UNDATED = date(2000, 1, 1)
RUNNING_TITLE_MAX = 72
# items of a document that have no place on paper: code, and output of other libraries in HTML
ON_SCREEN_ONLY = frozenset({"code", "html", "image"})
_MISSING = re.compile(r'the text `"((?:[^"\\]|\\.)*)"` could not be displayed')
_ESCAPE = re.compile(r"\\u\{([0-9a-f]+)\}|\\(.)")


@dataclass(frozen=True, kw_only=True)
class Attachment:
    """A file inside the PDF.

    Parameters
    ----------
    name, data
        File name as the reader lists it, and content.
    mime
        Media type.
    description
        What it is, one line.
    relationship
        ``"source"``: the report was made from it; ``"data"``: the report shows it.
    """

    name: str
    data: bytes
    mime: str
    description: str
    relationship: Literal["source", "data"]


def timestamp_of(session_date: str | None, environment: Mapping[str, str]) -> int:
    """Return the creation time of the PDF, in seconds since 1970.

    It is ``SOURCE_DATE_EPOCH`` if that is set (reproducible-builds.org), else midnight UTC of
    the session's date, so that equal input gives equal bytes; without a date, 2000-01-01.

    Examples
    --------
    >>> timestamp_of("1970-01-02", {}), timestamp_of(None, {"SOURCE_DATE_EPOCH": "7"})
    (86400, 7)
    """
    stated = environment.get("SOURCE_DATE_EPOCH", "")
    if stated.isdecimal():
        return int(stated)
    day = date.fromisoformat(session_date[:10]) if session_date else UNDATED
    return int(datetime.combine(day, time(), tzinfo=UTC).timestamp())


def pdf_bytes(
    document: Document,
    *,
    attachments: Iterable[Attachment] = (),
    timestamp: int,
    paper: Paper = "a4",
) -> bytes:
    """Return the report as PDF.

    Characters that the fonts at hand lack are looked for in the fonts of this computer; those
    found nowhere are set by number, as in ``[U+1F41A]``. A remark at the end of the file says
    which.

    Parameters
    ----------
    document
        From `kit.render.document.document_of`.
    attachments
        Files to put inside.
    timestamp
        Creation time, seconds since 1970.
    paper
        Size of the pages.

    Raises
    ------
    RenderError
        If Typst refuses the document.
    """
    with tempfile.TemporaryDirectory(prefix="rundown-pdf-") as name:
        root = Path(name)
        for template in TEMPLATES.glob("*.typ"):
            shutil.copyfile(template, root / template.name)
        _copy_fonts(root / "fonts")
        files = _write_attachments(root, attachments)
        return _compiled(root, document, files, timestamp, paper)


def _compiled(
    root: Path, document: Document, files: list[dict[str, str]], timestamp: int, paper: Paper
) -> bytes:
    """Compile with the fonts that the characters ask for, the rest as code points."""
    data = {**_data(document, files), "paper": paper}
    pictures = {
        f"{item['anchor']}.svg": item["svg"]
        for section in document.sections
        for item in section.items
        if item["type"] == "picture"
    }
    text = json.dumps(data, ensure_ascii=False, sort_keys=True)
    lacking, nowhere = _without_font(root, "text", text)
    lacking_there, nowhere_there = _without_font(root, "figure", "".join(pictures.values()))
    for _ in range(MAX_TRIES):
        data["remarks"] = _remarks(lacking - nowhere, nowhere, nowhere_there)
        text = json.dumps(data, ensure_ascii=False, sort_keys=True)
        for name, content, absent in (
            ("document.json", text, nowhere),
            *((name, svg, nowhere_there) for name, svg in pictures.items()),
        ):
            # a code point in brackets needs no escape in JSON or XML
            shown = visible_code_points(content, absent)
            root.joinpath(name).write_text(shown, encoding="utf-8")
        try:
            return _typeset(
                root, "report.typ", timestamp, system_fonts=bool(lacking | lacking_there)
            )
        except _typst_error() as error:
            # a bold face, or a fallback in a figure, may lack what the probe found
            missing = missing_characters(error.diagnostic)  # type: ignore[attr-defined]  # typst
            if not missing - (nowhere & nowhere_there):
                message = f"The PDF could not be set: {error.message}"  # type: ignore[attr-defined]  # typst
                raise RenderError(message) from error
            lacking |= missing
            nowhere |= missing
            nowhere_there |= missing
    message = f"The PDF could not be set: no font for {' '.join(sorted(nowhere))}"
    raise RenderError(message)


def _typeset(
    root: Path, template: str, timestamp: int, *, system_fonts: bool, **inputs: str
) -> bytes:
    """Compile one template in ``root``."""
    import typst

    return typst.compile(
        str(root / template),
        root=str(root),
        font_paths=[str(root / "fonts")],
        ignore_system_fonts=not system_fonts,
        pdf_standards=["a-3a", "ua-1"],
        timestamp=timestamp,
        sys_inputs=inputs,
    )


def _typst_error() -> type[Exception]:
    """Return the compiler's exception; the compiler is loaded when it is needed."""
    import typst

    return typst.TypstError


def _without_font(
    root: Path, place: Literal["text", "figure"], shown: str
) -> tuple[frozenset[str], frozenset[str]]:
    """Return the characters that the fonts here lack, and those that no font of the system has.

    Typst names every character that it cannot set, but only when all else is done; so a page
    with nothing but the characters is set first, which takes a hundredth of the time.
    """
    unusual = "".join(sorted(char for char in set(shown) if not char.isascii()))
    lacking = nowhere = _missing(root, place, unusual, system_fonts=False)
    if lacking:
        nowhere = _missing(root, place, "".join(sorted(lacking)), system_fonts=True)
    return lacking, nowhere


def _missing(
    root: Path, place: Literal["text", "figure"], characters: str, *, system_fonts: bool
) -> frozenset[str]:
    """Return which of the characters cannot be set."""
    if not characters:
        return frozenset()
    try:
        _typeset(root, f"probe_{place}.typ", 0, system_fonts=system_fonts, characters=characters)
    except _typst_error() as error:
        named = missing_characters(error.diagnostic)  # type: ignore[attr-defined]  # typst
        return named & frozenset(characters)
    return frozenset()


def missing_characters(diagnostic: str) -> frozenset[str]:
    r"""Return the characters that Typst could not set, from its diagnostic.

    Examples
    --------
    >>> sorted(missing_characters('error: the text `"\\u{1f41a}b"` could not be displayed'))
    ['b', '🐚']
    """
    return frozenset(
        char
        for text in _MISSING.findall(diagnostic)
        for char in _ESCAPE.sub(lambda m: chr(int(m[1], 16)) if m[1] else m[2], text)
    )


def _copy_fonts(folder: Path) -> None:
    """Put the four DejaVu Sans files that matplotlib carries into a folder of their own."""
    folder.mkdir()
    spec = importlib.util.find_spec("matplotlib")
    if spec is None or spec.origin is None:
        message = "matplotlib is not installed; its fonts are needed for the PDF."
        raise RenderError(message)
    source = Path(spec.origin).parent / "mpl-data" / "fonts" / "ttf"
    for name in FONT_FILES:
        shutil.copyfile(source / name, folder / name)


def _write_attachments(root: Path, attachments: Iterable[Attachment]) -> list[dict[str, str]]:
    """Write each attachment under a name of our own; return how the template finds them."""
    files = []
    for number, attached in enumerate(attachments, start=1):
        file = f"attachment-{number}"
        root.joinpath(file).write_bytes(attached.data)
        files.append(
            {
                "name": attached.name,
                "file": file,
                "mime": attached.mime,
                "description": attached.description,
                "relationship": attached.relationship,
            }
        )
    return files


def _data(document: Document, files: list[dict[str, str]]) -> dict[str, Any]:
    """Return what the template sets, as plain data."""
    session = document.session
    facts = session.get("facts") or [
        ("Session of", session["date"] or "date not recorded"),
        ("Revision", str(session["revision"])),
        ("Data fingerprint", session["fingerprint"]),
        ("Rundown Kit", __version__),
    ]
    running = document.title
    if len(running) > RUNNING_TITLE_MAX:
        running = running[: RUNNING_TITLE_MAX - 1].rstrip() + "…"
    operator = session.get("operator")
    return {
        "kind": document.kind,
        "title": document.title,
        "running-title": running,
        "running-data": session.get("running")
        or f"Revision {session['revision']} · data {session['fingerprint']}",
        "authors": [operator] if operator else [],
        "fingerprint": session["fingerprint"],
        "facts": facts,
        "sections": [
            {
                "title": section.title,
                "items": [
                    _item(item) for item in section.items if item["type"] not in ON_SCREEN_ONLY
                ],
            }
            for section in document.sections
        ],
        "attachments": files,
        "sheet": session.get("sheet"),
    }


def _item(item: dict[str, Any]) -> dict[str, Any]:
    """Return an item for the template: a figure is named by its file."""
    if item["type"] != "picture":
        return item
    return {**item, "svg": None, "file": f"{item['anchor']}.svg"}


def _remarks(
    foreign: frozenset[str], nowhere: frozenset[str], nowhere_in_figures: frozenset[str]
) -> list[str]:
    """Return what the file says about its own characters."""
    remarks = []
    if foreign:
        remarks.append(
            "Some characters are set in fonts of the computer that made this file: "
            f"{' '.join(sorted(foreign))}."
        )
    for missing, where in (
        (nowhere, ""),
        (nowhere_in_figures - nowhere, " in figures"),
    ):
        if missing:
            codes = ", ".join(f"U+{ord(char):04X}" for char in sorted(missing))
            remarks.append(
                f"No font for some characters was at hand; each stands{where} as its code point "
                f"in brackets ({codes}). The HTML report shows them."
            )
    return remarks
