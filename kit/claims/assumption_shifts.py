"""Which verdicts hang on an assumption: each is halved and doubled, and all claims judged again."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from kit.claims.judge import LEAST_URGENT
from kit.claims.table import claim_verdicts
from kit.frames import frame_of_rows, no_rows

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

    from kit.claims.judge import Ground
    from kit.drain.phases import Prepared
    from kit.results import Settings
    from kit.session import Session

__all__ = ["ASKED", "FACTORS", "assumption_shifts"]

ASKED = (
    "gauge_error_pp", "gauge_correlation_pp", "reading_delay_min", "gap_rate_factor", "run_unit_cv",
)  # fmt: skip
"""Assumptions that no reading of a session gives and that its verdicts may hang on."""

FACTORS = (0.5, 2.0)
"""Times which each is tried: half and twice what is assumed (kit's own choice)."""

_KEY = ["run", "kind", "code", "device_a", "device_b", "group", "phase_from", "phase_to",
        "measurand"]  # fmt: skip


def assumption_shifts(
    session: Session,
    settings: Settings,
    claims: pd.DataFrame,
    *,
    prepared: Prepared,
    runtimes: pd.DataFrame,
    known: Sequence[Ground],
) -> pd.DataFrame:
    """Return the printed verdicts that would be others with half or twice an assumption.

    Parameters
    ----------
    session, settings
        As for `kit.claims.claims`.
    claims
        From `kit.claims.claims`.
    prepared, runtimes, known
        What those claims were made from.

    Returns
    -------
    DataFrame
        Columns ``kit.results.RESULT_COLUMNS["assumption_shifts"]``; an assumption of 0 is not
        asked.
    """
    used = session.assumptions
    printed = claims[claims["priority"] < LEAST_URGENT]
    rows: list[tuple[object, ...]] = []
    for name in ASKED:
        value = float(getattr(used, name))
        for factor in FACTORS if value > 0.0 else ():
            tried: dict[str, Any] = {name: value * factor}
            other = replace(session, assumptions=replace(used, **tried))
            if name == "run_unit_cv":  # nothing but kinds of device hangs on it
                then = claim_verdicts(
                    other, settings, prepared=prepared, runtimes=runtimes, known=known
                )
            else:
                then = claim_verdicts(other, settings)
            both = printed.merge(then[[*_KEY, "verdict"]], on=_KEY, suffixes=("", "_then"))
            changed = both[both["verdict"] != both["verdict_then"]]
            rows += [
                (name, value, value * factor, *cells)
                for cells in zip(
                    *(changed[c].tolist() for c in ("run", "statement", "verdict", "verdict_then")),
                    strict=True,
                )
            ]
    return frame_of_rows("assumption_shifts", rows) if rows else no_rows("assumption_shifts")
