"""Each kind of tampering with a report is found and named; a true report is not accused."""

from __future__ import annotations

import base64
import hashlib
import io
import json
import os
import re
import shutil
from contextlib import closing
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from click.testing import CliRunner

import kit
from kit import places
from kit.cli import cli
from kit.errors import ExitCode, RenderError, UsageError
from kit.render import report as render
from kit.render.warm import WarmKernel
from kit.revise import pdf_diff
from kit.revise.amend import amend
from kit.revise.carried import EARLIER_NAME, MANIFEST_NAME, RESULTS_NAME, unpacked
from kit.revise.swap import STAGE
from kit.revise.verify import verify
from tests.helpers.short_report import SETTINGS, make_record, short_template

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from pypdf import PdfWriter

    from kit.results import Settings

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def remade() -> dict[str, Path]:
    """Reports made anew in this module, by what they were made from."""
    return {}


@pytest.fixture(scope="module", autouse=True)
def template(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Take a shorter template for the kit's own."""
    folder = short_template(tmp_path_factory.mktemp("templates")).parent
    with pytest.MonkeyPatch.context() as patch:
        for module in (places, render):
            patch.setattr(module, "templates_folder", lambda: folder)
        patch.setattr(os, "fsync", lambda _: None)  # no power goes away here
        yield


@pytest.fixture(scope="module")
def kernel() -> Iterator[WarmKernel]:
    """Return one kernel for all reports."""
    with closing(WarmKernel(preload=render.PRELOAD)) as made:
        yield made


@pytest.fixture(scope="module")
def original(tmp_path_factory: pytest.TempPathFactory, template: None, kernel: WarmKernel) -> Path:
    """Return the output folder of a report with one correction behind it."""
    folder = tmp_path_factory.mktemp("verify")
    record = make_record(folder / "day")
    out = folder / "out"
    render.render_report(record, out, settings=SETTINGS, kernel=kernel)
    amend(record, line=4, column="soc_pct", to="88", reason="misread", on=date(2026, 6, 1))
    made = render.render_report(record, out, settings=SETTINGS, kernel=kernel)
    assert made.revision == 2
    assert "The conclusion does not change against revision 1" in made.headline
    return out


@pytest.fixture(autouse=True)
def once(
    monkeypatch: pytest.MonkeyPatch, remade: dict[str, Path],
    tmp_path_factory: pytest.TempPathFactory, kernel: WarmKernel,
) -> None:  # fmt: skip
    """Make a report of the same data with the same settings only once."""
    real = render.render_report

    def cached(record: Path, out: Path, *, settings: Settings, **options: Any) -> None:
        epoch = os.environ.get("SOURCE_DATE_EPOCH")
        made_of = (settings, options.get("keep"), record.name, record.is_dir(), epoch)
        digest = hashlib.sha256(repr(made_of).encode())
        folder = record if record.is_dir() else record.parent
        for root in (folder, out):
            for path in sorted(root.rglob("*")) if root.exists() else ():
                digest.update(repr(path.relative_to(root)).encode())
                digest.update(path.read_bytes() if path.is_file() else b"")
        key = digest.hexdigest()
        if key not in remade:
            real(record, out, settings=settings, kernel=kernel, **options)
            remade[key] = Path(shutil.copytree(out, tmp_path_factory.mktemp("remade") / "out"))
        else:
            shutil.copytree(remade[key], out, dirs_exist_ok=True)

    monkeypatch.setattr(render, "render_report", cached)
    monkeypatch.setattr(pdf_diff, "_text", _text_once)


_read_text = pdf_diff._text
TEXTS: dict[str, list[str]] = {}


def _text_once(page: Any) -> list[str]:
    """Read the text of equal pages only once: the same drawing in fonts with the same letters."""
    digest = hashlib.sha256(page["/Contents"].get_object().get_data())
    for name, font in sorted(page["/Resources"].get("/Font", {}).items()):
        letters = font.get_object().get("/ToUnicode")
        digest.update(name.encode() + (letters.get_object().get_data() if letters else b""))
    key = digest.hexdigest()
    if key not in TEXTS:
        TEXTS[key] = _read_text(page)
    return TEXTS[key]


def errors(path: Path) -> list[str]:
    return [d.sentence for d in verify(path).differences if d.severity == "error"]


@pytest.mark.parametrize("name", ["report.pdf", "report.html", "."])
def test_a_true_report_follows_with_nothing_else_at_hand(
    original: Path, tmp_path: Path, name: str
) -> None:
    if name == ".":
        given = original
    else:
        given = tmp_path / f"mail{Path(name).suffix}"
        shutil.copyfile(original / name, given)
    done = verify(given)
    assert done.differences == ()
    assert done.follows
    assert {"session.toml", "log.csv", "corrections.csv", EARLIER_NAME, MANIFEST_NAME} <= set(
        done.checked
    ) or name == "."


# --- the PDF -------------------------------------------------------------------------------


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
    return lambda writer: void(_put(writer, name, lambda data: _json(data, path, to)))


def _json(data: bytes, path: tuple[Any, ...], to: Any) -> bytes:
    made = json.loads(data)
    place = made
    for key in path[:-1]:
        place = place[key]
    assert place[path[-1]] != to
    place[path[-1]] = to
    return json.dumps(made, ensure_ascii=False, indent=1).encode()


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


@pytest.mark.parametrize("kind", PDF_TAMPERING)
def test_tampering_with_a_pdf_is_named(original: Path, tmp_path: Path, kind: str) -> None:
    from pypdf import PdfReader, PdfWriter

    change, expected = PDF_TAMPERING[kind]
    writer = PdfWriter(clone_from=PdfReader(original / "report.pdf"))
    change(writer)
    given = tmp_path / "mail.pdf"
    writer.write(given)
    found = errors(given)
    assert any(re.search(expected, sentence) for sentence in found), "\n".join(found)


def test_a_pdf_saved_again_by_another_program_is_not_accused(
    original: Path, tmp_path: Path
) -> None:
    from pypdf import PdfReader, PdfWriter

    writer = PdfWriter(clone_from=PdfReader(original / "report.pdf"))
    given = tmp_path / "mail.pdf"
    writer.write(given)
    assert given.read_bytes() != (original / "report.pdf").read_bytes()
    done = verify(given)
    assert done.follows, [d.sentence for d in done.differences]


# --- the page ------------------------------------------------------------------------------


def _sub(pattern: str, text: str) -> Callable[[str], str]:
    return lambda page: re.sub(pattern, text, page, count=1, flags=re.DOTALL)


def _link(name: str, change: Callable[[bytes], bytes]) -> Callable[[str], str]:
    def made(page: str) -> str:
        pattern = rf'(download="{re.escape(name)}" href="[^,]*,)([^"]*)'
        return re.sub(
            pattern,
            lambda m: m[1] + base64.b64encode(change(base64.b64decode(m[2]))).decode(),
            page,
        )

    return made


PAGE_TAMPERING: dict[str, tuple[Callable[[str], str], str]] = {
    "a number in a table": (
        _sub(r'(id="table-runtimes".*?</thead>.*?</td>\s*<td[^>]*>)[^<]*', r"\g<1>9:46"),
        r"mail\.html, table runtimes, row Limpet 10, column Runtime \(h:mm\): found '9:46'",
    ),
    "a row taken out": (
        _sub(r'(id="table-runtimes".*?<tbody>)\s*<tr.*?</tr>', r"\1"), r"table runtimes",
    ),
    "rows exchanged": (
        _sub(r'(id="table-runtimes".*?<tbody>)\s*(<tr.*?</tr>)\s*(<tr.*?</tr>)', r"\1\n\3\n\2"),
        r"table runtimes, row",
    ),
    "a caption": (_sub("Runtimes from start to power-off", "Runtimes"), r"table runtimes: found"),
    "the conclusion": (
        _sub(r'(<p class="lead">)[^<]*', r"\1Dunlin 9 lasted longest."),
        r"section At a glance: found 'Dunlin 9 lasted longest\.'",
    ),
    "the line on the correction": (
        _sub("The conclusion does not change", "The conclusion changes"), r"section At a glance",
    ),
    "a section taken out": (
        _sub(r'<section aria-labelledby="limits-of-this-comparison">.*?</section>', ""),
        r"section ",
    ),
    "a figure": (
        _sub(r'(<figure class="picture".*?<path[^>]* d="M)[^"]*', r"\1 0 0 L 5 5"),
        r"figure figure-(pairs|runtimes)",
    ),
    "the title of the session": (_sub(r"<h1>[^<]*", "<h1>Another day"), "found 'Another day'"),
    "the title of the window": (_sub("<title>", "<title>My "), r"the title of the window"),
    "the fingerprint shown": (
        _sub(r"<code>[0-9a-f]{12}</code>", "<code>000000000000</code>"), "found '0{12}'",
    ),
    "the script": (_sub("<script>", "<script>var x = 1;"), r"the page's script"),
    "the policy": (_sub("default-src 'none'", "default-src *"), r"the head of the page"),
    "the policy, escaped": (
        _sub("default-src &#39;none&#39;", "default-src *"), r"the head of the page",
    ),
    "the style": (_sub("<style>", "<style>tr:last-child{display:none}"), r"the page's style"),
    "a hidden text": (_sub("</main>", "<p hidden>x</p></main>"), r"found .*x"),
    "a comment": (_sub("</main>", "<!-- x --></main>"), r"found 'x'|x"),
    "a link to elsewhere": (
        _sub("</main>", '<a href="https://example.org/">x</a></main>'), "example",
    ),
    "the code shown": (_sub(r"glance", "glanse"), r"glanse"),
    "the log": (
        _link("log.csv", lambda d: d.replace(b"09:30,80", b"09:30,70")),
        r"file log\.csv: found SHA-256",
    ),
    "the log, for a page": (
        _sub(r'(download="log\.csv" href=")data:text/csv', r"\1data:text/html"), r"text/html",
    ),
    "the log, not decodable": (
        _sub(r'(download="log\.csv" href="[^,]*,)', r"\1***"), r"file log\.csv: found a link that",
    ),
    "the setup file": (
        _link("session.toml", lambda d: d.replace(b"Dunlin 9", b"Dunlin 8")),
        r"file session\.toml: found SHA-256",
    ),
    "the seed": (
        _link(MANIFEST_NAME, lambda d: _json(d, ("settings", "seed"), 1)),
        r"table parameters, row seed, column Value: found '20260516'; expected '1'",
    ),
    "the template": (
        _link(MANIFEST_NAME, lambda d: _json(d, ("template", "sha256"), "0" * 64)),
        r"template 'session_report\.ipynb'",
    ),
    "the version": (
        _link(MANIFEST_NAME, lambda d: _json(d, ("kit_version",), "9.9")),
        r"the foot of the page: found 'Made by Rundown Kit",
    ),
    "a version of a library": (
        _link(MANIFEST_NAME, lambda d: _json(d, ("versions", "numpy"), "9.9")),
        r"table versions, row numpy, column Version: found .*; expected '9\.9'",
    ),
}  # fmt: skip


@pytest.mark.parametrize("kind", PAGE_TAMPERING)
def test_tampering_with_a_page_is_named(original: Path, tmp_path: Path, kind: str) -> None:
    change, expected = PAGE_TAMPERING[kind]
    page = (original / "report.html").read_text(encoding="utf-8")
    made = change(page)
    if kind.startswith("the policy") and made == page:
        return  # the quotation marks stand in the other way
    assert made != page
    given = tmp_path / "mail.html"
    given.write_text(made, encoding="utf-8")
    found = errors(given)
    assert any(re.search(expected, sentence) for sentence in found), "\n".join(found)


# --- the folder ----------------------------------------------------------------------------


def _edit(name: str, old: str, new: str) -> Callable[[Path], None]:
    def change(folder: Path) -> None:
        text = (folder / name).read_text(encoding="utf-8")
        assert old in text
        (folder / name).write_text(text.replace(old, new), encoding="utf-8")

    return change


def _edit_json(name: str, *path: Any, to: Any) -> Callable[[Path], None]:
    def change(folder: Path) -> None:
        (folder / name).write_bytes(_json((folder / name).read_bytes(), path, to))

    return change


FOLDER_TAMPERING: dict[str, tuple[Callable[[Path], Any], str]] = {
    "a figure in results.json": (
        _edit_json("results.json", "tables", "runtimes", "rows", 0, 3, to=9.99),
        r"^results\.json, tables, runtimes, row 1 \(1, limpet\), column runtime_h: found '9\.99'",
    ),
    "a number in a CSV table": (
        _edit("tables/runtimes.csv", "observed", "still_on"), r"^tables/runtimes\.csv, line 2",
    ),
    "a table taken out": (
        lambda f: (f / "tables" / "energy.csv").unlink(), r"^tables/energy\.csv: found no such",
    ),
    "an output in the notebook": (
        _edit("report.ipynb", "The conclusion does not change", "The conclusion changes"),
        r"^report\.ipynb, cells, cell glance",
    ),
    "the code in the notebook": (
        _edit("report.ipynb", "report.glance(results)", "report.limits(results)"),
        r"^report\.ipynb, cells, cell glance, source",
    ),
    "an earlier input": (
        _edit("revisions/001/inputs/log.csv", "09:00,87", "09:00,86"),
        r"^revisions/001/inputs/log\.csv: found another content",
    ),
    "an earlier revision taken out": (
        lambda f: shutil.rmtree(f / "revisions" / "001"), r"^revisions/001: found no such revision",
    ),
    "a revision put in": (
        lambda f: _third(f), r"^revisions/003: found a revision",
    ),
    "the results of a revision": (
        _edit_json("revisions/002/results.json", "glance", 0, to="x"),
        r"^revisions/002/results\.json, glance, entry 1",
    ),
    "what a revision says": (
        _edit_json("revisions/001/revision.json", "summary", "conclusion", to="changed"),
        r"^revisions/001/revision\.json, summary, conclusion",
    ),
    "the notice": (
        _edit("correction-notice.txt", "was noted as 87", "was noted as 78"),
        r"^correction-notice\.txt, line 1",
    ),
    "the list of files": (
        _edit_json(MANIFEST_NAME, "settings", "draws", to=20_000),
        r"^manifest\.json, settings, draws",
    ),
    "a page from elsewhere": (
        lambda f: shutil.copyfile(f / "revisions" / "001" / "report.html", f / "report.html"),
        r"^manifest\.json in report\.html, session, revision: found '1'; expected '2'",
    ),
}  # fmt: skip


def _third(folder: Path) -> None:
    shutil.copytree(folder / "revisions" / "002", folder / "revisions" / "003")
    _edit_json("revisions/003/revision.json", "number", to=3)(folder)


@pytest.mark.parametrize("kind", FOLDER_TAMPERING)
def test_tampering_with_a_folder_is_named(original: Path, tmp_path: Path, kind: str) -> None:
    change, expected = FOLDER_TAMPERING[kind]
    given = Path(shutil.copytree(original, tmp_path / "out"))
    change(given)
    found = errors(given)
    assert any(re.search(expected, sentence) for sentence in found), "\n".join(found)


def test_there_are_many_kinds_of_tampering() -> None:
    assert len(PDF_TAMPERING) + len(PAGE_TAMPERING) + len(FOLDER_TAMPERING) >= 60


# --- other things --------------------------------------------------------------------------


def test_a_report_of_another_version_is_compared_by_its_figures(
    original: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A later kit with the same figures and another style does not accuse an earlier report."""
    for name in ("report.html", "report.pdf"):
        shutil.copyfile(original / name, tmp_path / f"mail{Path(name).suffix}")
    shutil.copytree(original, tmp_path / "out")
    from kit.revise import verify_anew, verify_taken

    later = {**verify_taken.versions(), "numpy": "99.0"}
    for module in (verify_anew, verify_taken):
        monkeypatch.setattr(module, "versions", lambda: later)
    # the report made anew says what is installed; here that is still the same
    monkeypatch.setattr(verify_taken.Taken, "reworded", lambda _self, text: text)
    for given in (tmp_path / "mail.html", tmp_path / "mail.pdf", tmp_path / "out"):
        done = verify(given)
        assert done.follows, [d.sentence for d in done.differences]
        assert any("numpy 99.0 as installed here" in d.sentence for d in done.differences)
    edit = _edit_json("out/results.json", "tables", "runtimes", "rows", 0, 3, to=9.99)
    edit(tmp_path)
    assert any("found '9.99'" in s for s in errors(tmp_path / "out"))


def test_data_that_do_not_pass_are_named(original: Path, tmp_path: Path) -> None:
    page = (original / "report.html").read_text(encoding="utf-8")
    given = tmp_path / "mail.html"
    given.write_text(
        _link("log.csv", lambda d: d.replace(b"09:30,80", b"09:30,180"))(page), encoding="utf-8"
    )
    found = errors(given)
    assert any("found a record that does not pass" in s and "'180'" in s for s in found)


def test_what_is_no_report_is_refused(original: Path, tmp_path: Path) -> None:
    cases: list[tuple[str, bytes, type[Exception], str]] = [
        ("a.txt", b"x", UsageError, "neither a PDF nor an HTML report"),
        ("a.pdf", b"x", RenderError, "no PDF that can be read"),
        ("a.html", b"<p>x</p>", UsageError, "holds no manifest.json"),
        ("b.html", b"\xff", UsageError, "no text in UTF-8"),
        ("c.html", b'<a class="carried" download="manifest.json" href="data:;base64,e30=">',
         UsageError, "cannot be read"),
    ]  # fmt: skip
    for name, data, kind, message in cases:
        (tmp_path / name).write_bytes(data)
        with pytest.raises(kind, match=message):
            verify(tmp_path / name)
    (tmp_path / "empty").mkdir()
    with pytest.raises(UsageError, match=r"holds no report\.pdf"):
        verify(tmp_path / "empty")


def test_a_folder_between_two_versions_is_no_report(original: Path, tmp_path: Path) -> None:
    given = Path(shutil.copytree(original, tmp_path / "out"))
    (given / STAGE).mkdir()
    (given / STAGE / "journal.json").write_text("{}")
    with pytest.raises(RenderError, match="may hold files of two versions"):
        verify(given)
    (given / STAGE / "journal.json").rename(given / STAGE / "journal.json.part")
    assert verify(given).follows  # what was not ready has changed nothing


def test_a_zip_that_would_write_elsewhere_is_not_unpacked(tmp_path: Path) -> None:
    import zipfile

    for name in ("../evil", "001/../../evil", "/001/evil", "x/y", "001/a/b/c"):
        stream = io.BytesIO()
        with zipfile.ZipFile(stream, "w") as archive:
            archive.writestr(name, b"x")
        with pytest.raises(RenderError, match="not unpacked"):
            unpacked(stream.getvalue(), tmp_path / "in")
    with pytest.raises(RenderError, match="cannot be read"):
        unpacked(b"PK", tmp_path / "in")
    assert not any(tmp_path.iterdir())


def test_the_command_says_and_returns_what_it_found(original: Path, tmp_path: Path) -> None:
    good = CliRunner().invoke(cli, ["verify", str(original / "report.html"), "-q"])
    assert (good.exit_code, good.output) == (ExitCode.DONE, "")
    loud = CliRunner().invoke(cli, ["verify", str(original / "report.pdf")])
    assert "Everything in report.pdf follows from the data inside it." in loud.output
    page = (original / "report.html").read_text(encoding="utf-8")
    given = tmp_path / "mail.html"
    given.write_text(page.replace("At a glance</h2>", "At a glanse</h2>"), encoding="utf-8")
    bad = CliRunner().invoke(cli, ["verify", str(given)])
    assert bad.exit_code == ExitCode.RECORD
    assert "does not follow from the data inside it: one place does not." in bad.output
    told = CliRunner().invoke(cli, ["verify", str(given), "--json"])
    made = json.loads(told.output)
    assert made["follows"] is False
    assert made["differences"][0]["found"] == "'At a glanse'"
    assert kit.__version__
    assert "SOURCE_DATE_EPOCH" not in os.environ
