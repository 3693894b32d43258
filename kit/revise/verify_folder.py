"""The parts of an output folder beside the HTML and the PDF, against the same made anew."""

from __future__ import annotations

import json
from difflib import SequenceMatcher
from typing import TYPE_CHECKING, Any

from kit.errors import RecordError
from kit.revise.archive import FOLDER, read_archive
from kit.revise.difference import Difference, cut_both
from kit.revise.json_diff import json_differences

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

__all__ = ["other_parts"]

NOTEBOOKS = ("report.ipynb", "comparison.ipynb")
SET = ("report.html", "report.pdf", "comparison.html", "comparison.pdf")
VERSIONED = ("kit_version", "versions", "files", "template")


def other_parts(
    folder: Path, made: Path, *, tolerance: float
) -> tuple[list[str], list[Difference]]:
    """Return the names of the parts that were compared, and what differs.

    Parameters
    ----------
    folder
        The output folder.
    made
        The same, made anew.
    tolerance
        As `kit.revise.json_diff.json_differences` takes it; not 0: only figures are compared.
    """
    found: list[Difference] = []
    names = sorted(
        path.relative_to(made).as_posix()
        for path in made.rglob("*")
        if path.is_file() and path.name not in SET and FOLDER not in path.parts
    )
    for name in names:
        found += _part(folder / name, made / name, name, tolerance)
    kept, differences = _kept(folder, made, tolerance)
    for name in _extra(folder, made):
        found.append(
            Difference(
                severity="note", file=name, place="", found="a file of another origin",
                expected="no such file; it was not looked at",
            )
        )  # fmt: skip
    return [*names, *kept], [*found, *differences]


def _part(path: Path, made: Path, name: str, tolerance: float) -> Iterator[Difference]:
    expected = made.read_bytes()
    if not path.is_file():
        yield Difference(file=name, place="", found="no such file", expected="the file")
        return
    found = path.read_bytes()
    if found == expected:
        return
    if name.endswith((".json", ".ipynb")):
        yield from _json(found, expected, name, tolerance)
    elif not tolerance:
        yield from _lines(found, expected, name)


def _json(found: bytes, expected: bytes, name: str, tolerance: float) -> Iterator[Difference]:
    try:
        one = json.loads(found)
    except ValueError as error:
        yield Difference(file=name, place="", found=f"no JSON ({error})", expected="the file")
        return
    other = json.loads(expected)
    if tolerance:
        if name in NOTEBOOKS:
            return
        for part in (one, other):
            for key in VERSIONED:
                part.pop(key, None)
    count = 0
    for difference in json_differences(_named(one), _named(other), file=name, tolerance=tolerance):
        count += 1
        yield difference
    if not count and not tolerance:
        yield Difference(
            severity="note", file=name, place="form", found="other bytes than the kit writes",
            expected="the same content, which is there",
        )  # fmt: skip


def _named(document: Any) -> Any:
    """Return a notebook with its cells by id, for places that people can find."""
    if not isinstance(document, dict) or not isinstance(document.get("cells"), list):
        return document
    cells = {f"cell {c.get('id', i)}": c for i, c in enumerate(document["cells"], start=1)}
    return {**document, "cells": cells} if len(cells) == len(document["cells"]) else document


def _lines(found: bytes, expected: bytes, name: str) -> Iterator[Difference]:
    one, other = (data.decode("utf-8", "replace").splitlines() for data in (found, expected))
    matcher = SequenceMatcher(None, one, other, autojunk=False)
    for tag, i, j, k, n in matcher.get_opcodes():
        if tag != "equal":
            texts = cut_both(" / ".join(one[i:j]) or None, " / ".join(other[k:n]) or None)
            yield Difference(file=name, place=f"line {i + 1}", found=texts[0], expected=texts[1])


def _kept(folder: Path, made: Path, tolerance: float) -> tuple[list[str], list[Difference]]:
    """Return what is wrong with the kept revisions."""
    try:
        here, there = (read_archive(place / FOLDER) for place in (folder, made))
        for revision in here:
            revision.data()
    except RecordError as error:
        finding = error.findings[0]
        return [FOLDER], [
            Difference(file=finding.file, place="", found=finding.found, expected=finding.expected)
        ]
    found: list[Difference] = []
    ours = {r.number: r for r in here}
    for revision in there:
        other = ours.get(revision.number)
        if other is None:
            draft = revision is there[-1]
            found.append(
                Difference(
                    severity="note" if draft else "error",
                    file=f"{FOLDER}/{revision.number:03d}",
                    place="",
                    found="no such revision",
                    expected="the revision, unless the report is a draft"
                    if draft
                    else "the revision that the report names",
                )
            )
            continue
        for path in sorted(revision.folder.rglob("*")):
            if path.is_file() and not (tolerance and revision is there[-1]):
                name = path.relative_to(revision.folder).as_posix()
                shown = f"{FOLDER}/{other.folder.name}/{name}"
                found += _part(other.folder / name, path, shown, tolerance)
    for number in ours.keys() - {r.number for r in there}:
        found.append(
            Difference(
                file=f"{FOLDER}/{number:03d}", place="", found="a revision",
                expected="none that the report does not name",
            )
        )  # fmt: skip
    return [FOLDER], found


def _extra(folder: Path, made: Path) -> list[str]:
    """Return files in the folder of tables that the report does not have."""
    here, there = ({p.name for p in (place / "tables").glob("*")} for place in (folder, made))
    return [f"tables/{name}" for name in sorted(here - there)]
