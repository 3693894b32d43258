"""Revisions of a report, kept in ``revisions/`` of its output folder.

::

    revisions/001/revision.json    number, date, fingerprint, settings, what it changed
                  inputs/          the files it was made from, byte for byte
                  results.json     all figures
                  report.html      the report itself, once a later revision has taken its place
                  report.pdf

A revision is written together with the report that it belongs to, all at once
(`kit.render.publish`).
"""

from __future__ import annotations

import hashlib
import json
import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kit.errors import Finding, RecordError

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["FOLDER", "Revision", "read_archive", "revision_files", "superseded"]

FOLDER = "revisions"
FORMAT = "rundown-revision/1"
INPUTS = "inputs"
INFO = "revision.json"
REPORTS = ("report.html", "report.pdf")


@dataclass(frozen=True, kw_only=True)
class Revision:
    """One kept revision.

    Parameters
    ----------
    number, date, fingerprint
        Its number from 1, the day of its correction (empty if not known), and its data.
    folder
        Where it is kept.
    inputs
        Names of its input files in the order in which they were read, with their SHA-256.
    summary
        Its row of the table of revisions.
    """

    number: int
    date: str
    fingerprint: str
    folder: Path
    inputs: Mapping[str, str]
    summary: Mapping[str, Any] = field(default_factory=dict)

    @property
    def log(self) -> Path:
        """Return the log, which is the last file that was read."""
        return self.folder / INPUTS / list(self.inputs)[-1]

    def data(self) -> dict[str, bytes]:
        """Return the input files by name.

        Raises
        ------
        RecordError
            If one of them is not there or not what it was.
        """
        return {name: self._checked(name, digest) for name, digest in self.inputs.items()}

    def _checked(self, name: str, digest: str) -> bytes:
        path = self.folder / INPUTS / name
        data = path.read_bytes() if path.is_file() else b""
        if hashlib.sha256(data).hexdigest() != digest:
            there = "another content" if path.is_file() else "no such file"
            raise RecordError([_damaged(self.folder, f"{INPUTS}/{name}", there)])
        return data


def _damaged(folder: Path, name: str, found: str) -> Finding:
    return Finding(
        rule="revision-damaged",
        severity="error",
        file=f"{FOLDER}/{folder.name}/{name}",
        found=found,
        expected="the file as it was when the revision was kept",
        remedy=f"Put it back, or move the folder {FOLDER} away to begin a new history.",
    )


def read_archive(folder: Path | None) -> tuple[Revision, ...]:
    """Return the kept revisions in order; none if there is no such folder.

    Raises
    ------
    RecordError
        If a revision cannot be read.
    """
    if folder is None or not folder.is_dir():
        return ()
    found = [p for p in folder.iterdir() if re.fullmatch(r"\d{3,}", p.name) and p.is_dir()]
    return tuple(sorted((_read(p) for p in found), key=lambda r: r.number))


def _read(folder: Path) -> Revision:
    try:
        info = json.loads((folder / INFO).read_text(encoding="utf-8"))
        revision = Revision(
            number=int(info["number"]),
            date=str(info["date"]),
            fingerprint=str(info["fingerprint"]),
            folder=folder,
            inputs={str(f["name"]): str(f["sha256"]) for f in info["inputs"]},
            summary=dict(info["summary"]),
        )
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise RecordError([_damaged(folder, INFO, f"what cannot be read ({error})")]) from error
    names_safe = all(name and Path(name).name == name for name in revision.inputs)
    if not revision.inputs or not names_safe or int(folder.name) != revision.number:
        raise RecordError([_damaged(folder, INFO, "another revision, or no names of files")])
    return revision


def revision_files(
    results: Mapping[str, Any], inputs: Mapping[str, bytes], encoded_results: bytes
) -> dict[str, bytes]:
    """Return the files that keep a revision, by path in the output folder.

    Parameters
    ----------
    results
        Results of the report, as plain data with the table ``revisions``.
    inputs
        The files it was made from, in the order in which they were read.
    encoded_results
        ``results.json`` of the report.
    """
    session = results["session"]
    table = results["tables"]["revisions"]
    summary = dict(zip(table["columns"], table["rows"][-1], strict=True))
    info = {
        "format": FORMAT,
        "number": session["revision"],
        "date": summary["date"],
        "fingerprint": session["fingerprint"],
        "kit_version": results["kit_version"],
        "settings": results["settings"],
        "inputs": [
            {"name": name, "sha256": hashlib.sha256(data).hexdigest()}
            for name, data in inputs.items()
        ],
        "summary": summary,
    }
    place = f"{FOLDER}/{session['revision']:03d}"
    text = json.dumps(info, ensure_ascii=False, indent=1) + "\n"
    return {
        f"{place}/{INFO}": text.encode("utf-8"),
        f"{place}/results.json": encoded_results,
        **{f"{place}/{INPUTS}/{name}": data for name, data in inputs.items()},
    }


def superseded(out: Path, *, fingerprint: str) -> dict[str, bytes]:
    """Return the finished report that other data are about to replace, to be kept.

    Parameters
    ----------
    out
        Output folder with a report in it, or not.
    fingerprint
        Of the data of the new report.

    Returns
    -------
    dict
        Path in the output folder → content; empty if the last revision has the same data, has
        been kept already, or is not the report that is there.
    """
    revisions = read_archive(out / FOLDER)
    if not revisions or revisions[-1].fingerprint == fingerprint:
        return {}
    last = revisions[-1]
    try:
        same = (out / "results.json").read_bytes() == (last.folder / "results.json").read_bytes()
    except OSError:
        return {}
    place = f"{FOLDER}/{last.folder.name}"
    return {
        f"{place}/{name}": (out / name).read_bytes()
        for name in REPORTS
        if same and (out / name).is_file() and not (last.folder / name).exists()
    }
