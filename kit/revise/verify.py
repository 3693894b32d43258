"""``rundown verify``: whether the numbers of a report follow from the data inside it.

The data are taken out, checked against the list of them, and the report, or the comparison of
several sessions, is made anew from them with the settings that it names. What is made is then
compared with what is there: every figure, every cell, every text, every drawing.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING

from kit.errors import RenderError, UsageError
from kit.revise.carried import MANIFEST_NAME, RESULTS_NAME
from kit.revise.difference import Difference
from kit.revise.html_diff import html_differences
from kit.revise.json_diff import json_differences
from kit.revise.pdf_diff import pdf_differences
from kit.revise.swap import unfinished
from kit.revise.verify_anew import made_anew
from kit.revise.verify_taken import Kind, Taken

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from kit.revise.verify_anew import Made

__all__ = ["Verification", "verify"]

TOLERANCE = 1e-9
"""Relative difference of figures that other versions of the libraries may make."""

ENDINGS = {".pdf": ".pdf", ".html": ".html", ".htm": ".html"}
KINDS: tuple[Kind, ...] = ("report", "comparison")


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
    """Verify a report, or a comparison of sessions.

    Parameters
    ----------
    path
        ``report.pdf``, ``report.html``, ``comparison.pdf``, ``comparison.html``, whatever they
        are called now, or the output folder with all parts.
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
    if path.suffix.lower() not in ENDINGS:
        message = f"{path.name} is neither a PDF nor an HTML report, nor a folder with one"
        raise UsageError(message)
    taken = Taken(path)
    with made_anew(taken, progress) as made:
        found = [*taken.differences, *made.differences]
        found += _one_file(path, taken, made)
    return Verification(checked=(path.name, *taken.files), differences=tuple(dict.fromkeys(found)))


def _one_file(path: Path, taken: Taken, made: Made) -> Iterator[Difference]:
    """Yield what differs between one file and the same made anew, if it could be."""
    if made.folder is None:
        return
    expected = (made.folder / f"{taken.kind}{ENDINGS[path.suffix.lower()]}").read_bytes()
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


def _parts(taken: Taken, folder: Path, expected: bytes, tolerance: float) -> Iterator[Difference]:
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
    parts = {
        kind: [f for ending in (".pdf", ".html") if (f := folder / f"{kind}{ending}").is_file()]
        for kind in KINDS
    }
    there = [kind for kind in KINDS if parts[kind]]
    if not there:
        message = f"{folder} holds no report.pdf, report.html, comparison.pdf or comparison.html"
        raise UsageError(message)
    if len(there) > 1:
        message = f"{folder} holds a report and a comparison; verify their files one by one"
        raise UsageError(message)
    if unfinished(folder):
        message = (
            f"{folder} may hold files of two versions: a run is putting files in place there, or "
            "was killed while it did. Make it again, which first completes that, or verify "
            f"{there[0]}.pdf and {there[0]}.html one by one."
        )
        raise RenderError(message)
    found: list[Difference] = []
    checked: list[str] = []
    taken = [Taken(part) for part in parts[there[0]]]
    if len(taken) > 1 and taken[0].manifest != taken[1].manifest:
        found += json_differences(
            taken[1].manifest, taken[0].manifest, file=f"{MANIFEST_NAME} in {taken[1].name}"
        )
    with made_anew(taken[0], progress) as made:
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
