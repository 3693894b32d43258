"""What noted changes of the display gained: the same drains, with and without them."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from kit.drain.intervals import interval
from kit.drain.phases import frame_keys, prepare
from kit.frames import no_rows, result_frame

if TYPE_CHECKING:
    import pandas as pd

    from kit.drain.phases import Prepared
    from kit.results import Settings
    from kit.session import Session

__all__ = ["tick_gain"]


def tick_gain(
    session: Session, settings: Settings, *, prepared: Prepared | None = None
) -> pd.DataFrame:
    """Return the half-widths of the displayed drains that a change of the display made sharper.

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
        Columns ``kit.results.RESULT_COLUMNS["tick_gain"]`` (pp); a row for each drain in which a
        noted change, or one seen in a dense log, was used. ``half_width_without_pp`` is from
        the readings at the boundaries alone, NaN where they give no drain.

    Examples
    --------
    From 90 to 80 % in an hour, read at its two ends: ± 0.80 pp. With a change noted to a minute
    beside either end, ± 0.1 pp or so is left:

    >>> from kit.results import Settings
    >>> from kit.session import Assumptions
    >>> from tests.helpers.builders import make_session
    >>> s = make_session(phases={"p1": 60, "p2": 60}, readings={"a": [99, 90, 80]},
    ...     assumptions=Assumptions(reading_delay_min=0, phase_length_u_min=0),
    ...     more_readings=[{"device": "a", "kind": "tick", "t_min": 62.0, "soc_pct": 89.0,
    ...                     "t_resolution_min": 1.0},
    ...                    {"device": "a", "kind": "tick", "t_min": 118.0, "soc_pct": 80.0,
    ...                     "t_resolution_min": 1.0}])
    >>> row = tick_gain(s, Settings()).query("phase == 'p2'").iloc[0]
    >>> round(float(row["half_width_without_pp"]), 2), bool(row["half_width_pp"] < 0.3)
    (0.8, True)
    """
    from kit.results import RESULT_COLUMNS

    ready = prepare(session) if prepared is None else prepared
    used = ready.flags["ticks"] & ~np.isnan(ready.drains["displayed"].drain_pp)
    if not used.any():
        return no_rows("tick_gain")
    frame = session.readings
    plain = frame[(frame["kind"] != "tick") & (frame["point"] != "inside")]
    coarse = prepare(replace(session, readings=plain.reset_index(drop=True)))
    halves = []
    for each in (ready, coarse):
        low, high, _, _ = interval(each.drains["displayed"], settings.coverage)
        halves.append((high - low) / 2.0)
    order = ready.chains.in_frame_order
    run, phase, device = frame_keys(ready.chains)
    kept = order(used)
    columns = (run, phase, device, *map(order, halves))
    return result_frame(
        "tick_gain",
        dict(zip(RESULT_COLUMNS["tick_gain"], (c[kept] for c in columns), strict=True)),
    )
