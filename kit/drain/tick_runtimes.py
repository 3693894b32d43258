"""What noted changes of the display gained for runtimes: windows with and without them.

A change that was noted shows that the device was on, later than its last reading at a boundary.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from kit.drain.off_times import off_times
from kit.frames import frame_of_rows

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

    from kit.drain.off_times import OffTimes
    from kit.session import Session

__all__ = ["runtime_tick_gain"]


def runtime_tick_gain(session: Session, *, offs: Sequence[OffTimes] | None = None) -> pd.DataFrame:
    """Return by how much noted changes of the display made the windows of power-offs narrower.

    Parameters
    ----------
    session
        A record that passed its checks.
    offs
        From :func:`kit.drain.off_times.off_times`, if they were computed already.

    Returns
    -------
    DataFrame
        ``RESULT_COLUMNS["runtime_tick_gain"]``; a row for each run and device that a noted change
        shows on later than everything else that was noted. ``on_until_min``: when it was last
        known to be on (min since start), ``window_min``: length of the window of its power-off
        (min; NaN where it was not seen off); each also as they would be without the changes.
        ``longer_than``: devices than which it is known to have run longer only by them.

    Examples
    --------
    Read at 60 min and noted off at 95: [60, 96), 36 min. A change noted at 90: [90, 96), 6 min:

    >>> from tests.helpers.builders import make_session
    >>> s = make_session(phases={"p": 60, "q": None}, readings={"a": [100, 40]},
    ...     power_offs={"a": 95.0}, more_readings=[
    ...         {"device": "a", "kind": "tick", "t_min": 90.0, "soc_pct": 3.0}])
    >>> row = runtime_tick_gain(s).iloc[0]
    >>> float(row["window_without_min"]), float(row["window_min"])
    (36.0, 6.0)
    """
    changes = session.readings["kind"] == "tick"
    if not changes.any():
        return frame_of_rows("runtime_tick_gain", [])
    readings = session.readings[~changes].reset_index(drop=True)
    without = off_times(replace(session, readings=readings))
    rows: list[tuple[object, ...]] = []
    for now, then in zip(off_times(session) if offs is None else offs, without, strict=True):
        nothing_else = ~np.isnan(now.low) & np.isnan(then.low)
        with np.errstate(invalid="ignore"):
            later = (now.low > then.low) | nothing_else
            window, before = now.high - now.low, then.high - then.low
        longer = (now.later & ~then.later).sum(axis=1)
        rows += [
            (
                now.run, session.devices[k].id, float(now.low[k]), float(then.low[k]),
                float(window[k]) if np.isfinite(window[k]) else np.nan,
                float(before[k]) if np.isfinite(before[k]) else np.nan, int(longer[k]),
            )
            for k in np.flatnonzero(later).tolist()
        ]  # fmt: skip
    return frame_of_rows("runtime_tick_gain", rows)
