"""The data inside one report or comparison, checked against the list of them."""

from __future__ import annotations

import base64
import binascii
import hashlib
import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import kit
from kit.errors import UsageError
from kit.revise.carried import MANIFEST_NAME, RESULTS_NAME, versions
from kit.revise.difference import Difference
from kit.revise.html_diff import carried_links
from kit.revise.pdf_diff import attachments

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from kit.compare.settings import CompareSettings
    from kit.results import Settings
    from kit.revise.draft import Keep

__all__ = ["ComparisonFacts", "Inputs", "Kind", "ReportFacts", "Taken"]

Kind = Literal["report", "comparison"]
"""What was made, and the name of its files."""

COMPARISON_FORMAT = "rundown-comparison/"


@dataclass(frozen=True, kw_only=True)
class ReportFacts:
    """What the list inside a report says of its making.

    Parameters
    ----------
    settings
        Parameters of the analysis.
    record, is_folder, id
        What was asked for: name of the record, whether it is a folder, and the session's id.
    keep, archive
        Whether it was kept as a revision, and the folder of revisions, seen from the report.
    """

    settings: Settings
    record: str
    is_folder: bool
    id: str
    keep: Keep
    archive: str


@dataclass(frozen=True, kw_only=True)
class ComparisonFacts:
    """What the list inside a comparison says of its making."""

    settings: CompareSettings


@dataclass(frozen=True, kw_only=True)
class Inputs:
    """The input files of one session.

    Parameters
    ----------
    what
        The session as a sentence calls it; empty for that of a report.
    fingerprint
        As listed.
    files
        Name inside the report → name of the file as it was read, the log last.
    named, is_folder
        What was asked for, as seen from the folder that holds all of them.
    """

    what: str = ""
    fingerprint: str
    files: Mapping[str, str]
    named: str = ""
    is_folder: bool = True


class Taken:
    """The data inside one report or comparison, checked against the list of them.

    Parameters
    ----------
    path
        A PDF or a page.

    Raises
    ------
    UsageError
        If it holds no list of its files, or one that cannot be read.
    RenderError
        If it is no PDF that can be read.
    """

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
            self.kind: Kind = (
                "comparison" if str(made["format"]).startswith(COMPARISON_FORMAT) else "report"
            )
            self.template = str(made["template"]["name"]), str(made["template"]["sha256"])
            self.listed = {str(f["name"]): str(f["sha256"]) for f in made["files"]}
            self.epoch = str(made["source_date_epoch"])
            self.versions = {str(k): str(v) for k, v in made["versions"].items()}
            self.kit_version = str(made["kit_version"])
            self.facts: ReportFacts | ComparisonFacts
            self.inputs: tuple[Inputs, ...]
            if self.kind == "comparison":
                self.facts = ComparisonFacts(settings=_compare_settings(made["settings"]))
                self.inputs = tuple(_inputs(session) for session in made["sessions"])
                self.fingerprint = str(made["fingerprint"])
            else:
                self.facts = _report_facts(made)
                self.fingerprint = str(made["session"]["fingerprint"])
                names = {str(name): str(name) for name in made["inputs"]}
                self.inputs = (Inputs(fingerprint=self.fingerprint, files=names),)
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
        found = [self._fingerprint(session) for session in self.inputs]
        if self.kind == "comparison":
            whole = "".join(session.fingerprint for session in self.inputs)
            found.append(hashlib.sha256(whole.encode()).hexdigest()[:12])
        if found[-1] != self.fingerprint:
            self._differ("data fingerprint", found[-1], self.fingerprint)
        for session, actual in zip(self.inputs, found, strict=False):
            if session.what and actual != session.fingerprint:
                self._differ(f"data fingerprint of {session.what}", actual, session.fingerprint)

    def _fingerprint(self, session: Inputs) -> str:
        digests = "".join(
            hashlib.sha256(self.files.get(name, b"")).hexdigest() for name in session.files
        )
        return hashlib.sha256(digests.encode()).hexdigest()[:12]


def _settings(found: Mapping[str, Any]) -> Settings:
    from kit.results import Settings

    made = Settings(
        coverage=float(found["coverage"]),
        seed=int(found["seed"]),
        draws=int(found["draws"]),
        digits=int(found.get("digits", 1)),
        mix=str(found["mix"]),
    )
    fits = 0.5 < made.coverage < 1.0 and made.seed >= 0 and made.digits in (1, 2)
    if not (fits and 10_000 <= made.draws <= 10_000_000):
        message = f"settings {found} that no report has"
        raise ValueError(message)
    return made


def _report_facts(made: Mapping[str, Any]) -> ReportFacts:
    return ReportFacts(
        settings=_settings(made["settings"]),
        record=str(made["record"]["name"]),
        is_folder=made["record"]["is_folder"] is True,
        id=str(made["session"]["id"]),
        keep="draft" if made["keep"] == "draft" else "revision",
        archive=str(made["archive"]),
    )


def _inputs(session: Mapping[str, Any]) -> Inputs:
    names = [str(name) for name in session["inputs"]]
    originals = [str(name) for name in session["names"]]
    return Inputs(
        what=f"session {session['key']}",
        fingerprint=str(session["fingerprint"]),
        files=dict(zip(names, originals, strict=True)),
        named=str(session["record"]["name"]),
        is_folder=session["record"]["is_folder"] is True,
    )


def _compare_settings(found: Mapping[str, Any]) -> CompareSettings:
    from kit.compare.settings import CompareSettings

    cv = found["session_cv"]
    try:
        return CompareSettings(
            coverage=float(found["coverage"]),
            same=tuple((str(a), str(b)) for a, b in found["same"]),
            accept=frozenset(str(key) for key in found["accept"]),
            session_cv=None if cv is None else float(cv),
            length_tolerance_pct=float(found["length_tolerance_pct"]),
        )
    except UsageError as error:
        raise ValueError(str(error)) from error
