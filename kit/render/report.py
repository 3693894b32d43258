"""From a record to its report: notebook, HTML, PDF, ``results.json`` and CSV tables.

::

    record ──check──▶ kernel runs the notebook ──▶ document ──▶ report.html
                                  │                       └───▶ report.pdf
                                  ├─▶ report.ipynb, results.json, tables/*.csv
                                  └─▶ manifest.json, revisions/NNN/

Nothing is written before everything is made; then all of it is put in place at once.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
from contextlib import nullcontext
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kit.errors import RenderError, in_order
from kit.places import templates_folder
from kit.render import html, pdf
from kit.render.csv_tables import QUOTED_CELLS, csv_files
from kit.render.document import document_of
from kit.render.notebook_run import notebook_text, run_notebook, start_kernel
from kit.render.publish import publish
from kit.render.warm import GaveUpError, WarmKernel
from kit.revise.archive import FOLDER, read_archive, revision_files, superseded
from kit.revise.carried import MANIFEST_NAME, carried_data
from kit.revise.draft import marked
from kit.revise.lock import alone_in
from kit.revise.swap import finish, unfinished

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from jupyter_client.manager import AsyncKernelManager
    from nbformat import NotebookNode

    from kit.errors import Finding
    from kit.render.document import Document
    from kit.results import Settings
    from kit.revise.draft import Keep
    from kit.session import Session, Source

__all__ = ["CHECKSUMS", "PRELOAD", "TEMPLATE", "Outputs", "checksums", "render_report"]

TEMPLATE = "session_report.ipynb"
FAILED = "report.failed.ipynb"
NOTICE = "correction-notice.txt"
CHECKSUMS = "SHA256SUMS"
"""The SHA-256 of every other file of the report, kept revisions aside."""

# what the notebook's cells import late; the kernel loads it while this process loads papermill
PRELOAD = ("kit.report", "kit.analyse", "kit.show.pictures", "scipy.stats", "seaborn")
ARCHIVE = "archive"
KEEP = "keep"
"""Parameters of a notebook that tells the history of its record; another need not have them."""


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
    revision
        Number of this revision of the report.
    headline
        Whether the conclusion changed against the revision before; empty for a first one.
    """

    notebook: Path
    html: Path
    pdf: Path
    results: Path
    tables: Path
    findings: tuple[Finding, ...]
    revision: int
    headline: str = ""


def _silent(step: str, fraction: float) -> None:
    """Report no progress."""


