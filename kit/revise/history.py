"""Earlier revisions of a record as frames of its results.

`past_of` reads what is kept (the archive, the corrections, the files themselves); `with_history`
says what changed since and what follows, by the same analysis with the same settings for both.
"""

from __future__ import annotations

import hashlib
from dataclasses import astuple, dataclass, replace
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kit.errors import RecordError, RenderError
from kit.read.record import SETUP_NAME
from kit.revise.archive import Revision, read_archive
from kit.revise.corrections import Correction, corrections_of, explaining, net
from kit.revise.log_diff import diff_logs
from kit.revise.setup_diff import diff_setups

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import pandas as pd

    from kit.results import Results, Settings
    from kit.revise.changes import CellChange
    from kit.revise.compare import Comparison
    from kit.revise.draft import Keep
    from kit.session import Session

__all__ = ["HISTORY_COLUMNS", "Past", "past_of", "with_history"]

HISTORY_COLUMNS: Mapping[str, tuple[str, ...]] = {
    # conclusion: first | changed | partly | stands | unmoved | not_comparable
    # kept: revision | draft (of this row alone: the others are kept)
    "revisions": (
        "number",
        "date",
        "fingerprint",
        "cells_changed",
        "figures",
        "figures_moved",
        "statements",
        "statements_changed",
        "conclusion",
        "sentence",
        "notice",
        "kept",
    ),
    # kind: changed | added | removed; what was different from the revision before
    "changed_cells": (
        "revision",
        "kind",
        "file",
        "line",
        "column",
        "what",
        "old",
        "new",
        "date",
        "by",
        "reason",
    ),
    # against the revision before; scale: u | half_interval | "" ; moved_per_scale = |moved|/scale
    "moved_results": (
        "source",
        "quantity",
        "run",
        "phase",
        "device",
        "detail",
        "of",
        "old",
        "new",
        "moved",
        "unit",
        "scale",
        "scale_size",
        "moved_per_scale",
    ),
    "changed_statements": ("kind", "about", "old", "new"),
    "statement_counts": ("kind", "compared", "changed"),
    # corrections noted beside the log that no kept revision shows
    "noted_corrections": ("date", "by", "file", "line", "column", "old", "new", "reason"),
}
"""Columns of the frames in ``Results.extra`` that tell the history; all but the first are there
only when there is one."""


@dataclass(frozen=True, kw_only=True)
class Past:
    """What is known of a record from before.

    Parameters
    ----------
    number
        Of the revision that is being made.
    earlier
        Kept revisions before it, in order.
    corrections
        Rows of ``corrections.csv``.
    files
        Input files as they are now, by name, the log last.
    undated
        Day to fall back on: that of ``SOURCE_DATE_EPOCH``, or empty.
    keep
        Whether the revision that is being made will be kept.
    """

    number: int
    earlier: tuple[Revision, ...] = ()
    corrections: tuple[Correction, ...] = ()
    files: Mapping[str, bytes]
    undated: str = ""
    keep: Keep = "revision"


def past_of(
    session: Session, archive: str, environment: Mapping[str, str], *, keep: Keep = "revision"
) -> Past:
    """Read what is known of a record from before.

    Parameters
    ----------
    session
        The record as it is now.
    archive
        Folder of kept revisions (`kit.revise.archive`); empty, or not there: none.
    environment
        Of this process; only ``SOURCE_DATE_EPOCH`` matters.
    keep
        Whether the revision that is being made will be kept.

    Raises
    ------
    RecordError
        If a kept revision or the list of corrections cannot be read.
    """
    revisions = read_archive(Path(archive) if archive else None)
    number = session.revision
    if revisions and revisions[-1].fingerprint == session.fingerprint:
        number, revisions = revisions[-1].number, revisions[:-1]
    elif revisions:
        number = max(number, revisions[-1].number + 1)
    stated = environment.get("SOURCE_DATE_EPOCH", "")
    undated = ""
    if stated.isdecimal():
        undated = datetime.fromtimestamp(int(stated), tz=UTC).date().isoformat()
    paths = [Path(source.path) for source in session.sources]
    files = {path.name: path.read_bytes() for path in paths}
    for source in session.sources:
        if hashlib.sha256(files[source.name]).hexdigest() != source.sha256:
            message = f"{source.name} changed while it was being read. Run again."
            raise RenderError(message)
    return Past(
        number=number,
        earlier=revisions,
        corrections=corrections_of(paths[-1]) if paths else (),
        files=files,
        undated=undated,
        keep=keep,
    )


