"""The table that opens a report: what people will want to say, and whether it stands."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.claims.kind_words import EQUAL_HEALTH
from kit.claims.kinds import allows_for_health
from kit.display import Column, Table
from kit.show.cells import rows_of
from kit.show.tables.claim_cells import short_verdict, statement
from kit.units import count

if TYPE_CHECKING:
    import pandas as pd

    from kit.results import Results
    from kit.show.cells import Row

__all__ = ["claims_at_a_glance"]

AT_A_GLANCE = 12
"""Most sentences that open a report; the others follow in their own section."""

_FIRST = {
    "longest": 0,
    "longest_on_average": 0,
    "first_in_group": 1,
    "lasts_longer": 2,
}
"""Codes that are kept where there are too many; others come after them."""
_DECLARED, _OTHERS = 1, 3

NEEDED = (
    "“Needed”: the lead must be more than this, for another day or unit may change it by as much."
)


def _opening(results: Results, frame: pd.DataFrame) -> pd.DataFrame:
    """Return the sentences that open the report, in their order.

    Who lasted longest, of all and in groups, the declared pair and kinds of device are kept before
    neighbours in the order.
    """
    urgent = frame[frame["priority"] == frame["priority"].min()]
    declared = set(results.session.declared_comparison or ())

    def rank(row: Row) -> int:
        if declared and {row.device_a, row.device_b} == declared:
            return min(_DECLARED, _FIRST.get(row.code, _DECLARED))
        return _FIRST.get(row.code, _OTHERS)

    ranks = [rank(row) for row in rows_of(urgent)]
    kept = sorted(range(len(ranks)), key=lambda k: ranks[k])[:AT_A_GLANCE]
    shown: pd.DataFrame = urgent.iloc[sorted(kept)]
    return shown


def _verdict(results: Results, row: Row) -> str:
    of_kinds = row.kind == "kind_of_device"
    scaled = of_kinds and allows_for_health(results.session, (row.device_a, row.device_b))
    return short_verdict(row, health=EQUAL_HEALTH if scaled else "")


def claims_at_a_glance(results: Results) -> Table | None:
    """Return the most urgent sentences with their verdicts; ``None`` where none were judged."""
    frame = results.extra.get("claims")
    if frame is None or frame.empty:
        return None
    shown = _opening(results, frame)
    more = int((frame["priority"] == frame["priority"].min()).sum()) - len(shown)
    cells = tuple((statement(row), _verdict(results, row)) for row in rows_of(shown))
    needed = any("needed" in cell for _, cell in cells)
    rest = f"And {count(more, 'more sentence')} of this sort, under “What may be said”."
    return Table(
        id="claims-glance",
        caption="What people will want to say, and whether it stands",
        columns=(
            Column(name="Sentence"),
            Column(name="Does it stand?"),
        ),
        rows=cells,
        notes=(
            "The number is by how much, in brackets from where to where it may be; below 0 the "
            "other way round.",
            *((NEEDED,) if needed else ()),
            *((rest,) if more > 0 else ()),
        ),
    )
