"""The readings of a session as arrays, and which unit, phase and point each belongs to.

*Units* are the devices of run 1, then those of run 2, and so on.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from kit.drain.gauge import step_of
from kit.drain.stop_readings import stop_readings
from kit.session import columns_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import pandas as pd
    from numpy.typing import NDArray

    from kit.drain.stop_readings import StopReading
    from kit.session import Session

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    Bools = NDArray[np.bool_]

__all__ = ["Observed", "codes_of", "observed", "shown_steps"]


@dataclass(frozen=True, kw_only=True)
class Observed:
    """The frame of readings as arrays, one element per row with a percentage.

    Parameters
    ----------
    unit
        Run position × devices + device position.
    phase
        Position of the phase, −1 when none is named.
    point
        0 start, 1 end, 2 inside or not said.
    tick
        Whether the row notes a change of the display.
    row
        Position of the row in ``session.readings``; −1: the percentage was noted with a device
        that was still on at the stop.
    """

    unit: Ints
    phase: Ints
    point: Ints
    tick: Bools
    t: Floats
    resolution: Floats
    soc: Floats
    order: Ints
    row: Ints


def codes_of(column: pd.Series[str], index: Mapping[str, int]) -> Ints:
    """Return positions of the ids in a column, -1 for others.

    Examples
    --------
    >>> codes_of(np.array(["b", "a", "nobody"], dtype=object), {"a": 0, "b": 1}).tolist()
    [1, 0, -1]
    """
    categories = getattr(column.dtype, "categories", None)
    if categories is not None:
        table = np.array([*(index.get(c, -1) for c in categories), -1], dtype=np.int64)
        return table[np.asarray(column.cat.codes, dtype=np.int64)]
    if len(column) > 5000:
        import pandas as pd

        ids = pd.Index(list(index), dtype=column.dtype)
        places = np.fromiter(index.values(), dtype=np.int64, count=len(index))
        return np.append(places, -1)[ids.get_indexer(pd.Index(column))]
    return np.array([index.get(i, -1) for i in column.tolist()], dtype=np.int64)


def observed(session: Session) -> Observed:
    """Return the readings and ticks of a session as arrays.

    Parameters
    ----------
    session
        A record that passed its checks; rows of unknown devices or runs are left out.

    Examples
    --------
    >>> from tests.helpers.builders import make_session
    >>> s = make_session(phases={"p1": 60}, readings={"a": [100, 88], "b": [100, 91]})
    >>> found = observed(s)
    >>> found.unit.tolist(), found.point.tolist(), found.soc.tolist()
    ([0, 1, 0, 1], [0, 0, 1, 1], [100.0, 100.0, 88.0, 91.0])
    """
    frame = session.readings
    runs = {run.number: i for i, run in enumerate(session.runs)}
    devices = {device.id: i for i, device in enumerate(session.devices)}
    phases = {phase.id: i for i, phase in enumerate(session.phases)}
    run_of, device_of, phase_of, point_of, kind_of, t, step, soc_of, order = columns_of(
        frame, "run", "device", "phase", "point", "kind", "t_min", "t_resolution_min", "soc_pct",
        "order",
    )  # fmt: skip
    number = np.asarray(run_of, dtype=np.int64)
    place = np.full(number.shape, -1, dtype=np.int64)
    for run, position in runs.items():
        place[number == run] = position
    device = codes_of(device_of, devices)
    soc = np.asarray(soc_of, dtype=np.float64)
    keep = np.flatnonzero((place >= 0) & (device >= 0) & ~np.isnan(soc))
    point = codes_of(point_of, {"start": 0, "end": 1})
    resolution = np.asarray(step, dtype=np.float64)
    found = Observed(
        unit=(place * len(devices) + device)[keep],
        phase=codes_of(phase_of, phases)[keep],
        point=np.where(point < 0, 2, point)[keep],
        tick=(codes_of(kind_of, {"tick": 1}) == 1)[keep],
        t=np.asarray(t, dtype=np.float64)[keep],
        resolution=np.where(np.isnan(resolution), 1.0, resolution)[keep],
        soc=soc[keep],
        order=np.asarray(order, dtype=np.int64)[keep],
        row=keep,
    )
    at_stop = stop_readings(session)
    return _with_stop(found, at_stop, len(devices)) if at_stop else found


def _with_stop(found: Observed, at_stop: Sequence[StopReading], n_devices: int) -> Observed:
    """Return the readings with those made at the stop after them."""
    run, device, phase, t, resolution, soc = (np.array(c) for c in zip(*at_stop, strict=True))
    nothing = np.zeros(len(at_stop), dtype=np.int64)
    more = {
        "unit": run * n_devices + device,
        "phase": phase,
        "point": nothing + 1,
        "tick": nothing.astype(bool),
        "t": t,
        "resolution": np.where(np.isnan(resolution), 1.0, resolution),
        "soc": soc,
        "order": nothing,
        "row": nothing - 1,
    }
    return Observed(
        **{
            name: np.concatenate([getattr(found, name), rows]).astype(getattr(found, name).dtype)
            for name, rows in more.items()
        }
    )


def shown_steps(session: Session, obs: Observed) -> Floats:
    """Return the step of each device's display (%), shape (devices,): stated, or as it was read.

    Examples
    --------
    >>> from kit.session import Device, Gauge
    >>> from tests.helpers.builders import make_session
    >>> a = Device(id="a", label="a", gauge=Gauge(step_pct=5.0))
    >>> s = make_session(devices=[a, "b"], phases={"p1": 60},
    ...                  readings={"a": [100, 85], "b": [100, 91]})
    >>> shown_steps(s, observed(s)).tolist()
    [5.0, 1.0]
    """
    device = obs.unit % len(session.devices)
    return np.array(
        [
            step_of(item.gauge, obs.soc[(device == i) & ~obs.tick])
            for i, item in enumerate(session.devices)
        ]
    )
