"""A comparison is worked out anew from what it carries; what does not follow is named."""

from __future__ import annotations

import base64
import hashlib
import json
import os
import re
import shutil
from typing import TYPE_CHECKING, Any

import pytest
from click.testing import CliRunner

from kit.cli import cli
from kit.compare.settings import CompareSettings
from kit.errors import UsageError
from kit.places import samples_folder
from kit.render.compare import render_comparison
from kit.revise import verify_anew, verify_taken
from kit.revise.carried import MANIFEST_NAME, RESULTS_NAME, versions
from kit.revise.verify import verify

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

pytestmark = pytest.mark.slow

SETTINGS = CompareSettings(
    coverage=0.9, same=(("goby", "goby"),), accept=frozenset({"network"}), session_cv=0.05
)


@pytest.fixture(scope="module", autouse=True)
def quick() -> Iterator[None]:
    """Do not wait for the disk."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(os, "fsync", lambda _: None)
        yield


@pytest.fixture(scope="module")
def original(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a comparison of a folder and of a log beside its setup file, with other settings."""
    folder = tmp_path_factory.mktemp("comparison")
    for name in ("full-day", "autumn-check"):
        shutil.copytree(
            samples_folder() / name, folder / "days" / name,
            ignore=shutil.ignore_patterns("report"),
        )  # fmt: skip
    sessions = [folder / "days" / "autumn-check" / "log.csv", folder / "days" / "full-day"]
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SOURCE_DATE_EPOCH", "1800000000")
        render_comparison(sessions, folder / "out", settings=SETTINGS)
    shutil.rmtree(folder / "days")
    return folder / "out"


def errors(path: Path) -> list[str]:
    return [d.sentence for d in verify(path).differences if d.severity == "error"]


@pytest.mark.parametrize("name", ["comparison.pdf", "comparison.html", "."])
def test_a_true_comparison_follows_with_nothing_else_at_hand(
    original: Path, tmp_path: Path, name: str
) -> None:
    given = original if name == "." else tmp_path / f"mail{original.joinpath(name).suffix}"
    if name != ".":
        shutil.copyfile(original / name, given)
    done = verify(given)
    assert done.differences == ()
    if name == ".":
        assert {"comparison.ipynb", RESULTS_NAME, "tables/order.csv"} <= set(done.checked)
    else:
        assert {MANIFEST_NAME, "02-saltmarsh-2026-10-10-log.csv"} <= set(done.checked)


def _link(name: str, change: Callable[[bytes], bytes]) -> Callable[[str], str]:
    def made(page: str) -> str:
        return re.sub(
            rf'(download="{re.escape(name)}" href="[^,]*,)([^"]*)',
            lambda m: m[1] + base64.b64encode(change(base64.b64decode(m[2]))).decode(),
            page,
        )

    return made


def _listed(*path: Any, to: Any) -> Callable[[str], str]:
    """Change an entry of the list of files."""

    def change(data: bytes) -> bytes:
        made = json.loads(data)
        place = made
        for key in path[:-1]:
            place = place[key]
        place[path[-1]] = to
        return json.dumps(made).encode()

    return _link(MANIFEST_NAME, change)


def _signed(page: str) -> str:
    """Change a log and list it anew, SHA-256 and fingerprints, as a careful forger would."""
    name = "02-saltmarsh-2026-10-10-log.csv"
    page = _link(name, lambda d: d.replace(b"reading,", b"reading ,", 1))(page)
    held = {
        n: base64.b64decode(data)
        for n, data in re.findall(r'download="([^"]+)" href="[^,]*,([^"]*)"', page)
    }
    made = json.loads(held[MANIFEST_NAME])
    for file in made["files"]:
        if file["name"] in held:
            file["sha256"] = hashlib.sha256(held[file["name"]]).hexdigest()
            file["size"] = len(held[file["name"]])
    for session in made["sessions"]:
        digests = "".join(hashlib.sha256(held[n]).hexdigest() for n in session["inputs"])
        session["fingerprint"] = hashlib.sha256(digests.encode()).hexdigest()[:12]
    whole = "".join(s["fingerprint"] for s in made["sessions"])
    made["fingerprint"] = hashlib.sha256(whole.encode()).hexdigest()[:12]
    return _link(MANIFEST_NAME, lambda _: json.dumps(made).encode())(page)


