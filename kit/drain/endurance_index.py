"""The index formula of Regulation (EU) 2023/1669 on the runtimes of a session.

The formula only: the regulation's test has a sequence of its own, and a session is not it.
"""

from __future__ import annotations

from math import ceil, floor
from typing import TYPE_CHECKING

import numpy as np

from kit.drain.energy import endurance_index_class, endurance_index_formula

if TYPE_CHECKING:
    import pandas as pd

    from kit.session import Session

__all__ = ["endurance_index"]

SMARTPHONE_IN = (4.0, 7.0)
"""Diagonals from and below which the regulation speaks of a smartphone (Article 2, as quoted by
secondary sources)."""


def endurance_index(session: Session, runtimes: pd.DataFrame) -> pd.DataFrame:
    """Return the index of every device whose battery has a nominal voltage and rated capacity.

    Parameters
    ----------
    session
        The record.
    runtimes
        From `kit.runtime.runtimes`.

    Returns
    -------
    DataFrame
        Columns ``kit.results.RESULT_COLUMNS["endurance_index"]``; the index in 1/W, its bounds
        rounded outwards.
        ``index_per_w_high`` is NaN for a device that was not seen off. ``class_low`` and
        ``class_high`` are the letters at the two ends of the index, for displays of 4 to below
        7 inch; empty otherwise, because whether the limits for larger devices belong to an index
        of this form could not be checked.

    Examples
    --------
    End between 38.65 and 38.75 h, 3.85 V, 5000 mAh: 2.01 in the middle, class C:

    >>> import pandas as pd
    >>> from kit.session import Device
    >>> from tests.helpers.builders import make_session
    >>> s = make_session(phases={"p": 60}, readings={"a": [100, 90]}, devices=[Device(id="a",
    ...     label="a", display_diagonal_in=6.1, nominal_voltage_v=3.85, rated_capacity_mah=5000)])
    >>> rows = pd.DataFrame({"run": [1], "device": ["a"], "runtime_h": [38.7],
    ...     "runtime_h_u": [0.03], "runtime_h_low": [38.65],
    ...     "runtime_h_high": [38.75], "right_censored": [False]})
    >>> row = endurance_index(s, rows).iloc[0]
    >>> float(row["index_per_w"]), row["class_low"]
    (2.01, 'C')
    """
    import pandas as pd

    from kit.results import RESULT_COLUMNS

    devices = {d.id: d for d in session.devices}
    rows: list[tuple[object, ...]] = []
    rated = any(None not in (d.nominal_voltage_v, d.rated_capacity_mah) for d in session.devices)
    for row in runtimes.to_dict(orient="records") if rated else ():
        device = devices[row["device"]]
        volts, mah = device.nominal_voltage_v, device.rated_capacity_mah
        if volts is None or mah is None or np.isnan(row["runtime_h_low"]):
            continue
        open_end = bool(row["right_censored"])
        hours = [row[f"runtime_h{end}"] for end in ("", "_low", "_high")]
        middle = float(endurance_index_formula(hours[0], volts, mah))
        # bounds are rounded outwards, where the formula rounds to the nearest
        low, high = (h / (volts * mah) * 1000.0 for h in hours[1:])
        low = floor(low * 100.0) / 100.0
        high = float("nan") if open_end else ceil(high * 100.0) / 100.0
        if open_end:
            middle = float("nan")
        inch = device.display_diagonal_in
        letters = ["", ""]
        if inch is not None and SMARTPHONE_IN[0] <= inch < SMARTPHONE_IN[1]:
            letters = [
                "" if np.isnan(v) else endurance_index_class(v, "smartphone") for v in (low, high)
            ]
        runtime = float("nan") if open_end else hours[0]
        key = (row["run"], row["device"])
        u = float("nan") if open_end else row["runtime_h_u"] / (volts * mah) * 1000.0
        rows.append((*key, runtime, volts, mah, middle, u, low, high, *letters))
    return pd.DataFrame(rows, columns=list(RESULT_COLUMNS["endurance_index"]))
