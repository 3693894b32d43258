"""Several runs, several units: what repeats say, and what they cannot.

Resolution does not average out: a repeat from full charge meets the same fraction of a percent
again, and equal integers have no scatter without being exact. The half-width of one result is
therefore never divided by √n; only the scatter between runs is. Between units nothing helps but
more units.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, update_wrapper
from typing import TYPE_CHECKING, Literal, NamedTuple, Protocol

import numpy as np

from kit.frames import frame_of_rows
from kit.results import RESULT_COLUMNS, Settings
from kit.runtime.runtimes import charged_rows
from kit.stats.components import mean_of_kind, repeatability_limit
from kit.stats.uncertainty import replicate_mean_half_width

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    import pandas as pd
    from numpy.typing import NDArray

    from kit.session import Session

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]
    Row = tuple[object, ...]

__all__ = [
    "DRAIN_PREFIX",
    "RUNTIME",
    "OverRuns",
    "Quantity",
    "Repeats",
    "is_replicated",
    "over_runs",
    "quantities",
    "replicate_models",
    "replicates",
    "runtime_quantity",
]

RUNTIME = "runtime"
DRAIN_PREFIX = "drain:"
"""``quantity`` is ``runtime`` (h) or ``drain:`` with the id of a phase (displayed pp)."""


class Quantity(NamedTuple):
    """Values of one quantity in every run, arrays of shape (runs, devices).

    Parameters
    ----------
    name, unit
        ``runtime`` in h, or ``drain:phase`` in pp.
    value
        NaN where there is none.
    half_width, u
        Half-width of the interval of one value, and its standard uncertainty.
    at_least
        Whether the value is only a lower bound (right-censored).
    charged
        Runtimes left out, since the device was charged in that run; ``None``: none.
    """

    name: str
    unit: str
    value: Floats
    half_width: Floats
    u: Floats
    at_least: Flags
    charged: Flags | None = None

    @property
    def least(self) -> Floats:
        """Return the lower bound of every value, that of a censored one being the value itself."""
        return self.value - np.where(self.at_least, 0.0, self.half_width)

    @property
    def most(self) -> Floats:
        """Return the upper bound of every value, infinite for a censored one."""
        return np.where(self.at_least, np.inf, self.value + self.half_width)


def _grid(session: Session, frame: pd.DataFrame) -> tuple[Floats, Callable[[str], Floats]]:
    """Return a blank (runs, devices) array, and a function that spreads a column over one."""
    devices = {d.id: j for j, d in enumerate(session.devices)}
    runs = {r.number: i for i, r in enumerate(session.runs)}
    rows = np.array([runs[r] for r in frame["run"].tolist()], dtype=np.int64)
    places = np.array([devices[d] for d in frame["device"].tolist()], dtype=np.int64)
    blank = np.full((len(runs), len(devices)), np.nan)

    def spread(column: str) -> Floats:
        out = blank.copy()
        out[rows, places] = frame[column].to_numpy(dtype=np.float64)
        return out

    return blank, spread


def runtime_quantity(session: Session, runtimes: pd.DataFrame) -> Quantity:
    """Return the runtimes, run by run, from the frame of `kit.runtime.runtimes`.

    A runtime of a device that was charged during the run is none of them.

    Examples
    --------
    On at minute 600 and off at the same minute, started at a full minute: 10 h, the windows of
    both are a minute wide, so 599 to 601 min: half-width 1/60 = 0.0167 h:

    >>> from kit.runtime.runtimes import runtimes
    >>> from tests.helpers.builders import make_session, seen
    >>> s = make_session(devices=["a"], phases={"p1": 900}, power_offs={"a": seen(600, 600)})
    >>> found = runtime_quantity(s, runtimes(s))
    >>> found.value.round(4).tolist(), found.half_width.round(4).tolist(), found.at_least.tolist()
    ([[10.0]], [[0.0167]], [[False]])
    """
    charged = charged_rows(runtimes)
    left_out = None
    if charged.any():
        _, spread = _grid(session, runtimes.assign(charged=charged))
        left_out = spread("charged") == 1.0
        runtimes = runtimes[~charged]
    _, spread = _grid(session, runtimes)
    low, high = spread("runtime_h_low"), spread("runtime_h_high")
    return Quantity(
        RUNTIME, "h", spread("runtime_h"), (high - low) / 2.0, spread("runtime_h_u"),
        spread("right_censored") == 1.0, left_out,
    )  # fmt: skip


def quantities(
    session: Session, runtimes: pd.DataFrame, phase_drain: pd.DataFrame
) -> list[Quantity]:
    """Return the runtimes, and the displayed drain of every evaluated phase, run by run.

    Examples
    --------
    Two runs of a: off after 10 and after 10.2 h; 12 and 14 pp drained in the first hour:

    >>> from kit.drain.phases import phase_drain
    >>> from kit.runtime.runtimes import runtimes
    >>> from tests.helpers.builders import BARE, join_runs, make_session, seen
    >>> s = join_runs(*(make_session(phases={"p1": 60, "p2": 900}, readings={"a": [90, after]},
    ...                              power_offs={"a": seen(off, off)}, assumptions=BARE)
    ...                 for after, off in ((78, 600), (76, 612))))
    >>> for found in quantities(s, runtimes(s), phase_drain(s, Settings())):
    ...     print(found.name, found.unit, [round(v, 1) for v in found.value[:, 0].tolist()])
    runtime h [10.0, 10.2]
    drain:p1 pp [12.0, 14.0]
    """
    found = [runtime_quantity(session, runtimes)]
    usable = phase_drain[
        (phase_drain["measurand"] == "displayed") & (phase_drain["status"] == "measured")
    ]
    for phase in session.phases:
        rows = usable[usable["phase"] == phase.id]
        if not phase.evaluated or rows.empty:
            continue
        blank, spread = _grid(session, rows)
        low, high = spread("drain_pp_low"), spread("drain_pp_high")
        value = spread("drain_pp")
        half = np.fmax(high - value, value - low)
        found.append(
            Quantity(
                DRAIN_PREFIX + phase.id,
                "pp",
                value,
                half,
                spread("drain_pp_u"),
                np.zeros(blank.shape, dtype=bool),
            )
        )
    return found


def is_replicated(session: Session) -> bool:
    """Return whether the record holds several runs.

    Examples
    --------
    >>> from tests.helpers.builders import join_runs, make_session
    >>> is_replicated(make_session()), is_replicated(join_runs(make_session(), make_session()))
    (False, True)
    """
    return len(session.runs) > 1


@dataclass(frozen=True, kw_only=True)
class Repeats:
    """What is known of repeated runs, and how sure statements on them are to be.

    Parameters
    ----------
    session
        The record.
    runtimes, phase_drain
        Frames of `kit.runtime.runtimes` and of the drain modules.
    coverage
        Probability of intervals and statements.
    """

    session: Session
    runtimes: pd.DataFrame
    phase_drain: pd.DataFrame
    coverage: float

    @cached_property
    def quantities(self) -> list[Quantity]:
        """Return the runtimes and the drains, run by run."""
        return quantities(self.session, self.runtimes, self.phase_drain)


class OverRuns(Protocol):
    """A function that makes a frame of results over runs.

    Parameters
    ----------
    session
        The record.
    runtimes, phase_drain
        Frames of `kit.runtime.runtimes` and of the drain modules.
    settings
        ``coverage`` of the intervals and statements.
    """

    def __call__(
        self,
        session: Session,
        runtimes: pd.DataFrame,
        phase_drain: pd.DataFrame,
        settings: Settings | None = None,
    ) -> pd.DataFrame:
        """Return the frame."""


def over_runs(
    name: str, *, of: Literal["several_runs", "any_runs"] = "several_runs"
) -> Callable[[Callable[[Repeats], Iterable[Row]]], OverRuns]:
    """Return a decorator: from a function that finds rows in repeats to one that makes a frame.

    Parameters
    ----------
    name
        The frame, in ``kit.results.RESULT_COLUMNS``.
    of
        ``several_runs``: the frame is empty where the record holds one run.

    Examples
    --------
    The coverage as a row, in the frame of run effects; with one run there is none:

    >>> from tests.helpers.builders import join_runs, make_session
    >>> @over_runs("run_effects")
    ... def coverage_seen(repeats):
    ...     return [(1, "runtime", repeats.coverage, 0.0, 0.0, 0.0, "h")]
    >>> twice = join_runs(make_session(), make_session())
    >>> [coverage_seen(s, None, None)["effect"].tolist() for s in (make_session(), twice)]
    [[], [0.95]]
    """

    def decorate(rows_of: Callable[[Repeats], Iterable[Row]]) -> OverRuns:
        def table(
            session: Session,
            runtimes: pd.DataFrame,
            phase_drain: pd.DataFrame,
            settings: Settings | None = None,
        ) -> pd.DataFrame:
            if of == "several_runs" and not is_replicated(session):
                return frame_of_rows(name, [])
            repeats = Repeats(
                session=session,
                runtimes=runtimes,
                phase_drain=phase_drain,
                coverage=(settings or Settings()).coverage,
            )
            return frame_of_rows(name, list(rows_of(repeats)))

        kept = ("__module__", "__name__", "__qualname__", "__doc__")
        update_wrapper(table, rows_of, assigned=kept)
        # called with the frames, not with what the wrapped function takes
        del table.__wrapped__  # type: ignore[attr-defined]  # update_wrapper has just set it
        return table

    return decorate


def _noted(name: str, quantity: Quantity, places: list[int], row: Row) -> Row:
    """Return a row of a frame that says if a run was left out for a charge."""
    if quantity.charged is None or not quantity.charged[:, places].any():
        return row
    at = RESULT_COLUMNS[name].index("flags")
    flags = ";".join(filter(None, (str(row[at]), "charged_run")))
    return (*row[:at], flags, *row[at + 1 :])


def _replicate_row(quantity: Quantity, j: int, device: str, coverage: float) -> Row:
    have = ~np.isnan(quantity.value[:, j])
    values = quantity.value[have, j]
    n = int(values.size)
    nan = float("nan")
    head = (device, quantity.name, n)
    if n == 0:
        return (*head, nan, nan, nan, nan, nan, nan, quantity.unit, "no_value", nan)
    mean = float(values.mean())
    if quantity.at_least[have, j].any():
        # the mean of lower bounds is a lower bound of the mean, and all that is known
        mean = float(quantity.least[have, j].mean())
        return (*head, mean, nan, nan, nan, mean, nan, quantity.unit, "lower_bound", nan)
    half = float(quantity.half_width[have, j].max())
    own_u = float(quantity.u[have, j].max())
    if n == 1:
        low, high = mean - half, mean + half
        return (*head, mean, nan, own_u, nan, low, high, quantity.unit, "one_run", nan)
    s = float(values.std(ddof=1))
    u = float(np.hypot(s / np.sqrt(n), own_u))
    wide = replicate_mean_half_width(s, n, half, coverage)
    flags = "no_scatter_seen" if s == 0.0 else ""
    return (
        *head, mean, s, u, float(n - 1), mean - wide, mean + wide, quantity.unit, flags,
        repeatability_limit(s),
    )  # fmt: skip


@over_runs("replicates")
def replicates(repeats: Repeats) -> Iterable[Row]:
    """Return mean and interval of every device (this unit) over its runs; called as `OverRuns`.

    Returns
    -------
    DataFrame
        ``RESULT_COLUMNS["replicates"]``. ``quantity`` is ``runtime`` (h) or ``drain:phase``
        (displayed pp). ``s_r`` is the scatter between runs, ``dof`` its degrees of freedom, which
        make the interval, ``repeatability_limit`` what two single runs differ by at most in 95 %
        of cases, and ``mean_u`` the standard uncertainty of the mean. ``flags``: ``lower_bound``
        (a run was still on: ``mean`` = ``mean_low`` is a lower bound, nothing else is known),
        ``one_run``, ``no_scatter_seen`` (equal values: resolution only), ``no_value``,
        ``charged_run`` (beside these: a run in which the device was charged is left out).

    Notes
    -----
    ``U = √(X² + (t s_r/√n)²)`` with X the half-width of one result, not divided by √n, and t
    with n − 1 degrees of freedom. ``mean_u² = s_r²/n + u²`` with u of one result. Of this unit
    only: scatter between units is not in it.

    Examples
    --------
    10.0 and 10.2 h: mean 10.1, s_r = 0.2/√2 = 0.141. u of one result is √(2/12) min = 0.0068 h, of
    the mean √(0.141²/2 + 0.0068²) = 0.100 h; U = √((12.71 × 0.1)² + 0.0167²) = 1.271 h with t for
    one degree of freedom and the half-width of one result, 1 min:

    >>> from kit.drain.phases import phase_drain
    >>> from kit.runtime.runtimes import runtimes
    >>> from tests.helpers.builders import join_runs, make_session, seen
    >>> s = join_runs(*(make_session(devices=["a"], phases={"p1": 900},
    ...                              power_offs={"a": seen(off, off)}) for off in (600, 612)))
    >>> row = replicates(s, runtimes(s), phase_drain(s, Settings())).iloc[0]
    >>> [round(float(row[c]), 3) for c in ("mean", "s_r", "mean_u", "mean_low")]
    [10.1, 0.141, 0.1, 8.829]
    """
    return [
        _noted(
            "replicates", quantity, [j], _replicate_row(quantity, j, device.id, repeats.coverage)
        )
        for quantity in repeats.quantities
        for j, device in enumerate(repeats.session.devices)
    ]


def _models(session: Session) -> dict[str, list[int]]:
    models: dict[str, list[int]] = {}
    for j, device in enumerate(session.devices):
        if device.model:
            models.setdefault(device.model, []).append(j)
    return {name: units for name, units in models.items() if len(units) > 1}


def _model_row(quantity: Quantity, name: str, units: list[int], coverage: float) -> Row:
    nan = float("nan")
    values = quantity.value[:, units]
    there = ~np.isnan(values)
    seen = int(there.any(axis=0).sum())
    head = (name, quantity.name, seen, int(there.sum()))
    if seen < 2:
        return (*head, *[nan] * 8, quantity.unit, "one_unit", *[nan] * 6)
    if quantity.at_least[:, units].any():
        least = [c[~np.isnan(c)] for c in (quantity.least[:, j] for j in units)]
        mean = float(np.mean([v.mean() for v in least if v.size]))
        return (
            *head, mean, *[nan] * 5, mean, nan, quantity.unit, "lower_bound", *[nan] * 6,
        )  # fmt: skip
    found = mean_of_kind(values)
    half = float(np.nanmax(quantity.half_width[:, units]))
    parts = [found.u_units, found.u_runs, float(np.nanmax(quantity.u[:, units]))]
    wide = found.half_width(coverage, resolution=half)
    return (
        *head, found.mean, found.s_r, found.s_l, found.s_reproducibility,
        float(np.sqrt(np.nansum(np.square(parts)))), float(found.dof_units), found.mean - wide,
        found.mean + wide, quantity.unit, "one_day" if np.isnan(found.u_runs) else "",
        repeatability_limit(found.s_r), *found.between.s_l_bounds(coverage), found.u_units,
        found.u_runs, float(found.dof_runs) if found.u_runs > 0.0 else nan,
    )  # fmt: skip


@over_runs("replicate_models", of="any_runs")
def replicate_models(repeats: Repeats) -> Iterable[Row]:
    """Return components and means of models with several units; called as `OverRuns`.

    Returns
    -------
    DataFrame
        ``RESULT_COLUMNS["replicate_models"]``. ``s_r`` between runs of a unit (NaN with one run
        each), ``s_l`` between units, ``s_reproducibility`` both; ``mean`` of unit means with
        units − 1 degrees of freedom. Empty if no model has two units; one run is enough.

    Examples
    --------
    Two units of one model in two runs: 10.0 and 10.2 h, beside them 10.6 and 10.8 h. Within units
    s_r² = 0.02; the unit means 10.1 and 10.7 have s² = 0.18, and since both units changed alike
    from run to run all of it is between units, s_l = 0.424. The mean 10.4 has u² = 0.18/2 from the
    units and, from run means 10.3 and 10.5, 0.02/2 from the runs that they shared, u = 0.316:

    >>> from kit.drain.phases import phase_drain
    >>> from kit.runtime.runtimes import runtimes
    >>> from kit.session import Device
    >>> from tests.helpers.builders import join_runs, make_session, seen
    >>> units = [Device(id=name, label=name, model="Whelk 10") for name in "ab"]
    >>> s = join_runs(*(make_session(devices=units, phases={"p1": 900},
    ...     power_offs={"a": seen(a, a), "b": seen(b, b)}) for a, b in ((600, 636), (612, 648))))
    >>> row = replicate_models(s, runtimes(s), phase_drain(s, Settings())).iloc[0]
    >>> [round(float(row[c]), 3) for c in ("mean", "s_r", "s_l", "mean_u")]
    [10.4, 0.141, 0.424, 0.316]
    """
    models = _models(repeats.session)
    return [
        _noted(
            "replicate_models",
            quantity,
            units,
            _model_row(quantity, name, units, repeats.coverage),
        )
        for quantity in (repeats.quantities if models else [])
        for name, units in models.items()
    ]
