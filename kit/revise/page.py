"""Revision history on the page: what changed, what moved, what was said before and is now."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from kit.display import Block, Column, Prose, Table
from kit.revise.draft import DRAFT_LINE
from kit.revise.notice import MOVED_WORDS
from kit.revise.statements import CONCLUSION
from kit.units import MISSING, NOT_RECORDED, count, number, quantity, signed, u_decimals

if TYPE_CHECKING:
    import pandas as pd

    from kit.results import Results

__all__ = ["revision_line", "revisions"]

MOST_MOVES = 15
MOST_STATEMENTS = 20
CONCLUSION_WORDS = {
    "first": "first revision",
    "changed": "changed",
    "partly": "changed in part",
    "stands": "did not change",
    "unmoved": "did not change",
    "not_comparable": "cannot be compared",
}
KIND_WORDS = {
    "leader": "Who lasted longest",
    "lead": "The first sentence of the report",
    "outlasted": "Pairs of devices, runtime",
    "mean_outlasted": "Pairs of devices, mean runtime",
    "claim": "Claims",
    "declared": "The pair declared beforehand, drain",
    "drained": "Pairs of devices, drain",
    "place": "Places by runtime",
    "standing": "Places after a phase",
    "runtime_status": "How a runtime is known",
    "drain_status": "How a drain is known",
    "caution": "Cautions of the checks",
}
NO_NOTICE = "A draft has no notice: it is written with the report."
ONE_ONLY = "A figure that only one of the two revisions has stands first; – is the one without it."
FIRST = "This is the first revision kept; nothing has been corrected since."


def _history(results: Results) -> tuple[Any | None, Any | None]:
    """Return the row of this revision if it has a predecessor, and the noted corrections."""
    frame = results.extra.get("revisions")
    here = _rows(frame)[-1] if frame is not None and len(frame) else None
    if here is not None and here.conclusion == "first":
        here = None
    return here, results.extra.get("noted_corrections")


def revision_line(results: Results) -> tuple[Prose, ...]:
    """Return whether the conclusion changed, and whether this is a draft; nothing if neither."""
    here, noted = _history(results)
    draft = is_draft(results)
    blocks = [Block(kind="caution", text=DRAFT_LINE)] if draft else []
    if here is not None:
        opening = "" if draft else f"Revision {here.number}, corrected. "
        text = f"{opening}{here.sentence}"
    elif noted is not None and len(noted):
        cells = count(len(noted), "cell")
        verb = "was" if len(noted) == 1 else "were"
        text = (
            f"{cells[0].upper()}{cells[1:]} of the record {verb} corrected before this report was "
            "first made; Revision history lists them."
        )
    else:
        text = ""
    blocks += [Block(kind="paragraph", text=text)] if text else []
    return (Prose(blocks=tuple(blocks)),) if blocks else ()


def is_draft(results: Results) -> bool:
    """Whether these are the results of a draft."""
    frame = results.extra.get("revisions")
    return frame is not None and len(frame) > 0 and str(frame["kept"].iat[-1]) == "draft"


def revisions(results: Results) -> tuple[Table | Prose, ...]:
    """Return the revision history: revisions, cells, figures and statements that changed."""
    here, noted = _history(results)
    if here is None and noted is None:
        return (Prose(blocks=(Block(text=FIRST),)),)
    page: list[Table | Prose] = []
    if here is not None:
        page.append(Prose(blocks=(Block(text=here.sentence),)))
        page += [_revisions(results.extra["revisions"]), _cells(results.extra["changed_cells"])]
        for name, made in (
            ("moved_results", _moves), ("changed_statements", _statements),
            ("statement_counts", _counts),
        ):  # fmt: skip
            frame = results.extra.get(name)
            if frame is not None and len(frame):
                page.append(made(frame))
    if noted is not None and len(noted):
        page.append(_noted(noted))
    if here is not None:
        heading = Block(kind="heading", text="For a public correction notice")
        page.append(Prose(blocks=(heading, Block(text=here.notice or NO_NOTICE))))
    return tuple(page)


def _revisions(frame: pd.DataFrame) -> Table:
    return Table(
        id="revisions",
        caption="Revisions of this report",
        columns=(
            Column(name="Revision", align="right", numeric_sort=True),
            Column(name="Date"),
            Column(name="Data fingerprint"),
            Column(name="Cells, rows and keys changed", align="right", numeric_sort=True),
            Column(name="Figures moved", align="right"),
            Column(name="Conclusion"),
        ),
        rows=tuple(
            (
                "draft" if r.kept == "draft" else str(r.number),
                r.date or NOT_RECORDED,
                r.fingerprint,
                MISSING if r.conclusion == "first" else str(r.cells_changed),
                f"{r.figures_moved} of {r.figures}" if r.figures else MISSING,
                CONCLUSION_WORDS.get(r.conclusion, r.conclusion),
            )
            for r in _rows(frame)
        ),
        notes=(
            "The date of a first revision is that of the session, that of a later one the day "
            "noted with its corrections. Earlier revisions are kept in the folder “revisions”.",
        ),
    )


def _rows(frame: pd.DataFrame) -> list[Any]:
    return list(frame.itertuples(index=False))


def _where(row: Any) -> str:
    place = f"{row.file}, line {row.line}" if row.line else row.file
    return f"{place}, {row.column}" if row.column else place


def _cells(frame: pd.DataFrame) -> Table:
    rows = []
    for r in _rows(frame):
        blank = "(blank)"
        rows.append(
            (
                str(r.revision),
                _where(r),
                r.what or MISSING,
                MISSING if r.kind == "added" else r.old or blank,
                MISSING if r.kind == "removed" else r.new or blank,
                ", ".join(p for p in (r.by, r.date) if p) or NOT_RECORDED,
                r.reason or NOT_RECORDED,
            )
        )
    return Table(
        id="changed-cells",
        caption="What was corrected in the record",
        columns=(
            Column(name="Revision", align="right"),
            Column(name="Where"),
            Column(name="Observation"),
            Column(name="Before"),
            Column(name="Now"),
            Column(name="Who and when"),
            Column(name="Why"),
        ),
        rows=tuple(rows),
        notes=()
        if rows
        else (
            "No cell is different: only the form of the files changed (order, quotation marks, "
            "line ends, comments).",
        ),
    )


def _moves(frame: pd.DataFrame) -> Table:
    rows = []
    found = _rows(frame)
    for r in found[:MOST_MOVES]:
        places = u_decimals(r.scale_size) if r.scale else 3
        ratio = MISSING
        if math.isfinite(r.moved_per_scale):
            ratio = number(r.moved_per_scale, 2 if r.moved_per_scale < 1 else 1)
        rows.append(
            (
                MOVED_WORDS.get(r.quantity, r.quantity),
                r.of,
                quantity(r.old, r.unit, places),
                quantity(r.new, r.unit, places),
                signed(r.moved, places),
                ratio,
                {"u": "u", "half_interval": "half interval"}.get(r.scale, MISSING),
            )
        )
    rest = len(found) - MOST_MOVES
    return Table(
        id="moved-results",
        caption="Figures that moved, the largest move against its uncertainty first",
        columns=(
            Column(name="Figure"),
            Column(name="Of"),
            Column(name="Before", align="right"),
            Column(name="Now", align="right"),
            Column(name="Moved by", align="right", numeric_sort=True),
            Column(name="Moved, in units of its uncertainty", align="right", numeric_sort=True),
            Column(name="Uncertainty"),
        ),
        rows=tuple(rows),
        notes=(
            "Both revisions were worked out anew with the same settings and version. A figure "
            "counts as moved from one hundredth of its uncertainty on. u: the standard "
            "uncertainty; half interval: half the coverage interval, where no u is stated.",
            *((ONE_ONLY,) if any(not math.isfinite(r.moved_per_scale) for r in found) else ()),
            *(
                (f"{count(rest, 'smaller move')} not shown; moved_results.csv has all.",)
                if rest > 0
                else ()
            ),
        ),
    )


def _statements(frame: pd.DataFrame) -> Table:
    found = _rows(frame)
    rest = len(found) - MOST_STATEMENTS
    return Table(
        id="changed-statements",
        caption="What was said before and is no longer, the conclusion first",
        columns=(Column(name="About"), Column(name="Before"), Column(name="Now")),
        rows=tuple((r.about, r.old, r.new) for r in found[:MOST_STATEMENTS]),
        notes=(f"{count(rest, 'more')} in changed_statements.csv.",) if rest > 0 else (),
    )


def _counts(frame: pd.DataFrame) -> Table:
    return Table(
        id="statement-counts",
        caption="How many statements changed and how many stand",
        columns=(
            Column(name="Statements"),
            Column(name="Part of the conclusion"),
            Column(name="Changed", align="right", numeric_sort=True),
            Column(name="Stand", align="right", numeric_sort=True),
        ),
        rows=tuple(
            (
                KIND_WORDS.get(r.kind, r.kind),
                "yes" if r.kind in CONCLUSION else "no",
                str(r.changed),
                str(r.compared - r.changed),
            )
            for r in _rows(frame)
        ),
    )


def _noted(frame: pd.DataFrame) -> Table:
    return Table(
        id="noted-corrections",
        caption="Corrections noted with the record that no kept revision shows",
        columns=(
            Column(name="Where"),
            Column(name="Before"),
            Column(name="Now"),
            Column(name="Who and when"),
            Column(name="Why"),
        ),
        rows=tuple(
            (
                _where(r),
                r.old or "(blank)",
                r.new or "(blank)",
                ", ".join(p for p in (r.by, r.date) if p) or NOT_RECORDED,
                r.reason or NOT_RECORDED,
            )
            for r in _rows(frame)
        ),
    )
