"""From a plan to its run sheet: notebook, HTML and PDF, by the way of a report.

::

    plan ──read──▶ kernel runs the notebook ──▶ document ──▶ run-sheet.html
                                                       └───▶ run-sheet.pdf (A4 or Letter)

Nothing is written before everything is made; then all of it is put in place at once.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from kit.places import templates_folder
from kit.plan.file import read_plan
from kit.render import html, pdf
from kit.render.document import document_of
from kit.render.notebook_run import notebook_text, run_notebook, start_kernel
from kit.render.publish import publish

if TYPE_CHECKING:
    from collections.abc import Callable

    from kit.errors import Finding
    from kit.render.pdf import Paper

__all__ = ["SheetOutputs", "render_run_sheet"]

TEMPLATE = "run_sheet.ipynb"
NAME = "run-sheet"
FAILED = f"{NAME}.failed.ipynb"
PRELOAD = ("kit.run_sheet", "scipy.special")


@dataclass(frozen=True, kw_only=True)
class SheetOutputs:
    """Where the parts of a run sheet are, and what was found in the plan."""

    notebook: Path
    html: Path
    pdf: Path
    findings: tuple[Finding, ...]


def _silent(step: str, fraction: float) -> None:
    """Report no progress."""


def render_run_sheet(
    plan: Path,
    out: Path,
    *,
    paper: Paper = "a4",
    progress: Callable[[str, float], None] = _silent,
) -> SheetOutputs:
    """Make the run sheet of a plan.

    Parameters
    ----------
    plan
        Plan file.
    out
        Output folder; made if it is not there. Files of an earlier sheet are replaced.
    paper
        Size of the PDF's pages.
    progress
        Called with what is being done and the share done, 0 to 1.

    Raises
    ------
    RecordError
        If the plan is faulty; nothing is written.
    UsageError
        If there is no such plan.
    NotebookError
        If a cell failed; the notebook is kept as ``run-sheet.failed.ipynb``, the rest untouched.
    RenderError
        If an output could not be made or written; the last sheet is untouched.
    """
    # absolute without following links: the notebook is given the name that the user knows
    plan = Path(os.path.abspath(plan))  # noqa: PTH100
    progress("Reading the plan", 0.0)
    _, findings = read_plan(plan)
    progress("Starting the notebook", 0.1)
    with start_kernel(plan.parent, preload=PRELOAD) as kernel:
        html.prepare()
        executed = run_notebook(
            templates_folder() / TEMPLATE,
            {"plan": plan.name},
            kernel=kernel,
            failed=out / FAILED,
            on_section=lambda heading, done: progress(heading, 0.2 + 0.6 * done),
        )
    document = document_of(executed)
    progress("Setting the HTML page", 0.85)
    page = html.html_page(executed, document)
    progress("Setting the PDF", 0.9)
    files = {
        f"{NAME}.ipynb": notebook_text(executed).encode("utf-8"),
        f"{NAME}.html": page.encode("utf-8"),
        f"{NAME}.pdf": pdf.pdf_bytes(
            document,
            timestamp=pdf.timestamp_of(document.session["date"], os.environ),
            paper=paper,
        ),
    }
    progress("Writing the files", 0.98)
    publish(out, files, obsolete=(FAILED,))
    progress("Done", 1.0)
    return SheetOutputs(
        notebook=out / f"{NAME}.ipynb",
        html=out / f"{NAME}.html",
        pdf=out / f"{NAME}.pdf",
        findings=findings,
    )