def with_history(results: Results, past: Past) -> Results:
    """Return the results with the frames of `HISTORY_COLUMNS` in ``extra``."""
    made = _History(results, past)
    return replace(results, extra={**results.extra, **made.frames()})


class _History:
    def __init__(self, results: Results, past: Past) -> None:
        self.results = results
        self.past = past
        self.cells: list[tuple[Any, ...]] = []
        self.used: set[Correction] = set()

    def frames(self) -> dict[str, pd.DataFrame]:
        versions = [revision.data() for revision in self.past.earlier]
        numbers = [revision.number for revision in self.past.earlier]
        changes: list[CellChange] = []
        reasons: dict[CellChange, str] = {}
        dates: list[str] = []
        for number, before, after in zip(
            [*numbers[1:], self.past.number], versions, [*versions[1:], self.past.files],
            strict=False,
        ):  # fmt: skip
            changes = diff_files(before, after)
            reasons, dates = self._explain(number, changes)
        noted = [c for c in net(self.past.corrections) if c not in self.used]
        if not versions:
            frames = {"revisions": _frame("revisions", [self._first()])}
        else:
            frames = self._since(changes, reasons, dates)
            frames["changed_cells"] = _frame("changed_cells", self.cells)
        if noted:
            frames["noted_corrections"] = _frame("noted_corrections", map(astuple, noted))
        return frames

    def _first(self) -> tuple[Any, ...]:
        session = self.results.session
        day = session.date.isoformat() if session.date else ""
        head = (self.past.number, day, session.fingerprint)
        return (*head, 0, 0, 0, 0, 0, "first", "", "", self.past.keep)

    def _explain(
        self, number: int, changes: Sequence[CellChange]
    ) -> tuple[dict[CellChange, str], list[str]]:
        """Add the rows of one revision; return the reasons of its changes, and their days."""
        reasons: dict[CellChange, str] = {}
        dates: list[str] = []
        for change in changes:
            rows = explaining(change, self.past.corrections)
            self.used.update(rows)
            parts = [
                "; ".join(dict.fromkeys(text for row in rows if (text := getattr(row, name))))
                for name in ("date", "by", "reason")
            ]
            dates += [row.date for row in rows]
            if parts[2]:
                reasons[change] = parts[2]
            self.cells.append(
                (
                    number, change.kind, change.file, change.line, change.column, change.what,
                    change.old, change.new, *parts,
                )
            )  # fmt: skip
        return reasons, dates

    def _since(
        self, changes: list[CellChange], reasons: dict[CellChange, str], dates: list[str]
    ) -> dict[str, pd.DataFrame]:
        """Return what follows from the last revision to this one."""
        from kit.revise.compare import compare
        from kit.revise.headline import Headline, headline
        from kit.revise.notice import notice

        last = self.past.earlier[-1]
        after = plain_results(self.results)
        comparison: Comparison | None = None
        try:
            before = _again(
                last.log, tuple(last.inputs.values()), last.number, self.results.settings
            )
        except RecordError:
            found = Headline(
                "not_comparable",
                f"Revision {last.number} does not pass the checks of this version, so it cannot "
                "be said what moved against it.",
            )
        else:
            comparison = compare(before, after)
            found = headline(comparison, earlier=last.number)
        date = max(dates, default="") or self.past.undated
        now, text = self.results.session.fingerprint, ""
        if self.past.keep == "revision":
            text = notice(
                changes,
                reasons,
                data=after,
                earlier=(last.number, last.fingerprint),
                date=date,
                conclusion=found.sentence,
                comparison=comparison,
                again=next((r.number for r in self.past.earlier if r.fingerprint == now), None),
            )
        here = (
            self.past.number, date, now, len(changes),
            comparison.figures if comparison else 0, len(comparison.moves) if comparison else 0,
            comparison.statements if comparison else 0,
            len(comparison.changed) if comparison else 0, found.code, found.sentence, text,
            self.past.keep,
        )  # fmt: skip
        older = [
            tuple(revision.summary.get(name) for name in HISTORY_COLUMNS["revisions"])
            for revision in self.past.earlier
        ]
        frames = {"revisions": _frame("revisions", [*older, here])}
        if comparison is not None:
            frames |= _moved(comparison, after)
        return frames


