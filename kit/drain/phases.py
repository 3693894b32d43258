"""Drain and rate of every device in every phase, in two measurands, with their intervals.

*Displayed* drain is what the device's own gauge lost, before rounding: for statements within a
device. *True-charge* drain is the usable charge lost, 0 at the power-off by definition; the
gauge's error counts: for statements between devices.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from kit.drain.chains import build_chains
from kit.drain.flags import FLAGS, UNRANKED, flag_matrix, join_flags
from kit.drain.intervals import intervals
from kit.drain.model import drains, saturated
from kit.drain.places import left, places
from kit.drain.states import states
from kit.frames import result_frame
from kit.stats.monte_carlo import furthest, tolerance

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd
    from numpy.typing import NDArray

    from kit.drain.chains import Chains
    from kit.drain.model import Drains
    from kit.drain.places import Left, Places
    from kit.drain.simulation import Figures, Simulated
    from kit.drain.states import States
    from kit.results import Measurand, Settings
    from kit.session import Session

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]
    Texts = NDArray[np.object_]

__all__ = [
    "AGREEMENT_DIGITS",
    "FLAGS",
    "MEASURANDS",
    "UNRANKED",
    "Prepared",
    "frame_keys",
    "methods",
    "phase_drain",
    "phase_status",
    "prepare",
    "reached",
]

MEASURANDS: tuple[Measurand, Measurand] = ("displayed", "true_charge")

AGREEMENT_DIGITS = 1
"""Closed form and Monte Carlo are compared to this many digits of u (JCGM 101, clause 8)."""


@dataclass(frozen=True, kw_only=True)
class Prepared:
    """Chains with their states and drains in both measurands: computed once, used everywhere.

    Parameters
    ----------
    status
        Shape (K, P), per measurand.
    flags
        Code → shape (K, P), whether it applies.
    """

    chains: Chains
    states: States
    drains: Mapping[Measurand, Drains]
    status: Mapping[Measurand, Texts]
    flags: Mapping[str, Bools]

    @property
    def ranked(self) -> Bools:
        """Return which devices may be compared in which phases, shape (K, P)."""
        barred = np.zeros(self.chains.length_h.shape, dtype=bool)
        for code in UNRANKED:
            barred |= self.flags[code]
        return np.asarray((self.status["displayed"] == "measured") & ~barred, dtype=bool)

    @cached_property
    def places(self) -> Places:
        """Return who was on, off or not read after each phase; of all units of a session."""
        return places(self.chains, self.states)

    @cached_property
    def left(self) -> Left:
        """Return the charge left after each phase; of all units of a session."""
        return left(self.chains, self.states, self.places)


def prepare(session: Session, *, chains: Chains | None = None) -> Prepared:
    """Return everything that the frames of this and other modules are made from.

    Parameters
    ----------
    session
        A record that passed its checks.
    chains
        From `kit.drain.chains.build_chains`, if they were built already.

    Examples
    --------
    >>> from tests.helpers.builders import make_session
    >>> ready = prepare(make_session(phases={"p1": 60, "p2": 60}, readings={"a": [90, 78, 66]}))
    >>> ready.status["displayed"].tolist(), ready.ranked.tolist()
    ([['measured', 'measured']], [[True, True]])
    """
    chains = build_chains(session) if chains is None else chains
    now = states(chains)
    found = drains(chains, now=now)
    return Prepared(
        chains=chains,
        states=now,
        drains=found,
        status={m: phase_status(chains, found[m]) for m in MEASURANDS},
        flags=flag_matrix(chains, found["displayed"]),
    )


def phase_status(chains: Chains, found: Drains) -> Texts:
    """Return the status of every unit in every phase, shape (K, P).

    The first that applies of: not_reached, died, no_reading, saturated, split,
    unknown_length, measured.

    Examples
    --------
    a died in the second phase and did not reach the third, b was not read after the second, so
    neither that phase nor the next has a drain:

    >>> from tests.helpers.builders import make_session
    >>> s = make_session(phases={"p1": 60, "p2": 60, "p3": 60},
    ...     readings={"a": [90, 40], "b": [90, 80, None, 60]}, power_offs={"a": 99})
    >>> chains = build_chains(s)
    >>> phase_status(chains, drains(chains)["displayed"]).tolist()
    [['measured', 'died', 'not_reached'], ['measured', 'no_reading', 'no_reading']]
    """
    phases = np.arange(len(chains.phases))
    split = np.array([p.is_split for p in chains.session.phases], dtype=bool)
    sat = saturated(chains)
    if found.measurand == "displayed":
        sat = sat & (chains.levels[:, 1::2] == 100.0)
    dying = phases == chains.death[:, None]
    status = np.full(found.drain_pp.shape, "measured", dtype=object)
    # what goes before the others is written last
    status[~chains.timed] = "unknown_length"
    status[:, split] = "split"
    status[np.isnan(found.drain_pp)] = "no_reading"
    status[sat & ~chains.charged] = "saturated"
    status[dying] = "died"
    status[(phases >= chains.gone[:, None]) & ~dying] = "not_reached"
    return status


def frame_keys(chains: Chains) -> tuple[Texts, Texts, Texts]:
    """Return run, phase and device of each row of a frame in its order.

    Examples
    --------
    >>> from tests.helpers.builders import make_session
    >>> s = make_session(devices=["a", "b"], phases={"p1": 60, "p2": 60})
    >>> list(zip(*(column.tolist() for column in frame_keys(build_chains(s)))))
    [(1, 'p1', 'a'), (1, 'p1', 'b'), (1, 'p2', 'a'), (1, 'p2', 'b')]
    """
    n_runs, n_phases, n_devices = len(chains.runs), len(chains.phases), len(chains.devices)
    return (
        np.repeat(np.array(chains.runs, dtype=np.int64), n_phases * n_devices),
        np.tile(np.repeat(np.array(chains.phases, dtype=object), n_devices), n_runs),
        np.tile(np.array(chains.devices, dtype=object), n_runs * n_phases),
    )


def reached(
    low: Floats, high: Floats, drawn: Figures | None, *, u: Floats | None = None
) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Return the interval to state, and where Monte Carlo reaches further than the closed form.

    Parameters
    ----------
    low, high
        Ends by the closed form.
    drawn
        The same result by Monte Carlo; ``None``: not drawn.
    u
        Standard uncertainty for the tolerance, where the draws have none worth stating.

    Examples
    --------
    11.20 to 12.80 by the closed form. u = 0.41 is 0.4 to one digit, so the tolerance is half of
    the last place, 0.05: draws that reach to 12.83 change nothing, those that reach to 12.90 do:

    >>> from kit.drain.simulation import Figures
    >>> for far in (12.83, 12.90):
    ...     drawn = Figures(u=np.array([0.41]), low=np.array([11.25]), high=np.array([far]))
    ...     low, high, by_draws = reached(np.array([11.2]), np.array([12.8]), drawn)
    ...     print(low.tolist(), high.tolist(), by_draws.tolist())
    [11.2] [12.8] [False]
    [11.2] [12.9] [True]
    """
    if drawn is None:
        return low, high, np.zeros(low.shape, dtype=bool)
    spread = drawn.u if u is None else np.where(np.isnan(drawn.u), u, drawn.u)
    delta = tolerance(spread, AGREEMENT_DIGITS)
    return furthest(low, high, drawn.low, drawn.high, delta)


