"""Kinds of tampering with a PDF report, each with a pattern of what is to be said of it."""

from __future__ import annotations

import hashlib
import json
from typing import TYPE_CHECKING, Any

from kit.revise.carried import EARLIER_NAME, MANIFEST_NAME, RESULTS_NAME
from tests.helpers.tampering_folder import with_json

if TYPE_CHECKING:
    from collections.abc import Callable

    from pypdf import PdfWriter

__all__ = ["PDF_TAMPERING"]


def _attached(writer: PdfWriter, name: str) -> Any:
    """Return the stream of a file inside."""
    for reference in writer._root_object["/AF"]:
        spec = reference.get_object()
        if str(spec["/F"]) == name:
            return spec["/EF"]["/F"].get_object()
    raise KeyError(name)


def _put(writer: PdfWriter, name: str, change: Callable[[bytes], bytes]) -> bytes:
    stream = _attached(writer, name)
    made = change(stream.get_data())
    assert made != stream.get_data()
    stream.set_data(made)
    return made


def _sign(writer: PdfWriter, **data: bytes) -> None:
    """List changed files with their new SHA-256 and fingerprint, as a careful forger would."""

    def change(manifest: bytes) -> bytes:
        made = json.loads(manifest)
        for file in made["files"]:
            file["sha256"] = hashlib.sha256(_attached(writer, file["name"]).get_data()).hexdigest()
        digests = "".join(
            hashlib.sha256(_attached(writer, name).get_data()).hexdigest()
            for name in made["inputs"]
        )
        made["session"]["fingerprint"] = hashlib.sha256(digests.encode()).hexdigest()[:12]
        return json.dumps(made).encode()

    _put(writer, MANIFEST_NAME, change)


def _swap_glyphs(writer: PdfWriter) -> None:
    """Exchange two glyphs of a text on the second page."""
    from pypdf.generic import ContentStream, NameObject

    page = writer.pages[1]
    content = ContentStream(page["/Contents"].get_object(), writer)
    for operands, operator in content.operations:
        if operator in (b"Tj", b"TJ"):
            texts = operands[0] if isinstance(operands[0], list) else operands
            for k, text in enumerate(texts):
                raw = getattr(text, "original_bytes", None)
                if raw and len(raw) >= 8 and raw[:2] != raw[2:4]:
                    texts[k] = type(text)(raw[2:4] + raw[:2] + raw[4:])
                    page[NameObject("/Contents")] = content
                    return
    raise AssertionError


def _draw(writer: PdfWriter) -> None:
    from pypdf.generic import ContentStream, NameObject

    page = writer.pages[2]
    content = ContentStream(page["/Contents"].get_object(), writer)
    content.set_data(content.get_data() + b"\nq 1 0 0 rg 10 10 200 200 re f Q\n")
    page[NameObject("/Contents")] = content


def _set_json(name: str, *path: Any, to: Any) -> Callable[[PdfWriter], None]:
    return lambda writer: void(_put(writer, name, lambda data: with_json(data, path, to)))


def void(_value: object) -> None:
    """Return nothing."""


def _replace(name: str, old: str, new: str, *, sign: bool = False) -> Callable[[PdfWriter], None]:
    def change(writer: PdfWriter) -> None:
        _put(writer, name, lambda data: data.replace(old.encode(), new.encode()))
        if sign:
            _sign(writer)

    return change


def _forge_results(writer: PdfWriter) -> None:
    _set_json(RESULTS_NAME, "tables", "runtimes", "rows", 0, 3, to=9.99)(writer)
    _sign(writer)


def _swap_files(writer: PdfWriter) -> None:
    log, setup = (_attached(writer, n) for n in ("log.csv", "session.toml"))
    one, other = log.get_data(), setup.get_data()
    log.set_data(other)
    setup.set_data(one)


def _remove_file(writer: PdfWriter, name: str = "session.toml") -> None:
    from pypdf.generic import ArrayObject, NameObject

    root = writer._root_object
    kept = [r for r in root["/AF"] if str(r.get_object()["/F"]) != name]
    root[NameObject("/AF")] = ArrayObject(kept)
    names = root["/Names"]["/EmbeddedFiles"]
    pairs = names["/Names"]
    made = ArrayObject()
    for key, value in zip(pairs[::2], pairs[1::2], strict=True):
        if str(key) != name:
            made.extend([key, value])
    names[NameObject("/Names")] = made


def _add_script(writer: PdfWriter) -> None:
    from pypdf.generic import DictionaryObject, NameObject, TextStringObject

    script = {
        NameObject("/S"): NameObject("/JavaScript"),
        NameObject("/JS"): TextStringObject("app.alert(1)"),
    }
    writer._root_object[NameObject("/OpenAction")] = DictionaryObject(script)


