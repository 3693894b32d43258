"""A report or comparison made anew from the data inside it, in a temporary folder."""

from __future__ import annotations

import hashlib
import os
import re
import tempfile
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING

import kit
from kit.errors import RecordError, RenderError, RundownError, UsageError
from kit.read.record import CORRECTIONS_NAME
from kit.revise.archive import FOLDER
from kit.revise.carried import EARLIER_NAME, MANIFEST_NAME, DamagedError, unpacked, versions
from kit.revise.difference import Difference, cut
from kit.revise.verify_taken import ReportFacts

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from kit.revise.verify_taken import ComparisonFacts, Inputs, Taken

__all__ = ["Made", "made_anew"]


@dataclass(frozen=True, kw_only=True)
class Made:
    """What was made anew; ``folder`` is ``None`` if that was not possible."""

    folder: Path | None
    differences: tuple[Difference, ...]


@contextmanager
def made_anew(taken: Taken, progress: Callable[[str, float], None]) -> Iterator[Made]:
    """Make a report or comparison anew in a temporary folder, which ends with the context.

    Raises
    ------
    UsageError
        If its list names no files of a record.
    RenderError
        If it could not be made for a reason that is not in its data.
    """
    from kit.places import templates_folder

    _require_names(taken)
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
                expected=f"{actual}, the kit's own: it was made by another notebook",
            )
        )
    notes += _version_notes(taken)
    with tempfile.TemporaryDirectory(prefix="rundown-verify-") as scratch:
        folder: Path | None = Path(scratch) / "out"
        try:
            with _environment(taken.epoch):
                if isinstance(taken.facts, ReportFacts):
                    _report(taken, taken.facts, Path(scratch), progress)
                else:
                    _comparison(taken, taken.facts, Path(scratch), progress)
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
                    expected=f"the record that the {taken.kind} was made from",
                )
            )
        except RundownError as error:
            message = f"The {taken.kind} could not be made anew for verification. {error}"
            raise RenderError(message) from error
        yield Made(folder=folder, differences=tuple(notes))


def _report(
    taken: Taken, facts: ReportFacts, scratch: Path, progress: Callable[[str, float], None]
) -> None:
    from kit.render.report import render_report

    # the notebook names the record, and a session without an id takes the folder's name
    name = facts.record if facts.is_folder else facts.id
    usable = _plain(name)
    record = scratch / "record" / (name if usable else "record")
    out = scratch / "out"
    beside = re.fullmatch(rf"\.\./([^/\\:]+)/{FOLDER}", facts.archive)
    archive = out.parent / beside[1] / FOLDER if beside and usable else out / FOLDER
    (inputs,) = taken.inputs
    _write(taken, inputs, record)
    if CORRECTIONS_NAME in taken.files:
        (record / CORRECTIONS_NAME).write_bytes(taken.files[CORRECTIONS_NAME])
    if EARLIER_NAME in taken.files:
        unpacked(taken.files[EARLIER_NAME], archive)
    render_report(
        record if facts.is_folder else record / tuple(inputs.files.values())[-1],
        out,
        settings=facts.settings,
        progress=progress,
        keep=facts.keep,
        archive=archive,
    )


def _comparison(
    taken: Taken, facts: ComparisonFacts, scratch: Path, progress: Callable[[str, float], None]
) -> None:
    from kit.render.compare import render_comparison

    sessions = []
    for inputs in taken.inputs:
        record = scratch / "sessions" / inputs.named
        _write(taken, inputs, record if inputs.is_folder else record.parent)
        sessions.append(record)
    render_comparison(sessions, scratch / "out", settings=facts.settings, progress=progress)


def _write(taken: Taken, inputs: Inputs, folder: Path) -> None:
    """Write the files of a session as they were named."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, original in inputs.files.items():
        if name in taken.files:
            (folder / original).write_bytes(taken.files[name])


def _plain(name: str) -> bool:
    """Whether a name is that of one file or folder, and leads nowhere else."""
    return Path(name).name == name and name not in ("", ".", "..")


def _require_names(taken: Taken) -> None:
    """Refuse a list that names no files, or files elsewhere."""
    safe = bool(taken.inputs) and all(
        inputs.files
        and all(map(_plain, inputs.files.values()))
        and (not inputs.what or _below(inputs.named))
        for inputs in taken.inputs
    )
    if not safe:
        message = f"{MANIFEST_NAME} inside {taken.name} names no files of a record"
        raise UsageError(message)


def _below(named: str) -> bool:
    """Whether a path leads down from a folder and nowhere else."""
    parts = PurePosixPath(named).parts
    return bool(parts) and all(map(_plain, parts)) and not Path(named).is_absolute()


def _version_notes(taken: Taken) -> list[Difference]:
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
