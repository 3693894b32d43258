"""``rundown verify``: whether the numbers of a report follow from the data inside it.

The data are taken out, checked against the list of them, and the report is made anew from them
with the settings that it names. What is made is then compared with what is there: every figure,
every cell, every text, every drawing.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import json
import os
import re
import tempfile
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import kit
from kit.errors import RecordError, RenderError, RundownError, UsageError
from kit.read.record import CORRECTIONS_NAME
from kit.revise.archive import FOLDER
from kit.revise.carried import (
    EARLIER_NAME,
    MANIFEST_NAME,
    RESULTS_NAME,
    DamagedError,
    unpacked,
    versions,
)
from kit.revise.difference import Difference, cut
from kit.revise.html_diff import carried_links, html_differences
from kit.revise.json_diff import json_differences
from kit.revise.pdf_diff import attachments, pdf_differences
from kit.revise.swap import unfinished

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    from kit.results import Settings
    from kit.revise.draft import Keep

__all__ = ["Verification", "verify"]

TOLERANCE = 1e-9
"""Relative difference of figures that other versions of the libraries may make."""

NAMES = {".pdf": "report.pdf", ".html": "report.html", ".htm": "report.html"}


@dataclass(frozen=True, kw_only=True)
class Verification:
    """What came out.

    Parameters
    ----------
    checked
        What was compared, in words.
    differences
        What does not follow, and notes.
    """

    checked: tuple[str, ...]
    differences: tuple[Difference, ...]

    @property
    def follows(self) -> bool:
        """Whether everything in the report follows from the data inside it."""
        return not any(d.severity == "error" for d in self.differences)


def _silent(step: str, fraction: float) -> None:
    """Report no progress."""


def verify(path: Path, *, progress: Callable[[str, float], None] = _silent) -> Verification:
    """Verify a report.

    Parameters
    ----------
    path
        ``report.pdf``, ``report.html``, or the output folder with all parts.
    progress
        Called with what is being done and the share done, 0 to 1.

    Raises
    ------
    UsageError
        If the file is no report with data inside.
    RenderError
        If the report could not be made anew for comparison, or the file cannot be read.
    """
    if path.is_dir():
        return _verify_folder(path, progress)
    form = NAMES.get(path.suffix.lower())
    if form is None:
        message = f"{path.name} is neither a PDF nor an HTML report, nor a folder with one"
        raise UsageError(message)
    taken = _Taken(path)
    with _remade(taken, progress) as made:
        found = [*taken.differences, *made.differences]
        found += _one_file(path, taken, made)
    return Verification(checked=(path.name, *taken.files), differences=tuple(dict.fromkeys(found)))


class _Taken:
    """The data inside one report, checked against the list of them."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.name = path.name
        self.installed = versions()  # once: each version is a look-up in the installed packages
        self.differences: list[Difference] = []
        self.bytes = path.read_bytes()
        self.is_pdf = path.suffix.lower() == ".pdf"
        self.files = self._pdf() if self.is_pdf else self._html()
        if MANIFEST_NAME not in self.files:
            message = (
                f"{path.name} holds no {MANIFEST_NAME}: it is no report of this kit, it was made "
                "by an earlier version, or its data were too large for an HTML page or taken out"
            )
            raise UsageError(message)
        self.manifest = self._manifest()
        self._check_list()

    def _pdf(self) -> dict[str, bytes]:
        files = {}
        for name, contents in attachments(self.bytes).items():
            files[name] = contents[0]
            if len(contents) > 1:
                self._differ(f"attachment {name}", f"{len(contents)} files", "one file")
        return files

    def _html(self) -> dict[str, bytes]:
        files = {}
        for name, href in carried_links(self._text()).items():
            _, _, encoded = href.partition(";base64,")
            try:
                files[name] = base64.b64decode(encoded, validate=True)
            except (binascii.Error, ValueError):
                self._differ(f"file {name}", "a link that cannot be decoded", "the file")
        return files

    def _text(self) -> str:
        try:
            return self.bytes.decode("utf-8")
        except UnicodeDecodeError as error:
            message = f"{self.name} is no text in UTF-8"
            raise UsageError(message) from error

    def _manifest(self) -> dict[str, Any]:
        try:
            made = json.loads(self.files[MANIFEST_NAME])
            self.settings = _settings(made["settings"])
            self.inputs = tuple(str(name) for name in made["inputs"])
            self.fingerprint = str(made["session"]["fingerprint"])
            self.id = str(made["session"]["id"])
            self.record = str(made["record"]["name"])
            self.is_folder = made["record"]["is_folder"] is True
            self.template = str(made["template"]["name"]), str(made["template"]["sha256"])
            self.listed = {str(f["name"]): str(f["sha256"]) for f in made["files"]}
            self.epoch = str(made["source_date_epoch"])
            self.keep: Keep = "draft" if made["keep"] == "draft" else "revision"
            self.archive = str(made["archive"])
            self.versions = {str(k): str(v) for k, v in made["versions"].items()}
            self.kit_version = str(made["kit_version"])
        except (ValueError, KeyError, TypeError, AttributeError) as error:
            message = f"{MANIFEST_NAME} inside {self.name} cannot be read ({error!r})"
            raise UsageError(message) from error
        return dict(made)

    @property
    def same_version(self) -> bool:
        """Whether this kit and these libraries made the report."""
        return self.kit_version == kit.__version__ and self.versions == self.installed

    def reworded(self, text: str) -> str:
        """Return a text of the report made anew with the versions that this one claims."""
        text = text.replace(f"Rundown Kit {kit.__version__}", f"Rundown Kit {self.kit_version}")
        here = {"rundown-kit": kit.__version__, **self.installed}
        for name, version in {"rundown-kit": self.kit_version, **self.versions}.items():
            if text == f"{name} {here.get(name)}":
                return f"{name} {version}"
        return text

    def _differ(self, place: str, found: str, expected: str) -> None:
        self.differences.append(
            Difference(file=self.name, place=place, found=found, expected=expected)
        )

    def _check_list(self) -> None:
        """Check names, SHA-256 and fingerprint of the files."""
        for name, digest in self.listed.items():
            if name == RESULTS_NAME and not self.is_pdf:
                continue
            if name not in self.files:
                self._differ(f"file {name}", "no such file inside", "the file that is listed")
                continue
            actual = hashlib.sha256(self.files[name]).hexdigest()
            if actual != digest:
                self._differ(f"file {name}", f"SHA-256 {actual}", digest)
        for name in self.files.keys() - self.listed.keys() - {MANIFEST_NAME}:
            self._differ(f"file {name}", "a file inside that is not listed", "no such file")
        digests = "".join(
            hashlib.sha256(self.files.get(name, b"")).hexdigest() for name in self.inputs
        )
        actual = hashlib.sha256(digests.encode()).hexdigest()[:12]
        if actual != self.fingerprint:
            self._differ("data fingerprint", actual, self.fingerprint)


