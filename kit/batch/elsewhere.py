"""Sessions behind an address (``s3://…``, ``memory://…``), by fsspec.

A session is fetched into a temporary folder, its report made there, and what is new put back:
kept revisions first, then the report, ``SHA256SUMS`` last of all. While files are being replaced
there is no ``SHA256SUMS``, so a report that was put back in part is never taken for a whole one:
the next run makes it again, and the same record gives the same bytes.
"""

from __future__ import annotations

import tempfile
import tomllib
from dataclasses import replace
from importlib import import_module
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any

from kit.batch.find import is_left_out, is_session
from kit.errors import ExitCode, UsageError
from kit.read.record import CORRECTIONS_NAME, SETUP_NAME
from kit.render.report import CHECKSUMS
from kit.revise.archive import FOLDER, INFO
from kit.revise.carried import MANIFEST_NAME

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kit.batch.jobs import Job, Outcome
    from kit.batch.process import WarmProcess

__all__ = ["is_address", "made_elsewhere", "needed", "sessions_at"]

REMEDY = "Install it with: pip install 'rundown-kit[distributed]'"


def is_address(place: str) -> bool:
    """Return whether a place is an address rather than a path.

    Examples
    --------
    >>> is_address("s3://survey/day-1"), is_address("survey/day-1")
    (True, False)
    """
    return "://" in place


def needed(name: str, *, why: str) -> Any:
    """Return a module of the extra ``distributed``.

    Raises
    ------
    UsageError
        If it is not installed; says what for and how to get it.
    """
    try:
        return import_module(name)
    except ImportError as error:
        package = name.partition(".")[0]
        message = f"{why} needs the package {package}, which is not installed. {REMEDY}"
        raise UsageError(message) from error


def _opened(address: str) -> tuple[Any, str]:
    """Return the file system of an address and the path in it."""
    core = needed("fsspec.core", why=f"An address like {address}")
    try:
        system, path = core.url_to_fs(address)
    except (ImportError, ValueError) as error:
        message = f"{address} cannot be reached: {error}"
        raise UsageError(message) from error
    return system, str(path).rstrip("/")


def sessions_at(address: str) -> Iterator[tuple[str, str]]:
    """Yield (address, name) of each session at or below an address, in order."""
    system, root = _opened(address)
    if system.isfile(root):
        path = PurePosixPath(address)
        is_setup = path.name == SETUP_NAME
        parent = address[: -len(path.name)].rstrip("/")
        yield (parent, PurePosixPath(parent).name) if is_setup else (address, path.stem)
        return
    folders: dict[PurePosixPath, list[str]] = {}
    for file in system.find(root):
        inside = PurePosixPath(str(file).strip("/")).relative_to(root.strip("/"))
        folders.setdefault(inside.parent, []).append(inside.name)
    found: list[PurePosixPath] = []
    for folder, names in sorted(folders.items()):
        above = (folder, *folder.parents)
        if (
            is_session(names)
            and not any(map(is_left_out, folder.parts))
            and not any(p in found for p in above)
        ):
            found.append(folder)
            whole = folder == PurePosixPath()
            yield (
                address if whole else f"{address}/{folder}",
                PurePosixPath(root).name if whole else str(folder),
            )


def made_elsewhere(job: Job, process: WarmProcess) -> Outcome:
    """Return what becomes of a job whose files are behind addresses."""
    from kit.batch.jobs import Outcome
    from kit.batch.make import made_here

    with tempfile.TemporaryDirectory(prefix="rundown-batch-") as scratch:
        try:
            record = _fetch_record(job.record, Path(scratch) / "record")
            out = Path(scratch) / "out" / PurePosixPath(job.out).name
            before = _fetch_report(job.out, out)
            made = made_here(job, record, out, process)
            if made.status == "made":
                _put_back(job.out, out, before)
        except OSError as error:
            said = f"{type(error).__name__}: {error}"
            return Outcome(
                name=job.name,
                record=job.record,
                out=job.out,
                status="failed",
                why=f"Its files could not be fetched or put back ({said}).",
                exit_code=int(ExitCode.RENDER),
            )
        return replace(made, record=job.record, out=job.out)


