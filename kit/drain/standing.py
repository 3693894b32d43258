"""Where the devices stand after every phase: charge left, drain so far, ranks with ties."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from kit.drain.declared import declared_comparisons, declared_margin, declared_pair
from kit.drain.margins import table_margin
from kit.drain.phases import frame_keys, methods, prepare, reached
from kit.drain.total_drain import total_drain
from kit.frames import result_frame
from kit.stats.order import tie_letters

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from kit.drain.phases import Prepared
    from kit.drain.simulation import Simulated
    from kit.results import Settings
    from kit.session import Session

__all__ = ["standing"]


_FULL_PP = 100.0
"""The most that a display can fall by (pp)."""


def _order(ready: Prepared, coverage: float) -> list[dict[str, NDArray[np.generic]]]:
    """Return ranks and letters for each measurand, flat in the order of the frame."""
    chains, now, found = ready.chains, ready.left, ready.places
    n_runs, n, p = len(chains.runs), len(chains.devices), len(chains.phases)
    cube = (n_runs, n, p)
    value, bound = now.value.reshape(cube), now.bound.reshape(cube)
    variance = np.stack((now.time_variance, now.time_variance + now.gauge_variance))
    ways = variance.shape[0]
    variance = variance.reshape(ways, *cube)
    on, off, unread, on_later, capped = (
        (flags & ~found.charged).reshape(cube)
        for flags in (found.on, found.off, found.unread, found.on_later, found.capped)
    )
    shown = now.shown.reshaped(cube)
    pair = declared_pair(chains.session)
    shape = (ways, n_runs, p, n)
    best, worst = np.full(shape, np.nan), np.full(shape, np.nan)
    letters = np.full(shape, "", dtype=object)
    for r in range(n_runs):
        count = on[r].sum(axis=0)
        bounded = int((count * capped[r].sum(axis=0)).sum())
        u = np.sqrt(variance[:, r, :, None] + variance[:, r, None, :])
        width = table_margin(
            shown[r, :, None] + shown[r, None, :], u, bound[r][:, None] + bound[r][None, :],
            coverage, int((count * (count - 1) // 2).sum()) + bounded,
        )  # fmt: skip
        if pair is not None:
            a, b = pair
            width[0, a, b] = width[0, b, a] = declared_margin(
                shown[r, a] + shown[r, b], u[0, a, b], bound[r, a] + bound[r, b], coverage,
                declared_comparisons(ready, found, pair), width[0, a, b],
            )  # fmt: skip
        with np.errstate(invalid="ignore"):
            above = value[r][:, None] - value[r][None, :] > width
        above &= on[r][:, None] & (on[r] | capped[r])[None, :]
        above |= (on[r] | on_later[r])[:, None] & off[r][None, :]
        gone = off[r] | unread[r]
        above |= gone[:, None] & off[r][None, :] & chains.off_times[r].later[:, :, None]
        taken = on[r] | off[r]
        # where nobody was read and nobody off there is no order to have a place in
        placed = taken | (unread[r] & taken.any(axis=0))
        above &= placed[:, None] & placed[None, :]
        blank = np.where(placed, 0.0, np.nan)
        best[:, r] = (blank + 1.0 + above.sum(axis=1)).transpose(0, 2, 1)
        worst[:, r] = (blank + placed.sum(axis=0) - above.sum(axis=2)).transpose(0, 2, 1)
        by_phase = np.ascontiguousarray(above.transpose(0, 3, 1, 2))
        # a place among one is none, where another was left out for having been charged
        alone = (placed.sum(axis=0) == 1) & found.charged.reshape(cube)[r].any(axis=0)
        best[:, r, alone] = worst[:, r, alone] = np.nan
        taken &= ~alone
        everybody = taken.all(axis=0).tolist()
        for j in range(p):
            part = np.flatnonzero(taken[:, j])
            for way in range(ways):
                order = by_phase[way, j]
                whose = order if everybody[j] else order[part[:, None], part]
                letters[way, r, j, part] = tie_letters(whose)
    return [
        {
            "rank_best": best[way].ravel(),
            "rank_worst": worst[way].ravel(),
            "tie_group": letters[way].ravel(),
        }
        for way in range(ways)
    ]


def standing(
    session: Session,
    settings: Settings,
    *,
    prepared: Prepared | None = None,
    simulated: Simulated | None = None,
) -> pd.DataFrame:
    """Return the standing after every phase.

    Parameters
    ----------
    session
        A record that passed its checks.
    settings
        The coverage probability.
    prepared
        From `kit.drain.phases.prepare`, if it was made already.
    simulated
        From `kit.drain.simulation.simulate`; as for `kit.drain.phases.phase_drain`.

    Returns
    -------
    DataFrame
        Columns ``kit.results.RESULT_COLUMNS["standing"]``. ``soc_pct`` is the percentage read
        at the end of the phase, NaN once a device is off. ``total_drain_pp`` (displayed drain)
        runs from the first reading and is 100 at the most. ``rank_best``, ``rank_worst`` and
        ``tie_group`` compare what the displays show, by the table rule over all pairs and phases of
        the run, and for the pair declared beforehand by its own (`kit.drain.declared`); the columns
        ``…_true_charge`` compare the charge left, gauge error included. A device that was not read
        where others were, or were off, may stand anywhere up to its last reading, but above those
        that were off while it was on: the ranks allow for it, the letters leave it out. A device
        that was charged has no place from then on (`Places.charged`). ``status``:
        ``measured``, ``no_reading``, ``died`` (in this phase), ``off`` (before it).

    Examples
    --------
    92, 80, 76, 60 %: together 32 pp, u = √(2/12) = 0.408 (two readings, not √(6/12)):

    >>> from kit.results import Settings
    >>> from kit.session import Assumptions
    >>> from tests.helpers.builders import make_session
    >>> s = make_session(phases={"p1": 60, "p2": 60, "p3": 60}, readings={"a": [92, 80, 76, 60]},
    ...     assumptions=Assumptions(reading_delay_min=0, phase_length_u_min=0))
    >>> row = standing(s, Settings()).iloc[-1]
    >>> float(row["total_drain_pp"]), round(float(row["total_drain_pp_u"]), 3)
    (32.0, 0.408)
    """
    ready = prepare(session) if prepared is None else prepared
    chains, found = ready.chains, ready.places
    total = total_drain(ready, settings.coverage)
    low, high, drawn = reached(
        total.low, total.high, None if simulated is None else simulated.phases["total_drain"]
    )
    drain, low, high = (np.minimum(each, _FULL_PP) for each in (total.drain, low, high))
    order = chains.in_frame_order
    shown = np.where(found.on, chains.shown_levels[:, 1::2], np.nan)
    before = found.off & ~found.dying
    status = np.full(before.shape, "no_reading", dtype=object)
    for where, name in ((found.on, "measured"), (before, "off"), (found.dying, "died")):
        status[where] = name
    columns = {
        "soc_pct": shown,
        "total_drain_pp": drain,
        "total_drain_pp_u": total.u,
        "total_drain_pp_low": low,
        "total_drain_pp_high": high,
        "method": methods(~np.isnan(total.drain), drawn),
        "status": status,
    }
    data: dict[str, NDArray[np.generic]] = {n: order(v) for n, v in columns.items()}
    orders = _order(ready, settings.coverage)
    for suffix, places in zip(("", "_true_charge"), orders, strict=True):
        data.update({name + suffix: column for name, column in places.items()})
    run, phase, device = frame_keys(chains)
    data.update({"run": run, "phase": phase, "device": device})
    return result_frame("standing", data)
