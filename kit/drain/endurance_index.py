"""The index formula of Regulation (EU) 2023/1669 on the runtimes of a session.

The formula only: the regulation's test has a sequence of its own, and a session is not it.
"""

from __future__ import annotations

from math import ceil, floor
from typing import TYPE_CHECKING, Literal

import numpy as np

from kit.frames import frame_of_rows, no_rows

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import ArrayLike, NDArray

    from kit.session import Session

    Floats = NDArray[np.float64]

__all__ = ["endurance_index", "endurance_index_class", "endurance_index_formula"]

TABLET_CLASSES = (("A", 7.90), ("B", 6.32), ("C", 5.06), ("D", 4.04), ("E", 3.24), ("F", 2.59))
SMARTPHONE_CLASSES = (
    ("A", 2.70), ("B", 2.30), ("C", 1.95), ("D", 1.66), ("E", 1.41), ("F", 1.20),
)  # fmt: skip
"""Lower limits of the endurance classes, not included: Regulation (EU) 2023/1669, Annex II, as
quoted by secondary sources."""

SMARTPHONE_IN = (4.0, 7.0)
"""Diagonals from and below which the regulation speaks of a smartphone (Article 2, as quoted by
secondary sources)."""


def endurance_index_formula(
    runtime_h: ArrayLike, nominal_voltage_v: float, rated_capacity_mah: float
) -> Floats:
    """Return the energy efficiency index by the formula only, not by that regulation's test.

    Parameters
    ----------
    runtime_h
        Runtime (h), rounded to two decimals as the formula asks; here of any session, not of
        the regulation's test sequence.
    nominal_voltage_v, rated_capacity_mah
        Nominal voltage (V) and rated capacity (mAh).

    Returns
    -------
    array
        ``END/(U·C)·1000`` in 1/W, two decimals.

    References
    ----------
    Regulation (EU) 2023/1669, Annex IV.1; definitions, units and rounding from secondary
    sources, the factor 1000 follows from the units.

    Examples
    --------
    38.70/(3.85 × 5000) × 1000 = 2.0104:

    >>> float(endurance_index_formula(38.70, 3.85, 5000))
    2.01
    """
    end = np.round(np.asarray(runtime_h, dtype=np.float64), 2)
    return np.asarray(np.round(end / (nominal_voltage_v * rated_capacity_mah) * 1000.0, 2))


def endurance_index_class(index: float, kind: Literal["tablet", "smartphone"]) -> str:
    """Return the class letter in which an index would fall; formula only, not a label.

    Parameters
    ----------
    index
        Index (1/W), compared after rounding to two decimals.
    kind
        Which table of limits.

    Examples
    --------
    Upper limits belong to the class below:

    >>> endurance_index_class(7.90, "tablet"), endurance_index_class(7.91, "tablet")
    ('B', 'A')
    """
    value = floor(index * 100.0 + 0.5) / 100.0
    table = TABLET_CLASSES if kind == "tablet" else SMARTPHONE_CLASSES
    return next((letter for letter, limit in table if value > limit), "G")


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
    return frame_of_rows("endurance_index", rows) if rows else no_rows("endurance_index")
