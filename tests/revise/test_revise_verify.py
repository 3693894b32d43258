"""Each kind of tampering with a report is found and named; a true report is not accused."""

from __future__ import annotations

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
from kit.revise.carried import EARLIER_NAME, MANIFEST_NAME, unpacked
from kit.revise.swap import STAGE
from kit.revise.verify import verify
from tests.helpers.short_report import SETTINGS, make_record, short_template
from tests.helpers.tampering_folder import FOLDER_TAMPERING, edit_json
from tests.helpers.tampering_page import PAGE_TAMPERING, link
from tests.helpers.tampering_pdf import PDF_TAMPERING

if TYPE_CHECKING:
    from collections.abc import Iterator

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


@pytest.mark.parametrize("kind", FOLDER_TAMPERING)
def test_tampering_with_a_folder_is_named(original: Path, tmp_path: Path, kind: str) -> None:
    change, expected = FOLDER_TAMPERING[kind]
    given = Path(shutil.copytree(original, tmp_path / "out"))
    change(given)
    found = errors(given)
    assert any(re.search(expected, sentence) for sentence in found), "\n".join(found)


def test_there_are_many_kinds_of_tampering() -> None:
    assert len(PDF_TAMPERING) + len(PAGE_TAMPERING) + len(FOLDER_TAMPERING) >= 60


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
    forge = edit_json("out/results.json", "tables", "runtimes", "rows", 0, 3, to=9.99)
    forge(tmp_path)
    assert any("found '9.99'" in s for s in errors(tmp_path / "out"))


def test_data_that_do_not_pass_are_named(original: Path, tmp_path: Path) -> None:
    page = (original / "report.html").read_text(encoding="utf-8")
    given = tmp_path / "mail.html"
    given.write_text(
        link("log.csv", lambda d: d.replace(b"09:30,80", b"09:30,180"))(page), encoding="utf-8"
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