def _fetch_record(address: str, into: Path) -> Path:
    """Fetch the files of a record; return where it is here, under the name that it has there."""
    system, root = _opened(address)
    name = PurePosixPath(root).name
    alone = system.isfile(root)
    folder = str(PurePosixPath(root).parent) if alone else root
    here = into / (PurePosixPath(folder).name or "record")
    here.mkdir(parents=True)
    there = {
        PurePosixPath(str(entry["name"])).name: str(entry["name"])
        for entry in system.ls(folder, detail=True)
        if entry["type"] == "file"
    }
    wanted = {SETUP_NAME, CORRECTIONS_NAME} | ({name} if alone else set())
    if not alone:  # what may be the log; pictures and films of the day stay where they are
        wanted |= {n for n in there if n.lower().endswith(".csv")}
        if SETUP_NAME in there:
            wanted.add(_log_named_in(system.cat_file(there[SETUP_NAME])))
    for file in wanted & there.keys():
        here.joinpath(file).write_bytes(system.cat_file(there[file]))
    return here / name if alone else here


def _log_named_in(setup: bytes) -> str:
    try:
        return str(tomllib.loads(setup.decode("utf-8"))["session"]["log"])
    except (ValueError, KeyError, TypeError):
        return ""


def _fetch_report(address: str, into: Path) -> dict[str, bytes]:
    """Fetch what an earlier run left; return it by path.

    A kept revision without its description was not put back whole, and is none.
    """
    system, root = _opened(address)
    if not system.exists(root):
        return {}
    held = {}
    for file in system.find(root):
        name = str(PurePosixPath(str(file).strip("/")).relative_to(root.strip("/")))
        held[name] = str(file)
    whole = {str(PurePosixPath(name).parent) for name in held if PurePosixPath(name).name == INFO}
    fetched = {}
    for name, file in held.items():
        parts = PurePosixPath(name).parts
        if any(part.startswith(".") for part in parts):
            continue
        if parts[0] == FOLDER and "/".join(parts[:2]) not in whole:
            fetched[name] = b""  # known to be there, to be replaced or taken away
            continue
        fetched[name] = system.cat_file(file)
        into.joinpath(name).parent.mkdir(parents=True, exist_ok=True)
        into.joinpath(name).write_bytes(fetched[name])
    return fetched


def _place(name: str) -> tuple[int, str, bool, str]:
    """Return the place of a file in the order in which files are put back.

    Examples
    --------
    >>> names = ["SHA256SUMS", "revisions/002/revision.json", "report.pdf", "manifest.json",
    ...          "revisions/002/results.json", "revisions/001/report.pdf"]
    >>> for name in sorted(names, key=_place):
    ...     print(name)
    revisions/001/report.pdf
    revisions/002/results.json
    revisions/002/revision.json
    report.pdf
    manifest.json
    SHA256SUMS
    """
    path = PurePosixPath(name)
    if path.parts[0] == FOLDER:
        return 0, "/".join(path.parts[:2]), path.name == INFO, name
    return {MANIFEST_NAME: 2, CHECKSUMS: 3}.get(name, 1), "", False, name


def _put_back(address: str, out: Path, before: dict[str, bytes]) -> None:
    """Put back what is new, and take away what the report has no longer."""
    system, root = _opened(address)
    files = {
        path.relative_to(out).as_posix(): path.read_bytes()
        for path in out.rglob("*")
        if path.is_file()
    }
    changed = [name for name in sorted(files, key=_place) if before.get(name) != files[name]]
    if not changed:
        return
    if CHECKSUMS in before:
        system.rm_file(f"{root}/{CHECKSUMS}")
    if CHECKSUMS not in changed:
        changed.append(CHECKSUMS)
    for name in changed:
        place = f"{root}/{name}"
        system.makedirs(place.rpartition("/")[0], exist_ok=True)
        system.pipe_file(place, files[name])
    for name in before.keys() - files.keys():
        system.rm_file(f"{root}/{name}")