def _settings(found: Mapping[str, Any]) -> Settings:
    from kit.results import Settings

    made = Settings(
        coverage=float(found["coverage"]),
        seed=int(found["seed"]),
        draws=int(found["draws"]),
        mix=str(found["mix"]),
    )
    if not (0.5 < made.coverage < 1.0 and made.seed >= 0 and 10_000 <= made.draws <= 10_000_000):
        message = f"settings {found} that no report has"
        raise ValueError(message)
    return made


@dataclass(frozen=True, kw_only=True)
class _Made:
    """The report made anew; ``folder`` is ``None`` if that was not possible."""

    folder: Path | None
    differences: tuple[Difference, ...]


@contextmanager
def _remade(taken: _Taken, progress: Callable[[str, float], None]) -> Iterator[_Made]:
    """Make the report anew in a temporary folder."""
    from kit.places import templates_folder
    from kit.render.report import render_report

    notes = []
    name, digest = taken.template
    own = templates_folder() / Path(name).name
    actual = hashlib.sha256(own.read_bytes()).hexdigest() if own.is_file() else "no such template"
    if actual != digest:
        notes.append(
            Difference(
                file=taken.name,
                place=f"template {cut(name)}",
                found=f"SHA-256 {digest}",
                expected=f"{actual}, the kit's own: the report was made by another notebook",
            )
        )
    notes += _version_notes(taken)
    safe = all(n and Path(n).name == n and n not in (".", "..") for n in taken.inputs)
    if not taken.inputs or not safe:
        message = f"{MANIFEST_NAME} inside {taken.name} names no files of a record"
        raise UsageError(message)
    with tempfile.TemporaryDirectory(prefix="rundown-verify-") as scratch:
        # the notebook names the record, and a session without an id takes the folder's name
        name = taken.record if taken.is_folder else taken.id
        usable = Path(name).name == name and name not in ("", ".", "..")
        record = Path(scratch) / "record" / (name if usable else "record")
        out = Path(scratch) / "out"
        beside = re.fullmatch(rf"\.\./([^/\\:]+)/{FOLDER}", taken.archive)
        archive = out.parent / beside[1] / FOLDER if beside and usable else out / FOLDER
        record.mkdir(parents=True)
        for file in (*taken.inputs, CORRECTIONS_NAME):
            if file in taken.files:
                (record / file).write_bytes(taken.files[file])
        folder: Path | None = out
        try:
            if EARLIER_NAME in taken.files:
                unpacked(taken.files[EARLIER_NAME], archive)
            with _environment(taken.epoch):
                render_report(
                    record if taken.is_folder else record / taken.inputs[-1],
                    out,
                    settings=taken.settings,
                    progress=progress,
                    keep=taken.keep,
                    archive=archive,
                )
        except (RecordError, UsageError, DamagedError) as error:
            folder = None
            first = str(error)
            if isinstance(error, RecordError):
                first = next((f.sentence for f in error.findings if f.severity == "error"), "")
            notes.append(
                Difference(
                    file=taken.name,
                    place="the data inside",
                    found=f"a record that does not pass ({first})",
                    expected="the record that the report was made from",
                )
            )
        except RundownError as error:
            message = f"The report could not be made anew for comparison. {error}"
            raise RenderError(message) from error
        yield _Made(folder=folder, differences=tuple(notes))