def _note_over_a_number(writer: PdfWriter) -> None:
    from pypdf.annotations import FreeText

    writer.add_annotation(1, FreeText(text="9.46", rect=(50, 550, 200, 650)))


def _title(writer: PdfWriter) -> None:
    writer.add_metadata({"/Title": "Another session"})


def _date(writer: PdfWriter) -> None:
    writer.add_metadata({"/CreationDate": "D:20300101000000Z"})


def _page_away(writer: PdfWriter) -> None:
    del writer._pages.get_object()["/Kids"][2]


def _page_order(writer: PdfWriter) -> None:
    kids = writer._pages.get_object()["/Kids"]
    kids[2], kids[3] = kids[3], kids[2]


PDF_TAMPERING: dict[str, tuple[Callable[[PdfWriter], Any], str]] = {
    "a number on a page": (_swap_glyphs, r"page 2: found '"),
    "a drawing": (_draw, r"page 3: found another drawing"),
    "a note over a number": (_note_over_a_number, r"page 2: found"),
    "a page taken out": (_page_away, r"length: found '?\d+ pages"),
    "pages exchanged": (_page_order, r"page 3: found"),
    "the title": (_title, r"the title of the document"),
    "the date": (_date, r"the date of the document"),
    "a script": (_add_script, r"the structure of the document"),
    "a figure in results.json": (
        _set_json(RESULTS_NAME, "tables", "runtimes", "rows", 0, 3, to=9.99),
        r"results\.json in mail\.pdf, tables, runtimes, row 1 \(1, limpet\), column runtime_h: "
        r"found '9\.99'",
    ),
    "a figure in results.json, listed anew": (_forge_results, r"column runtime_h: found '9\.99'"),
    "a verdict in results.json": (
        _set_json(RESULTS_NAME, "tables", "runtime_pairs", "rows", 0, 6, to="b"),
        r"runtime_pairs, row 1 \(1, limpet, dunlin\), column verdict: found 'b'",
    ),
    "a sentence in results.json": (
        _set_json(RESULTS_NAME, "glance", 0, to="Dunlin 9 lasted longest."), r"glance, entry 1",
    ),
    "the log": (_replace("log.csv", "09:30,80", "09:30,70"), r"file log\.csv: found SHA-256"),
    "the log, listed anew": (
        _replace("log.csv", "09:30,80", "09:30,70", sign=True), r"phase_drain.*column drain_pp",
    ),
    "the setup file": (
        _replace("session.toml", "Limpet 10", "Limpet 11"), r"file session\.toml: found SHA-256",
    ),
    "the setup file, listed anew": (
        _replace("session.toml", "Limpet 10", "Limpet 11", sign=True),
        r"tables, devices, row 1 \(limpet\), column label: found 'Limpet 10'; expected 'Limpet 11'",
    ),
    "a file taken out": (_remove_file, r"file session\.toml: found no such file inside"),
    "files exchanged": (_swap_files, r"file log\.csv: found SHA-256"),
    "a file put in": (
        lambda w: w.add_attachment("more.csv", b"a"), r"file more\.csv: found a file",
    ),
    "a second file of a name": (
        lambda w: w.add_attachment("log.csv", b"a"), r"attachment log\.csv: found 2 files",
    ),
    "the reason of a correction": (
        _replace("corrections.csv", "misread", "checked", sign=True),
        r"changed_cells.*column reason",
    ),
    "an earlier revision": (
        _replace(EARLIER_NAME, "limpet,09:00,87", "limpet,09:00,86"),
        r"earlier-revisions\.zip: found SHA-256",
    ),
    "the coverage": (
        _set_json(MANIFEST_NAME, "settings", "coverage", to=0.9), r"settings, coverage",
    ),
    "the seed": (_set_json(MANIFEST_NAME, "settings", "seed", to=1), r"settings, seed"),
    "the draws": (_set_json(MANIFEST_NAME, "settings", "draws", to=20_000), r"settings, draws"),
    "the template": (
        _set_json(MANIFEST_NAME, "template", "sha256", to="0" * 64),
        r"template 'session_report\.ipynb': found SHA-256 0000",
    ),
    "the fingerprint": (
        _set_json(MANIFEST_NAME, "session", "fingerprint", to="0" * 12), r"data fingerprint",
    ),
    "the revision": (_set_json(MANIFEST_NAME, "session", "revision", to=1), r"session, revision"),
    "the version": (_set_json(MANIFEST_NAME, "kit_version", to="9.9"), r"page \d+: found.*Rundown"),
    "a version of a library": (
        _set_json(MANIFEST_NAME, "versions", "numpy", to="9.9"), r"page \d+: found.*numpy",
    ),
    "the day of the making": (
        _set_json(MANIFEST_NAME, "source_date_epoch", to="86400"), r"the date of the document",
    ),
}  # fmt: skip
