"""A report made while its record is being edited: marked on every page, never kept.

A draft compares the record with the last kept revision and says what a report would say; it is
no revision, and nobody is to take it for one.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from kit.render.document import Document

__all__ = ["DRAFT_LINE", "Keep", "draft_folder", "marked"]

Keep = Literal["revision", "draft"]
"""Whether a report is kept as a revision."""

DRAFT_LINE = (
    "Draft, made while the record is being edited. It is not kept, and is no revision of the "
    "report: do not send it on."
)


def draft_folder(report: Path) -> Path:
    """Return where the drafts of a report go: beside it, so that the report stays as it is.

    Examples
    --------
    >>> draft_folder(Path("day") / "report").as_posix()
    'day/report-draft'
    """
    return report.with_name(f"{report.name}-draft")


def marked(document: Document) -> Document:
    """Return a document with ``draft`` in its head, its window title and on each printed page."""
    session = document.session
    facts = [
        ("Session of", session["date"] or "date not recorded"),
        ("Status", "draft, not kept"),
        ("Data fingerprint", session["fingerprint"]),
    ]
    running = f"Draft, not kept · data {session['fingerprint']}"
    return replace(
        document,
        kind=f"Draft · {document.kind}",
        session={**session, "facts": facts, "running": running},
    )