def _version_notes(taken: _Taken) -> list[Difference]:
    if taken.same_version:
        return []
    here = {"rundown-kit": kit.__version__, **versions()}
    there = {"rundown-kit": taken.kit_version, **taken.versions}
    names = [n for n in {**here, **there} if here.get(n) != there.get(n)]
    return [
        Difference(
            severity="note",
            file=taken.name,
            place="versions",
            found=", ".join(f"{n} {there.get(n) or '(none)'}" for n in names),
            expected=", ".join(f"{n} {here.get(n) or '(none)'}" for n in names)
            + " as installed here; figures are compared to nine digits, the layout is not",
        )
    ]


@contextmanager
def _environment(epoch: str) -> Iterator[None]:
    """Set ``SOURCE_DATE_EPOCH`` as it was when the report was made."""
    name = "SOURCE_DATE_EPOCH"
    before = os.environ.pop(name, None)
    if epoch:
        os.environ[name] = epoch
    try:
        yield
    finally:
        os.environ.pop(name, None)
        if before is not None:
            os.environ[name] = before


def _one_file(path: Path, taken: _Taken, made: _Made) -> Iterator[Difference]:
    """Yield what differs between one report and the same made anew, if it could be."""
    if made.folder is None:
        return
    expected = (made.folder / NAMES[path.suffix.lower()]).read_bytes()
    if taken.bytes == expected:
        return
    before = len(taken.differences)
    tolerance = 0.0 if taken.same_version else TOLERANCE
    count = 0
    for difference in _parts(taken, made.folder, expected, tolerance):
        count += 1
        yield difference
    if not count and not before and taken.same_version and not made.differences:
        yield Difference(
            severity="note",
            file=taken.name,
            place="form",
            found="other bytes than the kit writes",
            expected="the same content, which is there",
        )


def _parts(taken: _Taken, folder: Path, expected: bytes, tolerance: float) -> Iterator[Difference]:
    manifest = json.loads((folder / MANIFEST_NAME).read_bytes())
    held = dict(taken.manifest)
    if tolerance:
        for key in ("kit_version", "versions", "files", "template"):
            held.pop(key, None)
            manifest.pop(key, None)
    yield from json_differences(held, manifest, file=f"{MANIFEST_NAME} in {taken.name}")
    if RESULTS_NAME in taken.files:
        yield from _results(
            taken.files[RESULTS_NAME],
            (folder / RESULTS_NAME).read_bytes(),
            f"{RESULTS_NAME} in {taken.name}",
            tolerance,
        )
    if taken.is_pdf:
        yield from pdf_differences(
            taken.bytes,
            expected,
            file=taken.name,
            texts_only=bool(tolerance),
            reworded=taken.reworded,
        )
    else:
        yield from html_differences(
            taken.bytes.decode("utf-8"),
            expected.decode("utf-8"),
            file=taken.name,
            texts_only=bool(tolerance),
            reworded=taken.reworded,
        )


def _results(found: bytes, expected: bytes, file: str, tolerance: float) -> Iterator[Difference]:
    if found == expected:
        return
    try:
        data = json.loads(found)
    except ValueError as error:
        yield Difference(file=file, place="", found=f"no JSON ({error})", expected="the results")
        return
    other = json.loads(expected)
    if tolerance:
        for part in (data, other):
            part.pop("kit_version", None)
    yield from json_differences(data, other, file=file, tolerance=tolerance)


def _verify_folder(folder: Path, progress: Callable[[str, float], None]) -> Verification:
    """Verify every part of an output folder."""
    parts = [folder / name for name in ("report.pdf", "report.html") if (folder / name).is_file()]
    if not parts:
        message = f"{folder} holds no report.pdf and no report.html"
        raise UsageError(message)
    if unfinished(folder):
        message = (
            f"{folder} may hold files of two versions: a run is putting files in place there, or "
            "was killed while it did. Make the report again, which first completes that, or "
            "verify report.pdf and report.html one by one."
        )
        raise RenderError(message)
    found: list[Difference] = []
    checked: list[str] = []
    taken = [_Taken(part) for part in parts]
    if len(taken) > 1 and taken[0].manifest != taken[1].manifest:
        found += json_differences(
            taken[1].manifest, taken[0].manifest, file=f"{MANIFEST_NAME} in {taken[1].name}"
        )
    with _remade(taken[0], progress) as made:
        found += made.differences
        for one in taken:
            found += one.differences
            checked.append(one.name)
            found += _one_file(one.path, one, made)
        if made.folder is not None:
            from kit.revise.verify_folder import other_parts

            tolerance = 0.0 if taken[0].same_version else TOLERANCE
            names, more = other_parts(folder, made.folder, tolerance=tolerance)
            checked += names
            found += more
    return Verification(checked=tuple(checked), differences=tuple(dict.fromkeys(found)))