def render_report(
    record: Path,
    out: Path,
    *,
    settings: Settings,
    progress: Callable[[str, float], None] = _silent,
    template: Path | None = None,
    keep: Keep = "revision",
    archive: Path | None = None,
    kernel: AsyncKernelManager | WarmKernel | None = None,
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
        ``coverage``, ``seed`` and ``draws``, ``digits`` and ``mix`` where they are given, and
        ``archive`` and ``keep`` if it tells the history.
    keep
        ``"revision"``: the inputs and results are kept in ``revisions/`` (`kit.revise.archive`).
        ``"draft"``: they are not, and the report says so (`kit.revise.draft`); earlier revisions
        stay.
    archive
        Folder of earlier revisions, ``revisions`` in ``out`` if not given; where a draft goes
        elsewhere than the report it is of.
    kernel
        A started kernel to run the notebook in, used up by this, or a warm one, which is not;
        else one is started.

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
    out = Path(os.path.abspath(out))  # noqa: PTH100
    kept = out / FOLDER if archive is None else Path(os.path.abspath(archive))  # noqa: PTH100
    with alone_in(out):
        # what a killed run left half moved is completed before anything is read
        for folder in (out, record if record.is_dir() else record.parent):
            if unfinished(folder):
                finish(folder)
        return _render(record, out, settings, progress, template, keep, kept, kernel)


def _render(
    record: Path,
    out: Path,
    settings: Settings,
    progress: Callable[[str, float], None],
    template: Path | None,
    keep: Keep,
    archive: Path,
    given: AsyncKernelManager | WarmKernel | None,
) -> Outputs:
    notebook = templates_folder() / TEMPLATE if template is None else template
    progress("Starting the notebook", 0.0)
    folder = record.parent if record.parent.is_dir() else Path.cwd()
    started = start_kernel(folder, preload=PRELOAD) if given is None else nullcontext(given)
    with started as kernel:
        progress("Checking the record", 0.03)
        session, findings = _checked(record)
        progress("Loading the page maker", 0.08)
        html.prepare()
        parameters: dict[str, str | int | float | bool] = {
            "record": record.name,
            "coverage": settings.coverage,
            "seed": settings.seed,
            "draws": settings.draws,
        }
        if settings.digits > 1:
            parameters["digits"] = settings.digits
        if settings.mix:
            parameters["mix"] = settings.mix
        if _declares(notebook, ARCHIVE):
            parameters[ARCHIVE] = str(archive)
        if _declares(notebook, KEEP) and keep != "revision":
            parameters[KEEP] = keep
        executed = _executed(
            notebook,
            parameters,
            kernel,
            folder,
            failed=out / FAILED,
            on_section=lambda heading, done: progress(heading, 0.15 + 0.7 * done),
        )
    seen = Path(os.path.relpath(archive, out)).as_posix()
    _name_archive(executed, seen)
    document = document_of(executed)
    if keep == "draft":
        document = marked(document)
    _require_same_data(document, session)
    progress("Setting the HTML page", 0.87)
    results = _json(document.results).encode("utf-8")
    tables = csv_files(document.results["tables"])
    inputs = {source.name: _input(source) for source in session.sources}
    earlier = [
        revision
        for revision in read_archive(archive)
        if revision.number < document.results["session"]["revision"]
    ]
    inside = carried_data(
        session,
        document.results,
        results,
        record=record,
        inputs=inputs,
        earlier=earlier,
        template=notebook,
        settings=settings,
        epoch=os.environ.get("SOURCE_DATE_EPOCH", ""),
        keep=keep,
        archive=seen,
    )
    files = {
        "report.ipynb": notebook_text(executed),
        **{f"tables/{name}": text for name, text in tables.items()},
        "report.html": html.html_page(executed, document, carried=inside),
    }
    encoded = {name: text.encode("utf-8") for name, text in files.items()}
    encoded["results.json"] = results
    encoded |= {m.name: m.data for m in inside if m.name == MANIFEST_NAME}
    progress("Setting the PDF", 0.92)
    encoded["report.pdf"] = pdf.pdf_bytes(
        document,
        attachments=tuple(pdf.Attachment(**vars(file)) for file in inside),
        timestamp=pdf.timestamp_of(document.session["date"], os.environ),
    )
    progress("Writing the files", 0.98)
    row = _last_revision(document.results)
    headline = row.get("sentence", "")
    obsolete = [FAILED, *_earlier_tables(out)]
    if row.get("notice"):
        encoded[NOTICE] = f"{row['notice']}\n".encode()
    else:
        obsolete.append(NOTICE)
    sums = checksums(encoded)
    if row:
        encoded |= superseded(out, fingerprint=session.fingerprint)
        if keep == "revision":
            encoded |= revision_files(document.results, inputs, results)
    encoded[CHECKSUMS] = sums  # the last to be put in place: where it fits, all is there
    # the next save makes the next draft: it need not outlast a power cut
    publish(out, encoded, obsolete=obsolete, until="handed_over" if keep == "draft" else "on_disk")
    progress("Done", 1.0)
    return Outputs(
        notebook=out / "report.ipynb",
        html=out / "report.html",
        pdf=out / "report.pdf",
        results=out / "results.json",
        tables=out / "tables",
        findings=findings,
        revision=int(document.results["session"]["revision"]),
        headline=headline,
    )


def _executed(
    notebook: Path,
    parameters: Mapping[str, str | int | float | bool],
    kernel: AsyncKernelManager | WarmKernel,
    folder: Path,
    **options: Any,
) -> NotebookNode:
    """Run the notebook; one that a warm kernel leaves alone gets a kernel of its own."""
    if not isinstance(kernel, WarmKernel):
        return run_notebook(notebook, parameters, kernel=kernel, **options)
    try:
        with kernel.notebook(folder):
            return run_notebook(notebook, parameters, kernel=kernel, **options)
    except GaveUpError:
        with start_kernel(folder, preload=PRELOAD) as own:
            return run_notebook(notebook, parameters, kernel=own, **options)


def checksums(files: Mapping[str, bytes]) -> bytes:
    """Return the SHA-256 of each file, a line each, as ``sha256sum --check`` reads it.

    Examples
    --------
    >>> checksums({"b.txt": b"abc", "a.txt": b""}).decode().splitlines()[1][:18]
    'ba7816bf8f01cfea41'
    """
    lines = (
        f"{hashlib.sha256(data).hexdigest()}  {name}\n" for name, data in sorted(files.items())
    )
    return "".join(lines).encode("utf-8")


def _declares(notebook: Path, name: str) -> bool:
    """Whether a notebook declares a parameter that another need not have."""
    cells = json.loads(notebook.read_text(encoding="utf-8"))["cells"]
    tagged = (c for c in cells if "parameters" in c["metadata"].get("tags", ()))
    return any(re.search(rf"^{name}\s*=", "".join(c["source"]), re.MULTILINE) for c in tagged)


def _name_archive(notebook: NotebookNode, seen: str) -> None:
    """Name the folder of earlier revisions as it is seen from the finished notebook.

    Where on this computer both are is nobody's business.
    """
    for cell in notebook.cells:
        if "injected-parameters" in cell.metadata.get("tags", []):
            cell.source = re.sub(
                rf"^{ARCHIVE} = .*$",
                lambda _: f"{ARCHIVE} = {json.dumps(seen, ensure_ascii=False)}",
                cell.source,
                flags=re.MULTILINE,
            )


def _last_revision(results: Mapping[str, Any]) -> dict[str, Any]:
    """Return the row of this revision; empty if the notebook tells no history."""
    table = results["tables"].get("revisions")
    return dict(zip(table["columns"], table["rows"][-1], strict=True)) if table else {}


def _checked(record: Path) -> tuple[Session, tuple[Finding, ...]]:
    """Read and check the record: what is wrong with it ends here, before a cell runs."""
    from kit.checks import check_session
    from kit.read.record import read_record

    session, met = read_record(record)
    return session, in_order((*met, *check_session(session)))


def _require_same_data(document: Document, session: Session) -> None:
    """Refuse a report of other data than were checked and will be attached."""
    if document.results["session"]["fingerprint"] != session.fingerprint:
        message = "The record changed while its report was being made. Run again."
        raise RenderError(message)


def _input(source: Source) -> bytes:
    """Return an input file as it was read."""
    data = Path(source.path).read_bytes()
    if hashlib.sha256(data).hexdigest() != source.sha256:
        message = f"{source.name} changed while the report was being made. Run again."
        raise RenderError(message)
    return data


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
