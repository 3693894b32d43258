"""What was understood, in words for a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.importing.courses import courses
from kit.importing.grid import CellFinding
from kit.read.cells import MOST_ALIKE
from kit.safe_text import displayable
from kit.units import count

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from kit.errors import Finding
    from kit.importing.gather import Imported

__all__ = ["as_data", "preview"]

SHAPES = {
    "scorecard": "scorecard, a column for each device",
    "devices_in_rows": "scorecard, a row for each device",
    "list": "list, a row for each observation",
    "device_log": "log of one device",
}
OPEN = ("import-ambiguous", "import-no-value", "import-not-same")
WIDTH = 13


def preview(imported: Imported) -> str:
    """Return the preview as text: what was understood, left aside, is open and is wrong."""
    return "\n".join(displayable(line) for line in _lines(imported))


def _lines(imported: Imported) -> Iterator[str]:
    for part in imported.parts:
        yield f"{part.grid.name}: {SHAPES[part.shape]}"
        for what, words in part.facts:
            yield f"  {what:<{WIDTH}} {words}"
        if part.aside:
            yield f"  {'left aside':<{WIDTH}} {'; '.join(part.aside)}"
        yield ""
    session = imported.session
    if session is not None:
        yield "The session"
        yield f"  {'phases':<{WIDTH}} {', '.join(p.id for p in session.phases) or 'none named'}"
        date = session.date.isoformat() if session.date else "not recorded"
        yield f"  {'date':<{WIDTH}} {date}"
        yield f"  {'time zone':<{WIDTH}} {session.timezone or 'not recorded'}"
        offs = session.power_offs
        yield (
            f"  {'holds':<{WIDTH}} {len(session.readings)} readings, "
            f"{count(int((~offs['still_on'].astype(bool)).sum()), 'power-off')}, "
            f"{int(offs['still_on'].astype(bool).sum())} still on, "
            f"{count(len(session.runs), 'run')}"
        )
        yield from (f"  {line}" for line in courses(session))
        yield ""
    if imported.aside:
        yield "Left aside"
        yield from (f"  {words}" for words in imported.aside)
        yield ""
    yield from _findings("Open: each of these could mean several things", _open(imported))
    wrong = [f for f in imported.in_places if f.severity == "error" and f.rule not in OPEN]
    yield from _findings("Wrong", wrong)
    yield from _findings("Notes", [f for f in imported.in_places if f.severity != "error"])


def _open(imported: Imported) -> list[Finding]:
    return [f for f in imported.in_places if f.rule in OPEN]


def _findings(title: str, findings: Sequence[Finding]) -> Iterator[str]:
    if not findings:
        return
    yield f"{title} ({len(findings)})"
    for finding in findings[:MOST_ALIKE]:
        yield f"  {finding.sentence}"
    if len(findings) > MOST_ALIKE:
        yield f"  and {len(findings) - MOST_ALIKE} more"
    yield ""


def as_data(imported: Imported) -> dict[str, object]:
    """Return the preview as plain data for JSON."""
    return {
        "sheets": [
            {
                "file": p.grid.file,
                "sheet": "" if p.grid.kind == "text" else p.grid.sheet,
                "shape": p.shape,
                "devices": p.devices,
                "understood": dict(p.facts),
                "left_aside": p.aside,
            }
            for p in imported.parts
        ],
        "left_aside": list(imported.aside),
        "phases": [] if imported.session is None else [p.id for p in imported.session.phases],
        "findings": [f.as_dict() | {"where": f.where} for f in imported.in_places],
        "open": sum(isinstance(f, CellFinding) and f.rule in OPEN for f in imported.in_places),
        "settled": imported.is_settled,
    }