def _moved(comparison: Comparison, data: Mapping[str, Any]) -> dict[str, pd.DataFrame]:
    from kit.revise.notice import of_what

    moves = [
        (
            m.table, m.quantity, m.run, m.phase, m.device, m.detail, of_what(m, data), m.old,
            m.new, m.moved, m.unit, m.scale, m.size, m.per_scale,
        )
        for m in comparison.moves
    ]  # fmt: skip
    changed = [
        (
            held.kind, held.about, old.value if old else "not said",
            new.value if new else "not said",
        )
        for old, new in comparison.changed
        if (held := new or old) is not None
    ]  # fmt: skip
    kinds = dict.fromkeys(s.kind for s in (*comparison.after.values(), *comparison.before.values()))
    keys = comparison.after.keys() | comparison.before.keys()
    counts = [
        (kind, sum(key[0] == kind for key in keys), sum(row[0] == kind for row in changed))
        for kind in kinds
    ]
    return {
        "moved_results": _frame("moved_results", moves),
        "changed_statements": _frame("changed_statements", changed),
        "statement_counts": _frame("statement_counts", counts),
    }


def diff_files(before: Mapping[str, bytes], after: Mapping[str, bytes]) -> list[CellChange]:
    """Return what changed between the input files of two revisions, setup file first.

    Parameters
    ----------
    before, after
        Files by name; the log is the last, a setup file has its fixed name.
    """
    found: list[CellChange] = []
    setups = before.get(SETUP_NAME, b""), after.get(SETUP_NAME, b"")
    found += diff_setups(*setups, file=SETUP_NAME) if setups[0] != setups[1] else ()
    old, new = list(before)[-1], list(after)[-1]
    if before[old] != after[new]:
        found += diff_logs(before[old], after[new], file=new)
    return found


def plain_results(results: Results) -> dict[str, Any]:
    """Return the results as ``results.json`` has them, without their history."""
    import kit
    from kit.display import RESULTS_MIME, DataBundle
    from kit.show.results_data import results_data

    data = results_data(results, kit_version=kit.__version__)
    made: dict[str, Any] = DataBundle(data)._repr_mimebundle_()[RESULTS_MIME]
    made["tables"] = {k: v for k, v in made["tables"].items() if k not in HISTORY_COLUMNS}
    return made


# a record that is being edited is compared with the same revision again and again
@lru_cache(maxsize=1)
def _again(log: Path, digests: tuple[str, ...], number: int, settings: Settings) -> dict[str, Any]:
    """Return the plain results of an earlier revision, with the settings of this one.

    ``digests`` are those of its files: it is another one if they are.
    """
    from kit.analyse import analyse
    from kit.checks import check_session
    from kit.errors import in_order
    from kit.read.record import read_record

    session, met = read_record(log)
    findings = in_order((*met, *check_session(session)))
    return plain_results(analyse(replace(session, revision=number), findings, settings))


def _frame(name: str, rows: Any) -> pd.DataFrame:
    import pandas as pd

    # as objects: a missing line beside numbers must not turn them into decimals
    return pd.DataFrame(list(rows), columns=list(HISTORY_COLUMNS[name]), dtype=object)
