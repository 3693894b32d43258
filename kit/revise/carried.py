"""The data that a report carries inside, so that it can be verified with nothing else at hand.

The PDF has them as attachments, the HTML page as links that hold the files themselves:

::

    manifest.json           version, settings, template with its SHA-256, list of the files
    session.toml, log.csv   the record, byte for byte
    corrections.csv         who corrected what, when and why, if anything was
    earlier-revisions.zip   the inputs of the revisions before, if there are any
    results.json            all figures (in the PDF only)
"""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from kit.errors import RenderError
from kit.read.record import CORRECTIONS_NAME

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from kit.results import Settings
    from kit.revise.archive import Revision
    from kit.revise.draft import Keep
    from kit.session import Session

__all__ = [
    "EARLIER_NAME",
    "MANIFEST_NAME",
    "RESULTS_NAME",
    "Carried",
    "DamagedError",
    "carried_data",
    "packed",
    "unpacked",
    "versions",
]

MANIFEST_NAME = "manifest.json"
EARLIER_NAME = "earlier-revisions.zip"
RESULTS_NAME = "results.json"
FORMAT = "rundown-report/1"
PACKAGES = ("numpy", "pandas", "scipy", "matplotlib", "seaborn", "papermill", "nbconvert", "typst")
MIME = {".csv": "text/csv", ".toml": "application/toml", ".tsv": "text/tab-separated-values"}
LARGEST_UNPACKED = 200_000_000
"""Bytes up to which earlier revisions are taken out of a report that somebody sent."""


class DamagedError(RenderError):
    """A file inside a report is not what a report puts there."""


_DAY_ZERO = (1980, 1, 1, 0, 0, 0)


@dataclass(frozen=True, kw_only=True)
class Carried:
    """One file inside a report."""

    name: str
    data: bytes
    mime: str
    description: str
    relationship: Literal["source", "data"]


def carried_data(
    session: Session,
    results: Mapping[str, Any],
    encoded_results: bytes,
    *,
    record: Path,
    inputs: Mapping[str, bytes],
    earlier: Sequence[Revision],
    template: Path,
    settings: Settings,
    epoch: str,
    keep: Keep = "revision",
    archive: str = "revisions",
) -> tuple[Carried, ...]:
    """Return the files that a report carries.

    Parameters
    ----------
    session
        The record.
    results, encoded_results
        Results as plain data, and as they are written.
    record
        What was asked for: the folder of the record, or its log.
    inputs
        Files of the record by name, the log last.
    earlier
        Kept revisions before this one.
    template
        The notebook that was run.
    settings
        Parameters of the analysis.
    epoch
        ``SOURCE_DATE_EPOCH``, or empty.
    keep, archive
        Whether the report is kept as a revision, and the folder of revisions, seen from it.
    """
    made = [
        Carried(
            name=name,
            data=data,
            mime=MIME.get(Path(name).suffix.lower(), "application/octet-stream"),
            description="Input of the report, as it was read",
            relationship="source",
        )
        for name, data in inputs.items()
    ]
    corrections = Path(session.sources[-1].path).with_name(CORRECTIONS_NAME)
    if corrections.is_file() and _tells_history(results):
        made.append(
            Carried(
                name=CORRECTIONS_NAME,
                data=corrections.read_bytes(),
                mime="text/csv",
                description="Who corrected what in the record, when and why",
                relationship="source",
            )
        )
    if earlier:
        made.append(
            Carried(
                name=EARLIER_NAME,
                data=packed(earlier),
                mime="application/zip",
                description="Inputs of the earlier revisions, as they were read",
                relationship="source",
            )
        )
    made.append(
        Carried(
            name=RESULTS_NAME,
            data=encoded_results,
            mime="application/json",
            description="Results for machines, in full precision",
            relationship="data",
        )
    )
    manifest = {
        "format": FORMAT,
        "kit_version": results.get("kit_version", ""),
        "versions": versions(),
        "session": {key: results["session"][key] for key in ("id", "revision", "fingerprint")},
        "record": {"name": record.name, "is_folder": record.is_dir()},
        "settings": asdict(settings),
        "template": {
            "name": template.name,
            "sha256": hashlib.sha256(template.read_bytes()).hexdigest(),
        },
        "source_date_epoch": epoch,
        "keep": keep,
        "archive": archive,
        "inputs": list(inputs),
        "files": [
            {
                "name": file.name,
                "sha256": hashlib.sha256(file.data).hexdigest(),
                "size": len(file.data),
            }
            for file in made
        ],
    }
    text = json.dumps(manifest, ensure_ascii=False, indent=1) + "\n"
    made.append(
        Carried(
            name=MANIFEST_NAME,
            data=text.encode("utf-8"),
            mime="application/json",
            description="What this report was made with, and the files that it carries",
            relationship="data",
        )
    )
    return tuple(made)


def _tells_history(results: Mapping[str, Any]) -> bool:
    tables = results["tables"]
    return "noted_corrections" in tables or "changed_cells" in tables


def versions() -> dict[str, str]:
    """Return the versions of Python and of the libraries that a report comes from."""
    import platform
    from importlib.metadata import PackageNotFoundError, version

    found = {"Python": platform.python_version()}
    for name in PACKAGES:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            found[name] = ""
    return found


def packed(revisions: Sequence[Revision]) -> bytes:
    """Return the inputs of kept revisions as one ZIP file; the same revisions, the same bytes."""
    stream = io.BytesIO()
    # not compressed: the compressor's output depends on its version
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_STORED) as archive:
        for revision in revisions:
            place = revision.folder.name
            info = (revision.folder / "revision.json").read_bytes()
            files = {"revision.json": info}
            files |= {f"inputs/{name}": data for name, data in revision.data().items()}
            for name, data in files.items():
                entry = zipfile.ZipInfo(f"{place}/{name}", date_time=_DAY_ZERO)
                entry.external_attr = 0o644 << 16
                entry.create_system = 3
                archive.writestr(entry, data)
    return stream.getvalue()


def unpacked(data: bytes, folder: Path) -> None:
    """Write the files of `packed` into a folder.

    Raises
    ------
    DamagedError
        If it is no such file, or one that would write elsewhere or fill the disk.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            entries = archive.infolist()
            names = [entry.filename for entry in entries]
            parts = [Path(name).parts for name in names]
            safe = all(2 <= len(p) <= 3 and ".." not in p and p[0].isdecimal() for p in parts)
            if not safe or sum(entry.file_size for entry in entries) > LARGEST_UNPACKED:
                message = f"{EARLIER_NAME} holds what no report puts there; it was not unpacked."
                raise DamagedError(message)
            for entry in entries:
                target = folder / entry.filename
                target.parent.mkdir(parents=True, exist_ok=True)
                target.write_bytes(archive.read(entry))
    except (zipfile.BadZipFile, OSError, ValueError, RuntimeError) as error:
        message = f"{EARLIER_NAME} cannot be read: {error}."
        raise DamagedError(message) from error
