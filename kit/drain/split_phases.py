"""Phases in which devices did different things: both activities of crossovers and rotations."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from kit.drain.crossover import crossover_rows
from kit.drain.phases import prepare
from kit.drain.rotation import rotation_rows
from kit.drain.swaps import with_swaps
from kit.frames import frame_of_rows, result_frame

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

    from kit.drain.part_rows import PartRow
    from kit.drain.phases import Prepared
    from kit.results import Settings
    from kit.session import Session

__all__ = ["parts", "rows_of_parts"]


def rows_of_parts(ready: Prepared, coverage: float) -> list[PartRow]:
    """Return both activities of every crossover and rotation, as rows with their variances.

    Parameters
    ----------
    ready
        From `kit.drain.phases.prepare`.
    coverage
        Probability of the intervals.
    """
    session = ready.chains.session
    rows: list[PartRow] = []
    if any(phase.is_split for phase in session.phases):
        swaps = with_swaps(ready)
        for run in range(len(session.runs)):
            for j, phase in enumerate(session.phases):
                if phase.kind == "crossover":
                    rows += crossover_rows(ready, swaps, run, j, coverage)
                elif phase.kind == "rotation":
                    rows += rotation_rows(ready, run, j, coverage)
    return rows


def parts(
    session: Session,
    settings: Settings,
    *,
    prepared: Prepared | None = None,
    rows: Sequence[PartRow] | None = None,
) -> pd.DataFrame:
    """Return the rates of both activities in every crossover and rotation.

    Parameters
    ----------
    session
        A record that passed its checks.
    settings
        The coverage probability.
    prepared
        From `kit.drain.phases.prepare`, if it was made already.
    rows
        From `rows_of_parts`, if they were made already.

    Returns
    -------
    DataFrame
        Columns ``kit.results.RESULT_COLUMNS["parts"]``: one row per device and part, rates as
        displayed (pp/h). For a crossover two more rows with an empty device: the difference
        between the activities, and between the halves. A device that lacks one half is left out of
        these with both. ``status``: ``measured``, ``no_reading``, ``died``, ``not_reached``.

    Examples
    --------
    12 pp on the map, then 8 on photos, half an hour each: 24 and 16 pp/h:

    >>> from kit.results import Settings
    >>> from kit.session import Phase
    >>> from tests.helpers.builders import BARE, make_session
    >>> cross = Phase(id="x", label="x", kind="crossover", parts=("map", "photo"),
    ...               first_half=("a",), planned_min=60)
    >>> s = make_session(phases=[cross], readings={"a": [90, 70]}, assumptions=BARE, more_readings=[
    ...     {"device": "a", "phase": "x", "point": "inside", "t_min": 30, "soc_pct": 78}])
    >>> parts(s, Settings())[["device", "part", "rate_pp_per_h"]].values.tolist()[:2]
    [['a', 'map', 24.0], ['a', 'photo', 16.0]]
    """
    from kit.results import RESULT_COLUMNS

    if rows is None:
        ready = prepare(session) if prepared is None else prepared
        rows = rows_of_parts(ready, settings.coverage)
    if not rows:
        kinds = {"run": np.int64}
        return result_frame(
            "parts", {c: np.empty(0, dtype=kinds.get(c, object)) for c in RESULT_COLUMNS["parts"]}
        )
    return frame_of_rows("parts", [row.cells() for row in rows])