TAMPERING: dict[str, tuple[Callable[[str], str], str]] = {
    "a cell of the order": (
        lambda p: re.sub(r'(id="table-order".*?<tbody>.*?<td[^>]*>)[^<]*', r"\g<1>9", p, count=1,
                         flags=re.DOTALL),
        r"mail\.html, table order, row .*: found '9'",
    ),
    "the first sentence": (
        lambda p: re.sub(r'(<p class="lead">)[^<]*', r"\1Goby 12 runs longest.", p, count=1),
        r"section At a glance: found 'Goby 12 runs longest\.'",
    ),
    "a log": (
        _link("01-saltmarsh-2026-05-16-log.csv", lambda d: d + b"note,,,,\n"),
        r"data fingerprint of session saltmarsh-2026-05-16",
    ),
    "a log, listed anew": (_signed, r"found .*; expected "),
    "a setup file": (
        _link("02-saltmarsh-2026-10-10-session.toml", lambda d: d + b"\n"),
        r"file 02-saltmarsh-2026-10-10-session\.toml: found SHA-256",
    ),
    "the coverage": (
        _listed("settings", "coverage", to=0.95),
        r"table parameters, row Coverage, column Value: found '90.%'; expected '95.%'",
    ),
    "a device called the same": (_listed("settings", "same", to=[]), r"table parameters"),
    "the assumed scatter": (_listed("settings", "session_cv", to=None), r"found"),
    "the fingerprint": (_listed("fingerprint", to="0" * 12), r"data fingerprint: found"),
    "the template": (
        _listed("template", "sha256", to="0" * 64), r"template 'compare_sessions\.ipynb'",
    ),
}  # fmt: skip


@pytest.mark.parametrize("kind", TAMPERING)
def test_tampering_with_a_page_is_named(original: Path, tmp_path: Path, kind: str) -> None:
    change, expected = TAMPERING[kind]
    page = (original / "comparison.html").read_text(encoding="utf-8")
    made = change(page)
    assert made != page
    given = tmp_path / "mail.html"
    given.write_text(made, encoding="utf-8")
    found = errors(given)
    assert any(re.search(expected, sentence) for sentence in found), "\n".join(found)


def test_tampering_with_a_pdf_and_with_the_folder_is_named(original: Path, tmp_path: Path) -> None:
    from pypdf import PdfReader, PdfWriter

    writer = PdfWriter(clone_from=PdfReader(original / "comparison.pdf"))
    attached: Any = writer._root_object["/AF"]
    for reference in attached:
        spec = reference.get_object()
        if str(spec["/F"]) == RESULTS_NAME:
            stream = spec["/EF"]["/F"].get_object()
            made = json.loads(stream.get_data())
            made["tables"]["order"]["rows"].reverse()
            stream.set_data(json.dumps(made).encode())
    writer.write(tmp_path / "mail.pdf")
    assert any("tables, order, row 1" in s for s in errors(tmp_path / "mail.pdf"))

    out = tmp_path / "out"
    shutil.copytree(original, out)
    for name in ("tables/order.csv", "comparison.ipynb"):
        text = (out / name).read_text(encoding="utf-8")
        (out / name).write_text(text.replace("Goby", "Whelk"), encoding="utf-8")
    found = errors(out)
    assert any(s.startswith("tables/order.csv, line") for s in found)
    assert any(
        s.startswith("comparison.ipynb, cells, cell order")
        and "row 1 (Goby 10), column Device" in s
        for s in found
    )


def test_figures_are_compared_with_those_of_another_version(
    original: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    later = {**versions(), "numpy": "99.0"}
    for module in (verify_taken, verify_anew):
        monkeypatch.setattr(module, "versions", lambda: later)
    # what is made anew says what is installed; here that is still the same
    monkeypatch.setattr(verify_taken.Taken, "reworded", lambda _self, text: text)
    done = verify(original)
    assert done.follows, [d.sentence for d in done.differences]


@pytest.mark.parametrize("named", ["../elsewhere", "/tmp/elsewhere", "", "a/../../b"])
def test_a_list_that_leads_elsewhere_is_refused(original: Path, tmp_path: Path, named: str) -> None:
    page = (original / "comparison.html").read_text(encoding="utf-8")
    given = tmp_path / "mail.html"
    given.write_text(_listed("sessions", 0, "record", "name", to=named)(page), encoding="utf-8")
    with pytest.raises(UsageError, match="names no files of a record"):
        verify(given)


def test_a_folder_that_holds_both_is_refused_and_the_command_says_what_follows(
    original: Path, tmp_path: Path
) -> None:
    run = CliRunner().invoke(cli, ["verify", str(original / "comparison.html"), "-q"])
    assert run.exit_code == 0, run.output
    both = tmp_path / "both"
    shutil.copytree(original, both)
    (both / "report.html").write_text("<p>x</p>", encoding="utf-8")
    with pytest.raises(UsageError, match="a report and a comparison"):
        verify(both)
    with pytest.raises(UsageError, match="holds no report"):
        verify(tmp_path)
