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
    import pandas as pd

    from kit.drain.part_rows import PartRow
    from kit.drain.phases import Prepared
    from kit.results import Settings
    from kit.session import Session

__all__ = ["parts"]


def parts(
    session: Session, settings: Settings, *, prepared: Prepared | None = None
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

    Returns
    -------
    DataFrame
        Columns ``kit.results.RESULT_COLUMNS["parts"]``: one row per device and part, rates as
        displayed (pp/h). For a crossover two more rows with an empty device: the difference
        between the activities, and between the halves. A device that lacks one half is left out of
        these with both. ``status``: ``measured``, ``no_reading``, ``died``, ``not_reached``.
    """
    from kit.drain.readings import observed
    from kit.results import RESULT_COLUMNS

    rows: list[PartRow] = []
    if any(phase.is_split for phase in session.phases):
        ready = prepare(session) if prepared is None else prepared
        swaps = with_swaps(ready, observed(session))
        for run in range(len(session.runs)):
            for j, phase in enumerate(session.phases):
                if phase.kind == "crossover":
                    rows += crossover_rows(ready, swaps, run, j, settings.coverage)
                elif phase.kind == "rotation":
                    rows += rotation_rows(ready, run, j, settings.coverage)
    if not rows:
        kinds = {"run": np.int64}
        return result_frame(
            "parts", {c: np.empty(0, dtype=kinds.get(c, object)) for c in RESULT_COLUMNS["parts"]}
        )
    return frame_of_rows("parts", [row.cells() for row in rows])
