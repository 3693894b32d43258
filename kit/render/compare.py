"""From sessions to their comparison: notebook, HTML, PDF, ``results.json`` and CSV tables.

::

    sessions ──check──▶ kernel runs the notebook ──▶ document ──▶ comparison.html
                                    │                       └───▶ comparison.pdf
                                    └─▶ comparison.ipynb, results.json, tables/*.csv, manifest.json

By the way of a report: nothing is written before everything is made, then all of it is put in
place at once. The page and the PDF carry the input files of every session.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kit.compare.members import fingerprint, in_order, members_of
from kit.compare.records import read_records
from kit.errors import RenderError, UsageError
from kit.places import templates_folder
from kit.render import html, pdf
from kit.render.csv_tables import QUOTED_CELLS, csv_files
from kit.render.document import document_of
from kit.render.notebook_run import notebook_text, run_notebook, start_kernel
from kit.render.publish import publish
from kit.revise.carried import MANIFEST_NAME, MIME, RESULTS_NAME, Carried, versions
from kit.revise.lock import alone_in

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from kit.compare.members import Member
    from kit.compare.settings import CompareSettings

__all__ = ["ComparisonOutputs", "render_comparison"]

TEMPLATE = "compare_sessions.ipynb"
NAME = "comparison"
FAILED = f"{NAME}.failed.ipynb"
PRELOAD = ("kit.compare_report", "kit.compare.figure", "scipy.special", "seaborn")
FORMAT = "rundown-comparison/1"
_UNUSABLE = re.compile(r"[^A-Za-z0-9._-]+")


@dataclass(frozen=True, kw_only=True)
class ComparisonOutputs:
    """Where the parts of a comparison are, and its first sentence."""

    notebook: Path
    html: Path
    pdf: Path
    results: Path
    tables: Path
    headline: str


def _silent(step: str, fraction: float) -> None:
    """Report no progress."""


def render_comparison(
    sessions: Sequence[Path],
    out: Path,
    *,
    settings: CompareSettings,
    progress: Callable[[str, float], None] = _silent,
) -> ComparisonOutputs:
    """Make the comparison of sessions.

    Parameters
    ----------
    sessions
        Folders of sessions, or their CSVs alone; at least two.
    out
        Output folder; made if it is not there. Files of an earlier comparison are replaced.
    settings
        Coverage, which devices are the same, which conditions may differ.
    progress
        Called with what is being done and the share done, 0 to 1.

    Raises
    ------
    RecordError
        If a record did not pass; nothing is written.
    UsageError
        With fewer than two sessions, one twice, or a folder that holds something else.
    NotebookError
        If a cell failed; the notebook is kept as ``comparison.failed.ipynb``, the rest untouched.
    RenderError
        If an output could not be made or written; the last comparison is untouched.
    """
    # absolute without following links: the notebook is given the names that the user knows
    paths = [Path(os.path.abspath(path)) for path in sessions]  # noqa: PTH100
    out = Path(os.path.abspath(out))  # noqa: PTH100
    _require_free(out, paths)
    with alone_in(out):
        return _render(paths, out, settings, progress)


def _require_free(out: Path, paths: Sequence[Path]) -> None:
    """Refuse a folder in which a session or its report would be overwritten."""
    if out in paths:
        message = f"{out.name} is one of the sessions; name another folder with --out"
        raise UsageError(message)
    if (out / "report.html").exists():
        message = f"{out.name} holds the report of a session; name another folder with --out"
        raise UsageError(message)


def _render(
    paths: Sequence[Path],
    out: Path,
    settings: CompareSettings,
    progress: Callable[[str, float], None],
) -> ComparisonOutputs:
    progress("Starting the notebook", 0.0)
    base, names = _from_one_folder(paths)
    with start_kernel(base, preload=PRELOAD) as kernel:
        progress("Checking the records", 0.03)
        records = read_records(paths)
        members = members_of(records)
        # the order in which they are named plays no part
        order = in_order(session for session, _ in records)
        names = tuple(names[k] for k in order)
        html.prepare()
        executed = run_notebook(
            templates_folder() / TEMPLATE,
            {
                "sessions": "\n".join(names),
                "coverage": settings.coverage,
                "same": "\n".join(f"{a}={b}" for a, b in settings.same),
                "accept": "\n".join(sorted(settings.accept)),
                "session_cv": settings.session_cv or 0.0,
                "length_tolerance_pct": settings.length_tolerance_pct,
            },
            kernel=kernel,
            failed=out / FAILED,
            on_section=lambda heading, done: progress(heading, 0.15 + 0.7 * done),
        )
    document = document_of(executed)
    if document.session["fingerprint"] != fingerprint(members):
        message = "A record changed while the sessions were being compared. Run again."
        raise RenderError(message)
    progress("Setting the HTML page", 0.87)
    results = json.dumps(document.results, ensure_ascii=False, allow_nan=False, indent=1) + "\n"
    inside = _carried(
        members,
        tuple((name, paths[k].is_dir()) for name, k in zip(names, order, strict=True)),
        document.results,
        results.encode("utf-8"),
        epoch=os.environ.get("SOURCE_DATE_EPOCH", ""),
    )
    files = {
        f"{NAME}.ipynb": notebook_text(executed).encode("utf-8"),
        f"{NAME}.html": html.html_page(executed, document, carried=inside).encode("utf-8"),
        RESULTS_NAME: results.encode("utf-8"),
        **{
            f"tables/{name}": text.encode("utf-8")
            for name, text in csv_files(document.results["tables"]).items()
        },
        **{m.name: m.data for m in inside if m.name == MANIFEST_NAME},
    }
    progress("Setting the PDF", 0.92)
    files[f"{NAME}.pdf"] = pdf.pdf_bytes(
        document,
        attachments=tuple(pdf.Attachment(**vars(file)) for file in inside),
        timestamp=pdf.timestamp_of(document.session["date"], os.environ),
    )
    progress("Writing the files", 0.98)
    publish(out, files, obsolete=(FAILED, f"tables/{QUOTED_CELLS}"))
    progress("Done", 1.0)
    return ComparisonOutputs(
        notebook=out / f"{NAME}.ipynb",
        html=out / f"{NAME}.html",
        pdf=out / f"{NAME}.pdf",
        results=out / RESULTS_NAME,
        tables=out / "tables",
        headline=str(document.results["glance"][0]),
    )


def _from_one_folder(paths: Sequence[Path]) -> tuple[Path, tuple[str, ...]]:
    """Return the folder that holds all sessions, and their paths as seen from there."""
    parents = [str(path.parent) for path in paths]
    try:
        base = Path(os.path.commonpath(parents))
    except ValueError:  # on several drives
        return paths[0].parent, tuple(str(path) for path in paths)
    return base, tuple(path.relative_to(base).as_posix() for path in paths)


def _carried(
    members: Sequence[Member],
    asked: Sequence[tuple[str, bool]],
    results: Mapping[str, Any],
    encoded: bytes,
    *,
    epoch: str,
) -> tuple[Carried, ...]:
    """Return the input files of every session, the results, and the list of them.

    ``asked`` holds for each member what was asked for, and whether that is a folder.
    """
    made: list[Carried] = []
    listed = []
    for number, member in enumerate(members, start=1):
        place = f"{number:02d}-{_UNUSABLE.sub('-', member.key).strip('-.') or 'session'}"
        names = []
        for source in member.session.sources:
            data = Path(source.path).read_bytes()
            if hashlib.sha256(data).hexdigest() != source.sha256:
                message = f"{source.name} changed while the sessions were compared. Run again."
                raise RenderError(message)
            name = f"{place}-{source.name}"
            names.append(name)
            made.append(
                Carried(
                    name=name,
                    data=data,
                    mime=MIME.get(Path(source.name).suffix.lower(), "application/octet-stream"),
                    description=f"Input of session {number}, as it was read",
                    relationship="source",
                )
            )
        listed.append(
            {
                "key": member.key,
                "fingerprint": member.session.fingerprint,
                "record": {"name": asked[number - 1][0], "is_folder": asked[number - 1][1]},
                "inputs": names,
                "names": [source.name for source in member.session.sources],
            }
        )
    made.append(
        Carried(
            name=RESULTS_NAME,
            data=encoded,
            mime="application/json",
            description="Results for machines, in full precision",
            relationship="data",
        )
    )
    template = templates_folder() / TEMPLATE
    manifest = {
        "format": FORMAT,
        "kit_version": results["kit_version"],
        "versions": versions(),
        "fingerprint": results["session"]["fingerprint"],
        "sessions": listed,
        "settings": results["settings"],
        "source_date_epoch": epoch,
        "template": {
            "name": template.name,
            "sha256": hashlib.sha256(template.read_bytes()).hexdigest(),
        },
        "files": [
            {
                "name": file.name,
                "sha256": hashlib.sha256(file.data).hexdigest(),
                "size": len(file.data),
            }
            for file in made
        ],
    }
    made.append(
        Carried(
            name=MANIFEST_NAME,
            data=(json.dumps(manifest, ensure_ascii=False, indent=1) + "\n").encode("utf-8"),
            mime="application/json",
            description="What this comparison was made with, and the files that it carries",
            relationship="data",
        )
    )
    return tuple(made)
