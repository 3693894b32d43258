"""The PDF report: set by Typst from plain data, tagged, with the data attached.

The compiler comes as a wheel; no TeX, no browser, no system package and no system font is
needed. The template (``pdf_template/report.typ``) reads one JSON file. The PDF declares PDF/A-3a
(archivable, with attachments) and PDF/UA-1 (accessible).
"""

from __future__ import annotations

import importlib.util
import json
import os
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

    from kit.document import Document

__all__ = ["Attachment", "pdf_bytes", "timestamp_of"]

TEMPLATE = Path(__file__).resolve().parent / "pdf_template" / "report.typ"
# matplotlib's folder also holds a font of last resort, with which any character passes as a box
FONT_FILES = (
    "DejaVuSans.ttf",
    "DejaVuSans-Bold.ttf",
    "DejaVuSans-Oblique.ttf",
    "DejaVuSans-BoldOblique.ttf",
)
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
) -> bytes:
    """Return the report as PDF.

    Characters that the fonts at hand lack are looked for in the fonts of this computer; those
    found nowhere are set as ``[U+XXXX]``. A remark at the end of the file says which.

    Parameters
    ----------
    document
        From `kit.document.document_of`.
    attachments
        Files to put inside.
    timestamp
        Creation time, seconds since 1970.

    Raises
    ------
    RenderError
        If Typst refuses the document.
    """
    with tempfile.TemporaryDirectory(prefix="rundown-pdf-") as name:
        root = Path(name)
        shutil.copyfile(TEMPLATE, root / "report.typ")
        _copy_fonts(root / "fonts")
        files = _write_attachments(root, attachments)
        return _compiled(root, document, files, timestamp)


def _compiled(root: Path, document: Document, files: list[dict[str, str]], timestamp: int) -> bytes:
    """Compile, and again with other fonts or code points if characters are missing."""
    import typst

    lacking: frozenset[str] = frozenset()
    nowhere: frozenset[str] = frozenset()
    for system_fonts in (False, True, True, True):
        _write_document(root, document, files, lacking, nowhere)
        try:
            made = typst.compile(
                str(root / "report.typ"),
                root=str(root),
                font_paths=[str(root / "fonts")],
                ignore_system_fonts=not system_fonts,
                pdf_standards=["a-3a", "ua-1"],
                timestamp=timestamp,
            )
        except typst.TypstError as error:
            missing = missing_characters(error.diagnostic)
            if not missing:
                message = f"The PDF could not be set: {error.message}"
                raise RenderError(message) from error
            if system_fonts:
                nowhere |= missing
            else:
                lacking = missing
        else:
            return bytes(made)
    message = f"The PDF could not be set: no font for {' '.join(sorted(nowhere))}"
    raise RenderError(message)


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


def _write_document(
    root: Path,
    document: Document,
    files: list[dict[str, str]],
    lacking: frozenset[str],
    nowhere: frozenset[str],
) -> None:
    """Write ``document.json`` and the figures, characters without a font as code points."""
    session = document.session
    facts = [
        ("Session of", session["date"] or "date not recorded"),
        ("Revision", str(session["revision"])),
        ("Data fingerprint", session["fingerprint"]),
        ("Rundown Kit", __version__),
    ]
    running = document.title
    if len(running) > RUNNING_TITLE_MAX:
        running = running[: RUNNING_TITLE_MAX - 1].rstrip() + "…"
    operator = session.get("operator")
    data = {
        "kind": document.kind,
        "title": document.title,
        "running-title": running,
        "running-data": f"Revision {session['revision']} · data {session['fingerprint']}",
        "authors": [operator] if operator else [],
        "fingerprint": session["fingerprint"],
        "facts": facts,
        "sections": [
            {
                "title": section.title,
                "items": [
                    _item(root, item, nowhere)
                    for item in section.items
                    if item["type"] not in ON_SCREEN_ONLY
                ],
            }
            for section in document.sections
        ],
        "attachments": files,
        "remarks": _remarks(lacking, nowhere),
    }
    text = json.dumps(data, ensure_ascii=False, sort_keys=True)
    # a code point in brackets needs no escape in JSON
    root.joinpath("document.json").write_text(visible_code_points(text, nowhere), encoding="utf-8")


def _item(root: Path, item: dict[str, Any], nowhere: frozenset[str]) -> dict[str, Any]:
    """Return an item for the template; a figure is written beside it."""
    if item["type"] != "picture":
        return item
    file = f"{item['anchor']}.svg"
    root.joinpath(file).write_text(visible_code_points(item["svg"], nowhere), encoding="utf-8")
    return {key: value for key, value in item.items() if key != "svg"} | {"file": file}


def _remarks(lacking: frozenset[str], nowhere: frozenset[str]) -> list[str]:
    """Return what the file says about its own characters."""
    remarks = []
    if lacking - nowhere:
        remarks.append(
            "Some characters are set in fonts of the computer that made this file: "
            f"{' '.join(sorted(lacking - nowhere))}."
        )
    if nowhere:
        codes = ", ".join(f"U+{ord(char):04X}" for char in sorted(nowhere))
        remarks.append(
            "No font for some characters was at hand; each stands as its code point in brackets "
            f"({codes}). The HTML report shows them."
        )
    return remarks


def default_timestamp(session_date: str | None) -> int:
    """Return `timestamp_of` with this process's environment."""
    return timestamp_of(session_date, os.environ)
