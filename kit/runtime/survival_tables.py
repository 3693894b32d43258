"""Survival curves and restricted means of devices that ran several times, kinds and groups."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal, NamedTuple

import numpy as np

from kit.frames import frame_of_rows
from kit.results import Settings
from kit.runtime.replicates import is_replicated
from kit.runtime.runtimes import charged_rows
from kit.stats.interval_censored import turnbull
from kit.stats.survival import on_beyond_windows, product_limit, restricted_mean

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import pandas as pd
    from numpy.typing import NDArray

    from kit.session import Session
    from kit.stats.survival import ProductLimit

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

__all__ = ["RunWindows", "kind_windows", "restricted_means", "run_windows", "survival_curves"]

Of = Literal["device", "model", "group"]


class RunWindows(NamedTuple):
    """Runs of one device, or of all devices of a kind or group.

    Parameters
    ----------
    device
        Its id; empty for a kind or group.
    low, high
        Bounds of the runtimes (h), ``high = inf`` if right-censored.
    of, name
        What the runs are of, and the model or the name of the group.
    alike
        Whether the runs differ as other runs of the same would: not those of a group of unlike
        devices, and not several runs of each of several units, of which those of one unit agree
        more than those of two. Only then is there a standard error.
    """

    device: str
    low: Floats
    high: Floats
    of: Of = "device"
    name: str = ""
    alike: bool = True

    @property
    def seen(self) -> Flags:
        """Return which runs were seen to their end."""
        return np.isfinite(self.high)

    @property
    def on_until(self) -> Floats:
        """Return the lower bounds (h), carried over the windows in which a run was still on."""
        return on_beyond_windows(self.low, self.high)

    @property
    def middle(self) -> Floats:
        """Return the middle of each window (h); until when it counts as on where not seen off."""
        low = self.on_until
        return np.asarray((low + np.where(self.seen, self.high, low)) / 2.0)

    @property
    def curve(self) -> ProductLimit:
        """Return the product-limit curve, each power-off at the middle of its window."""
        return product_limit(self.middle, self.seen)

    @property
    def reach(self) -> float:
        """Return the time (h) up to which the runs say something."""
        return float(np.where(self.seen, self.middle, self.low).max())


def _bounds(runtimes: pd.DataFrame) -> dict[str, tuple[Floats, Floats]]:
    """Return the bounds of the runtimes (h) of every device in its runs, but those charged in."""
    runtimes = runtimes[~charged_rows(runtimes)]
    low = runtimes["runtime_h_low"].to_numpy(dtype=np.float64)
    censored = runtimes["right_censored"].to_numpy(dtype=bool)
    high = np.where(censored, np.inf, runtimes["runtime_h_high"].to_numpy(dtype=np.float64))
    rows: dict[str, list[int]] = {}
    for row, (device, bound) in enumerate(zip(runtimes["device"].tolist(), low, strict=True)):
        if bound == bound:
            rows.setdefault(str(device), []).append(row)
    return {device: (low[own], high[own]) for device, own in rows.items()}


def run_windows(session: Session, runtimes: pd.DataFrame) -> list[RunWindows]:
    """Return the windows of every device with two runs or more; none for one run.

    Parameters
    ----------
    session
        The record.
    runtimes
        Frame of `kit.runtime.runtimes`.

    Examples
    --------
    Two runs of a, seen off at 600 and at 612 min: 599 to 601 and 611 to 613 min; one run of b:

    >>> from kit.runtime.runtimes import runtimes
    >>> from tests.helpers.builders import join_runs, make_session, seen
    >>> s = join_runs(*(make_session(devices=["a", "b"], phases={"p1": 900}, power_offs=offs)
    ...                 for offs in ({"a": seen(600, 600)},
    ...                              {"a": seen(612, 612), "b": seen(700, 700)})))
    >>> for found in run_windows(s, runtimes(s)):
    ...     print(found.device, *((h * 60).round(3).tolist() for h in (found.low, found.high)))
    a [599.0, 611.0] [601.0, 613.0]
    """
    if not is_replicated(session):
        return []
    bounds = _bounds(runtimes)
    return [
        RunWindows(device.id, *bounds[device.id])
        for device in session.devices
        if device.id in bounds and bounds[device.id][0].size > 1
    ]


def _together(
    members: Sequence[str], bounds: Mapping[str, tuple[Floats, Floats]], of: Of, name: str
) -> RunWindows | None:
    """Return the runs of several devices as one; ``None`` where fewer than two have any."""
    have = [bounds[device] for device in members if device in bounds]
    if len(have) < 2:
        return None
    low, high = (np.concatenate([each[side] for each in have]) for side in (0, 1))
    return RunWindows("", low, high, of, name, of == "model" and low.size == len(have))


def kind_windows(session: Session, runtimes: pd.DataFrame) -> list[RunWindows]:
    """Return the windows of every kind of which two units ran, and of groups in several runs.

    Parameters
    ----------
    session, runtimes
        As for :func:`run_windows`.

    Examples
    --------
    a and b are units of one model, c is of no kind; b was still on at minute 700:

    >>> from kit.runtime.runtimes import runtimes
    >>> from kit.session import Device
    >>> from tests.helpers.builders import make_session, seen
    >>> row = [Device(id=name, label=name, model=kind)
    ...        for name, kind in (("a", "Whelk 10"), ("b", "Whelk 10"), ("c", ""))]
    >>> s = make_session(devices=row, phases={"p1": 900}, still_on={"b": 700},
    ...                  power_offs={"a": seen(600, 600), "c": seen(500, 500)})
    >>> found, = kind_windows(s, runtimes(s))
    >>> found.name, (found.low * 60).round(3).tolist(), found.seen.tolist(), found.alike
    ('Whelk 10', [599.0, 699.0], [True, False], True)
    """
    members: dict[tuple[Of, str], list[str]] = {}
    for device in session.devices:
        if device.model:
            members.setdefault(("model", device.model), []).append(device.id)
    for device in session.devices if is_replicated(session) else ():
        for group in device.groups:
            members.setdefault(("group", group), []).append(device.id)
    if all(len(ids) < 2 for ids in members.values()):
        return []
    bounds = _bounds(runtimes)
    found = (_together(ids, bounds, of, name) for (of, name), ids in members.items())
    return [windows for windows in found if windows is not None]


def _curve_rows(group: RunWindows, coverage: float) -> list[tuple[object, ...]]:
    places = turnbull(group.on_until, group.high)
    inside = (group.low[:, None] <= places.low) & (places.high <= group.high[:, None])
    seen = np.isfinite(group.high)
    ends = np.isfinite(places.high)
    left = 1.0 - places.mass[ends].cumsum()
    nan = float("nan")
    tail = (group.of, group.name)
    if (inside[seen].sum(axis=1) != 1).any():
        # windows overlap: the shares are still estimable, their Greenwood errors are not
        return [
            (group.device, float(a), float(b), nan, nan, float(max(s, 0.0)), nan, nan, nan, *tail)
            for a, b, s in zip(places.low[ends], places.high[ends], left, strict=True)
        ]
    # one place per power-off: the product-limit estimate over places in their order
    last_before = (places.high[None, :] <= group.on_until[:, None]).sum(axis=1) - 0.5
    curve = product_limit(np.where(seen, inside.argmax(axis=1), last_before), seen)
    blank = 0.0 if group.alike else nan
    low, high = curve.bands(coverage=coverage)
    columns = (
        places.low[curve.time.astype(np.int64)], places.high[curve.time.astype(np.int64)],
        curve.at_risk, curve.events, curve.survival, curve.survival_se + blank, low + blank,
        high + blank,
    )  # fmt: skip
    return [(group.device, *map(float, row), *tail) for row in zip(*columns, strict=True)]


def survival_curves(
    session: Session, runtimes: pd.DataFrame, settings: Settings | None = None
) -> pd.DataFrame:
    """Return the share of runs still on, for devices, kinds and groups with several runs.

    Parameters
    ----------
    session
        A record. Every device with two runs or more has a curve, every kind (model) of which two
        units or more ran, and, with several runs, every group of two devices or more.
    runtimes
        Frame of `kit.runtime.runtimes`.
    settings
        ``coverage`` of the pointwise confidence intervals.

    Returns
    -------
    DataFrame
        ``RESULT_COLUMNS["survival"]``. One row per window (h) in which the share drops:
        ``share_on`` is the share after it; where inside the window it drops is not known. Where
        windows of several runs overlap there is no ``at_risk``, ``events`` or interval; of runs
        that are not alike (`RunWindows`) there is no interval.

    Notes
    -----
    Windows and right-censored runs by the self-consistent estimate
    (`kit.stats.interval_censored.turnbull`), which is the product-limit estimate when the windows
    of different runs are apart; standard errors by Greenwood. A run that was still on within the
    window of a power-off counts as on beyond it (`kit.stats.survival.on_beyond_windows`).

    Examples
    --------
    Off at 600 and at 620 min, each known to a minute before and after: half are on after the first:

    >>> from kit.runtime.runtimes import runtimes
    >>> from tests.helpers.builders import join_runs, make_session, seen
    >>> s = join_runs(*(make_session(devices=["a"], phases={"p1": 900},
    ...                              power_offs={"a": seen(t, t)}) for t in (600, 620)))
    >>> for row in survival_curves(s, runtimes(s)).to_dict("records"):
    ...     print(*(round(60 * row[c], 3) for c in ("time_h_low", "time_h_high")), row["share_on"])
    599.0 601.0 0.5
    619.0 621.0 0.0
    """
    chosen = settings or Settings()
    rows: list[tuple[object, ...]] = []
    for group in (*run_windows(session, runtimes), *kind_windows(session, runtimes)):
        rows += _curve_rows(group, chosen.coverage)
    return frame_of_rows("survival", rows)


def restricted_means(session: Session, runtimes: pd.DataFrame) -> pd.DataFrame:
    """Return the mean runtime up to a horizon that the runs of every row reach, or end before.

    Parameters
    ----------
    session, runtimes
        As for :func:`survival_curves`.

    Returns
    -------
    DataFrame
        ``RESULT_COLUMNS["restricted_means"]``; one row per device, kind and group that has a
        curve. ``horizon_h`` is common to all rows, so that they can be compared; runs that were
        still on count up to it. ``median_h`` is NaN where more than half were still on,
        ``mean_h_u`` where fewer than half were seen off (their scatter is that of the few that
        ended) and of runs that are not alike.

    Notes
    -----
    Area under the product-limit curve, each power-off at the middle of its window.

    Examples
    --------
    Runs of 600 and 620 min, and of another device 580 and still on at 610: up to 610 min, which all
    of them reach or end before, (600 + 610)/2 and (580 + 610)/2:

    >>> from kit.runtime.runtimes import runtimes
    >>> from tests.helpers.builders import join_runs, make_session, seen
    >>> s = join_runs(
    ...     make_session(devices=["a", "b"], phases={"p1": 900},
    ...                  power_offs={"a": seen(600, 600), "b": seen(580, 580)}),
    ...     make_session(devices=["a", "b"], phases={"p1": 900}, power_offs={"a": seen(620, 620)},
    ...                  still_on={"b": 611}))
    >>> rows = restricted_means(s, runtimes(s))
    >>> (rows["horizon_h"] * 60).round(3).tolist(), (rows["mean_h"] * 60).round(3).tolist()
    ([610.0, 610.0], [605.0, 595.0])
    """
    groups = [*run_windows(session, runtimes), *kind_windows(session, runtimes)]
    curves = [g.curve for g in groups]
    open_ends = [
        g.reach
        for g, c in zip(groups, curves, strict=True)
        if not (c.survival.size and c.survival[-1] <= 1e-12)
    ]
    horizon = min(open_ends, default=max((g.reach for g in groups), default=0.0))
    rows: list[tuple[object, ...]] = []
    for group, curve in zip(groups, curves, strict=True):
        mean, u = restricted_mean(curve, horizon=horizon)
        seen = int(group.seen.sum())
        known = group.alike and 2 * seen >= group.low.size
        rows.append(
            (
                group.device, group.low.size, seen, horizon, mean, u if known else float("nan"),
                curve.median, group.of, group.name,
            )
        )  # fmt: skip
    return frame_of_rows("restricted_means", rows)
