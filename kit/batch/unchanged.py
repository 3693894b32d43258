"""Whether a report that is there is the one that would be made now.

Nothing is run for that: what a report was made from stands in its ``manifest.json``, and what it
consists of in ``SHA256SUMS``, which is the last file to be put in place.
"""

from __future__ import annotations

import hashlib
import json
from functools import cache
from typing import TYPE_CHECKING, Any

import kit
from kit.errors import RundownError
from kit.read.record import CORRECTIONS_NAME, record_files
from kit.render.report import CHECKSUMS, FAILED
from kit.revise.archive import FOLDER, read_archive
from kit.revise.carried import EARLIER_NAME, MANIFEST_NAME, packed, versions
from kit.revise.corrections import net, read_corrections
from kit.revise.swap import unfinished

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

__all__ = ["NO_REPORT", "why_make"]

NO_REPORT = "there was no report yet"
WHOLE = frozenset({MANIFEST_NAME, "report.html", "report.pdf", "report.ipynb", "results.json"})
"""What a whole report has at least."""


def why_make(
    record: Path, out: Path, *, settings: Mapping[str, Any], template: Path, epoch: str
) -> str:
    """Return in words why a report is to be made; empty if the one that is there is the same.

    Parameters
    ----------
    record, out
        Session and output folder.
    settings
        All fields of `kit.results.Settings`.
    template
        Notebook that would be run.
    epoch
        ``SOURCE_DATE_EPOCH``, or empty.
    """
    if not (out / CHECKSUMS).is_file():
        return "no whole report was there" if (out / "report.html").exists() else NO_REPORT
    if unfinished(out):
        return "the last run was interrupted while it put files in place"
    if (out / FAILED).exists():
        return "the last run failed"
    try:
        manifest = json.loads((out / MANIFEST_NAME).read_text(encoding="utf-8"))
        return (
            _other_kit(manifest)
            or _other_making(manifest, record, settings, template, epoch)
            or _other_inputs(manifest, record)
            or _other_history(manifest, out)
            or _other_outputs(out)
        )
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return "the report that was there cannot be read"
    except RundownError as error:
        return str(error).splitlines()[0]


@cache
def _versions() -> dict[str, str]:
    return versions()


def _other_kit(manifest: Mapping[str, Any]) -> str:
    made_with = {"rundown-kit": manifest["kit_version"], **manifest["versions"]}
    for name, now in {"rundown-kit": kit.__version__, **_versions()}.items():
        if made_with.get(name) != now:
            return f"made with {name} {made_with.get(name) or '(none)'}, which is {now} now"
    return ""


def _other_making(
    manifest: Mapping[str, Any],
    record: Path,
    settings: Mapping[str, Any],
    template: Path,
    epoch: str,
) -> str:
    if manifest.get("keep", "revision") != "revision":
        return "the report that was there is a draft"
    before = manifest["settings"]
    for name in sorted({*before, *settings}):
        if before.get(name) != settings.get(name):
            return f"other settings: {name} was {before.get(name)}, is {settings.get(name)}"
    if manifest["template"] != {"name": template.name, "sha256": _digest(template)}:
        return "another template"
    if manifest["source_date_epoch"] != epoch:
        return "another SOURCE_DATE_EPOCH"
    if manifest["record"] != {"name": record.name, "is_folder": record.is_dir()}:
        return f"made of {manifest['record']['name']}, which has another name now"
    return ""


def _other_inputs(manifest: Mapping[str, Any], record: Path) -> str:
    files = record_files(record)
    names = [path.name for path in files]
    if names != manifest["inputs"]:
        return f"made from {', '.join(manifest['inputs'])}, which is {', '.join(names)} now"
    held = {file["name"]: file["sha256"] for file in manifest["files"]}
    for path in files:
        if held.get(path.name) != _digest(path):
            return f"{path.name} changed"
    corrections = files[-1].with_name(CORRECTIONS_NAME)
    now = _digest(corrections) if corrections.is_file() else None
    if held.get(CORRECTIONS_NAME) == now:
        return ""
    first = CORRECTIONS_NAME not in held and EARLIER_NAME not in held
    if first and not net(read_corrections(corrections.read_bytes())):
        return ""  # a first report carries no corrections that were all taken back before it
    return f"{CORRECTIONS_NAME} changed"


def _other_history(manifest: Mapping[str, Any], out: Path) -> str:
    """Return whether the report is not the last kept revision, or has other ones before it."""
    session = manifest["session"]
    kept = read_archive(out / FOLDER)
    last = kept[-1] if kept else None
    if last is None or (last.number, last.fingerprint) != (
        session["revision"],
        session["fingerprint"],
    ):
        return "its revision is not kept"
    last.data()
    held = {file["name"]: file["sha256"] for file in manifest["files"]}
    earlier = hashlib.sha256(packed(kept[:-1])).hexdigest() if len(kept) > 1 else None
    return "earlier revisions changed" if held.get(EARLIER_NAME) != earlier else ""


def _other_outputs(out: Path) -> str:
    """Return which file of the report is not as it was made."""
    lines = (out / CHECKSUMS).read_text(encoding="utf-8").splitlines()
    listed = {name: digest for digest, _, name in (line.partition("  ") for line in lines)}
    if WHOLE - listed.keys():
        return f"{CHECKSUMS} does not list a whole report"
    for name, digest in listed.items():
        if not (out / name).is_file():
            return f"{name} was missing"
        if _digest(out / name) != digest:
            return f"{name} was altered"
    return ""


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