def methods(known: Bools, drawn: NDArray[np.bool_]) -> Texts:
    """Return by which method each result is stated: ``gum``, ``monte_carlo``, or empty.

    Examples
    --------
    >>> methods(np.array([True, True, False]), np.array([False, True, False])).tolist()
    ['gum', 'monte_carlo', '']
    """
    return np.where(drawn, "monte_carlo", np.where(known, "gum", "")).astype(object)


def phase_drain(
    session: Session,
    settings: Settings,
    *,
    prepared: Prepared | None = None,
    simulated: Simulated | None = None,
) -> pd.DataFrame:
    """Return drain and rate per run, phase, device and measurand.

    Parameters
    ----------
    session
        A record that passed its checks.
    settings
        The coverage probability.
    prepared
        From `prepare`, if it was made already.
    simulated
        From `kit.drain.simulation.simulate`. Where its interval reaches beyond that of the
        closed form by more than the numerical tolerance, it is stated instead.

    Returns
    -------
    DataFrame
        Columns ``kit.results.RESULT_COLUMNS["phase_drain"]``; ordered by run, phase, device,
        measurand. Drains in pp, rates in pp/h, durations in h. A device that powered off has
        the time it was on as ``duration_h``. ``method``: ``gum``, ``monte_carlo`` or empty.

    Notes
    -----
    ``U = √(X² + k²u²) + b``: X covers the resolution of the display, u is everything else, b
    what cannot be averaged (an unlogged gap). Derived in docs/measurement.md.

    Examples
    --------
    87 % to 75 % in one hour, nothing but the resolution: 12 pp, u = √(2/12) = 0.408, ± 0.80:

    >>> from kit.results import Settings
    >>> from kit.session import Assumptions
    >>> from tests.helpers.builders import make_session
    >>> s = make_session(phases={"p1": 60, "p2": 60}, readings={"a": [100, 87, 75]},
    ...     assumptions=Assumptions(reading_delay_min=0, phase_length_u_min=0))
    >>> row = phase_drain(s, Settings()).query("phase == 'p2' and measurand == 'displayed'")
    >>> row[["drain_pp", "drain_pp_u", "drain_pp_low", "drain_pp_high"]].round(3).values.tolist()
    [[12.0, 0.408, 11.2, 12.8]]
    """
    ready = prepare(session) if prepared is None else prepared
    chains = ready.chains
    order = chains.in_frame_order
    flags = order(join_flags(ready.flags, chains.length_h.shape))
    columns: dict[str, list[NDArray[np.generic]]] = {}
    ends = intervals([ready.drains[m] for m in MEASURANDS], settings.coverage)
    for measurand, closed in zip(MEASURANDS, ends, strict=True):
        for name, values in _per_phase(ready, measurand, closed, simulated).items():
            columns.setdefault(name, []).append(order(values))
    keys = dict(zip(("run", "phase", "device"), frame_keys(chains), strict=True))
    data: dict[str, NDArray[np.generic]] = {n: np.repeat(v, 2) for n, v in keys.items()}
    data["measurand"] = np.tile(np.array(MEASURANDS, dtype=object), flags.size)
    data["flags"] = np.repeat(flags, 2)
    data.update({name: np.stack(parts, axis=1).ravel() for name, parts in columns.items()})
    return result_frame("phase_drain", data)


