"""From a record to its report: notebook, HTML, PDF, ``results.json`` and CSV tables.

::

    record ──check──▶ kernel runs the notebook ──▶ document ──▶ report.html
                                  │                       └───▶ report.pdf
                                  └─▶ report.ipynb, results.json, tables/*.csv

Nothing is written before everything is made; then all of it is put in place at once.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kit import html, pdf
from kit.csv_tables import QUOTED_CELLS, csv_files
from kit.document import document_of
from kit.errors import RenderError, in_order
from kit.notebook_run import notebook_text, run_notebook, start_kernel
from kit.places import templates_folder
from kit.publish import publish

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from kit.document import Document
    from kit.errors import Finding
    from kit.results import Settings
    from kit.session import Session, Source

__all__ = ["Outputs", "render_report"]

TEMPLATE = "session_report.ipynb"
FAILED = "report.failed.ipynb"
# what the notebook's cells import late; the kernel loads it while this process loads papermill
PRELOAD = ("kit.report", "kit.analyse", "kit.pictures", "scipy.stats", "seaborn")
MIME = {".csv": "text/csv", ".toml": "application/toml", ".tsv": "text/tab-separated-values"}


@dataclass(frozen=True, kw_only=True)
class Outputs:
    """Where the parts of a finished report are, and what the checks found.

    Parameters
    ----------
    notebook, html, pdf, results
        Files.
    tables
        Folder of the CSV tables.
    findings
        Cautions and notes of the record, in order.
    """

    notebook: Path
    html: Path
    pdf: Path
    results: Path
    tables: Path
    findings: tuple[Finding, ...]


def _silent(step: str, fraction: float) -> None:
    """Report no progress."""


def render_report(
    record: Path,
    out: Path,
    *,
    settings: Settings,
    progress: Callable[[str, float], None] = _silent,
    template: Path | None = None,
) -> Outputs:
    """Make the report of a record.

    Parameters
    ----------
    record
        Folder of a session, or its CSV alone.
    out
        Output folder; made if it is not there. Files of an earlier report are replaced.
    settings
        Parameters of the analysis.
    progress
        Called with what is being done and the share done, 0 to 1.
    template
        Notebook to run instead of the kit's own; it declares the parameters ``record``,
        ``coverage``, ``seed`` and ``draws``.

    Raises
    ------
    RecordError
        If the record did not pass; nothing is written.
    UsageError
        If there is no such record, or the notebook lacks a parameter.
    NotebookError
        If a cell failed; the notebook is kept as ``report.failed.ipynb``, the rest untouched.
    RenderError
        If an output could not be made or written; the last report is untouched.
    """
    # absolute without following links: the notebook is given the name that the user knows
    record = Path(os.path.abspath(record))  # noqa: PTH100
    notebook = templates_folder() / TEMPLATE if template is None else template
    progress("Starting the notebook", 0.0)
    folder = record.parent if record.parent.is_dir() else Path.cwd()
    with start_kernel(folder, preload=PRELOAD) as kernel:
        progress("Checking the record", 0.03)
        session, findings = _checked(record)
        progress("Loading the page maker", 0.08)
        html.prepare()
        executed = run_notebook(
            notebook,
            {
                "record": record.name,
                "coverage": settings.coverage,
                "seed": settings.seed,
                "draws": settings.draws,
            },
            kernel=kernel,
            failed=out / FAILED,
            on_section=lambda heading, done: progress(heading, 0.15 + 0.7 * done),
        )
    document = document_of(executed)
    _require_same_data(document, session)
    progress("Setting the HTML page", 0.87)
    results = _json(document.results)
    tables = csv_files(document.results["tables"])
    files = {
        "report.ipynb": notebook_text(executed),
        "results.json": results,
        **{f"tables/{name}": text for name, text in tables.items()},
        "report.html": html.html_page(executed, document),
    }
    encoded = {name: text.encode("utf-8") for name, text in files.items()}
    progress("Setting the PDF", 0.92)
    encoded["report.pdf"] = pdf.pdf_bytes(
        document,
        attachments=(
            *(_attachment(source) for source in session.sources),
            pdf.Attachment(
                name="results.json",
                data=encoded["results.json"],
                mime="application/json",
                description="Results for machines, in full precision",
                relationship="data",
            ),
        ),
        timestamp=pdf.timestamp_of(document.session["date"], os.environ),
    )
    progress("Writing the files", 0.98)
    publish(out, encoded, obsolete=(FAILED, *_earlier_tables(out)))
    progress("Done", 1.0)
    return Outputs(
        notebook=out / "report.ipynb",
        html=out / "report.html",
        pdf=out / "report.pdf",
        results=out / "results.json",
        tables=out / "tables",
        findings=findings,
    )


def _checked(record: Path) -> tuple[Session, tuple[Finding, ...]]:
    """Read and check the record: what is wrong with it ends here, before a cell runs."""
    from kit.checks import check_session
    from kit.record import read_record

    session, met = read_record(record)
    return session, in_order((*met, *check_session(session)))


def _require_same_data(document: Document, session: Session) -> None:
    """Refuse a report of other data than were checked and will be attached."""
    if document.results["session"]["fingerprint"] != session.fingerprint:
        message = "The record changed while its report was being made. Run again."
        raise RenderError(message)


def _attachment(source: Source) -> pdf.Attachment:
    """Return an input file as it was read."""
    path = Path(source.path)
    data = path.read_bytes()
    if hashlib.sha256(data).hexdigest() != source.sha256:
        message = f"{source.name} changed while the report was being made. Run again."
        raise RenderError(message)
    return pdf.Attachment(
        name=source.name,
        data=data,
        mime=MIME.get(path.suffix.lower(), "application/octet-stream"),
        description="Input of the report, as it was read",
        relationship="source",
    )


def _json(results: Mapping[str, Any]) -> str:
    """Return the results as JSON text: keys in the order they were made, no NaN."""
    return json.dumps(results, ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def _earlier_tables(out: Path) -> tuple[str, ...]:
    """Return the table files that an earlier report left, by its own ``results.json``."""
    try:
        names = json.loads((out / "results.json").read_text(encoding="utf-8"))["tables"]
    except (OSError, ValueError, KeyError, TypeError):
        return ()
    # a file that somebody else wrote there must not name anything outside
    ours = (name for name in names if re.fullmatch(r"[a-z][a-z0-9_]*", str(name)))
    return (f"tables/{QUOTED_CELLS}", *(f"tables/{name}.csv" for name in ours))