def _per_phase(
    ready: Prepared,
    measurand: Measurand,
    ends: tuple[Floats, Floats, Floats, Floats],
    simulated: Simulated | None,
) -> dict[str, NDArray[np.generic]]:
    """Return the columns of `phase_drain` for one measurand, each of shape (K, P)."""
    found, ran = ready.drains[measurand], ready.chains.exposure_h
    low, high, rate_low, rate_high = ends
    of_drain, of_rate = (
        None if simulated is None else simulated.phases[f"{measurand}_{what}"]
        for what in ("drain", "rate")
    )
    low, high, drawn = reached(low, high, of_drain)
    rate_low, rate_high, rate_drawn = reached(rate_low, rate_high, of_rate)
    return {
        "status": ready.status[measurand],
        "start_pct": found.start_pct,
        "end_pct": found.end_pct,
        "duration_h": np.where(ran > 0.0, ran, np.nan),
        "duration_h_u": found.exposure_u_h,
        "drain_pp": found.best_pp,
        "drain_pp_u": found.u_pp,
        "drain_pp_low": low,
        "drain_pp_high": high,
        "rate_pp_per_h": found.rate_pp_per_h,
        "rate_pp_per_h_u": found.rate_u_pp_per_h,
        "rate_pp_per_h_low": rate_low,
        "rate_pp_per_h_high": rate_high,
        "method": methods(~np.isnan(found.drain_pp), drawn | rate_drawn),
    }
