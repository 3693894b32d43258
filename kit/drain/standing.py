"""Where the devices stand after every phase: charge left, drain so far, ranks with ties."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from kit.drain.order import table_margin
from kit.drain.phases import frame_keys, methods, prepare, reached
from kit.drain.states import gauge_covariance, time_variance
from kit.drain.total_drain import total_drain
from kit.frames import result_frame
from kit.stats.order import tie_letters
from kit.stats.uncertainty import resolution

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from kit.drain.chains import Chains
    from kit.drain.phases import Prepared
    from kit.drain.simulation import Simulated
    from kit.drain.states import States
    from kit.results import Settings
    from kit.session import Session
    from kit.stats.uncertainty import Resolution

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]

__all__ = ["standing"]


def _dead_order(chains: Chains, run: int) -> Bools:
    """Return ``above[i, j]``: i is known to have powered off after j."""
    return chains.off_times[run].later


@dataclass(frozen=True, kw_only=True)
class _Left:
    """Charge left at the end of every phase, shape (K, P), with what it takes to compare it.

    ``variance`` of shape (m, K, P): m ways to compare it.
    """

    value: Floats
    shown: Resolution
    variance: Floats
    bound: Floats
    alive: Bools
    off: Bools
    unread: Bools
    on_later: Bools


def _unread(chains: Chains, now: States, alive: Bools, off: Bools) -> tuple[Bools, Bools]:
    """Return who was not read at the end of a phase in which others were, and who was still on.

    A device without any reading in the run does not take part. One that was read, or powered
    off, after that phase was on at its end.
    """
    n_runs, n, p = len(chains.runs), len(chains.devices), len(chains.phases)
    took_part = np.asarray(now.valid.any(axis=1) | off.any(axis=1), dtype=bool)
    others = alive.reshape(n_runs, n, p).any(axis=1)
    unread = ~alive & ~off & took_part[:, None] & np.repeat(others, n, axis=0)
    last_read = np.where(now.valid, np.arange(2 * p), -1).max(axis=1, initial=-1)
    phases = np.arange(p)
    later = (last_read[:, None] > 2 * phases + 1) | (chains.death[:, None] > phases)
    later |= (chains.gone[:, None] < p) & (chains.gone[:, None] > phases)
    return unread, np.asarray(unread & later, dtype=bool)


def _order(chains: Chains, left: _Left, coverage: float) -> list[dict[str, NDArray[np.generic]]]:
    """Return ranks and letters for each way to compare, flat in the order of the frame."""
    n_runs, n, p = len(chains.runs), len(chains.devices), len(chains.phases)
    cube = (n_runs, n, p)
    value, bound = left.value.reshape(cube), left.bound.reshape(cube)
    ways = left.variance.shape[0]
    variance = left.variance.reshape(ways, *cube)
    alive, off = left.alive.reshape(cube), left.off.reshape(cube)
    unread, on_later = left.unread.reshape(cube), left.on_later.reshape(cube)
    shown = left.shown.reshaped(cube)
    shape = (ways, n_runs, p, n)
    best, worst = np.full(shape, np.nan), np.full(shape, np.nan)
    letters = np.full(shape, "", dtype=object)
    for r in range(n_runs):
        count = alive[r].sum(axis=0)
        u = np.sqrt(variance[:, r, :, None] + variance[:, r, None, :])
        width = table_margin(
            shown[r, :, None] + shown[r, None, :], u, bound[r][:, None] + bound[r][None, :],
            coverage, int((count * (count - 1) // 2).sum()),
        )  # fmt: skip
        with np.errstate(invalid="ignore"):
            above = value[r][:, None] - value[r][None, :] > width
        above |= alive[r][:, None] & off[r][None, :]
        above |= off[r][:, None] & off[r][None, :] & _dead_order(chains, r)[:, :, None]
        above |= on_later[r][:, None] & off[r][None, :]
        taken = alive[r] | off[r]
        placed = taken | unread[r]
        above &= placed[:, None] & placed[None, :]
        blank = np.where(placed, 0.0, np.nan)
        best[:, r] = (blank + 1.0 + above.sum(axis=1)).transpose(0, 2, 1)
        worst[:, r] = (blank + placed.sum(axis=0) - above.sum(axis=2)).transpose(0, 2, 1)
        for j in range(p):
            part = np.flatnonzero(taken[:, j])
            for way in range(ways):
                letters[way, r, j, part] = tie_letters(above[way, part[:, None], part, j])
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
        at the end of the phase, 0 once a device is off. ``total_drain_pp`` (displayed drain)
        runs from the first reading. ``rank_best``, ``rank_worst`` and ``tie_group`` compare
        what the displays show, by the table rule over all pairs and phases of the run; the
        columns ``…_true_charge`` compare the charge left, gauge error included. A device that
        was not read where others were may stand anywhere, but above those that were off while it
        was on: the ranks allow for it, the letters leave it out. ``status``:
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
    chains, now = ready.chains, ready.states
    p = chains.length_h.shape[1]
    phases = np.arange(p)
    dying = phases == chains.death[:, None]
    off = (phases >= chains.gone[:, None]) & ~dying
    end = now.matrix[:, 1::2]
    ok = now.valid[:, 1::2] & ~off & ~dying
    obs = chains.observations
    left = resolution(
        end,
        weights=obs.weight[:, None, :],
        step=obs.step[:, None],
        convention_variance=chains.offset_variance[:, None],
    )
    at_end = np.zeros((chains.units, p, 2 * p))
    at_end[:, phases, 2 * phases + 1] = 1.0
    time_end = time_variance(now, at_end)
    gauge = gauge_covariance(chains, now)
    u_gauge2 = ((end @ gauge) * end).sum(axis=2)
    total = total_drain(ready, settings.coverage)
    low, high, drawn = reached(
        total.low, total.high, None if simulated is None else simulated.phases["total_drain"]
    )
    bound = now.bounds(at_end)
    order = chains.in_frame_order
    columns = {
        "soc_pct": np.where(off | dying, 0.0, np.where(ok, chains.shown_levels[:, 1::2], np.nan)),
        "total_drain_pp": total.drain,
        "total_drain_pp_u": total.u,
        "total_drain_pp_low": low,
        "total_drain_pp_high": high,
        "method": methods(~np.isnan(total.drain), drawn),
        "status": np.select([dying, off, ok], ["died", "off", "measured"], "no_reading").astype(
            object
        ),
    }
    data: dict[str, NDArray[np.generic]] = {n: order(v) for n, v in columns.items()}
    value = np.where(ok, now.value[:, 1::2], np.nan)
    unread, on_later = _unread(chains, now, ok, off | dying)
    orders = _order(
        chains,
        _Left(
            value=value,
            shown=left,
            variance=np.stack((time_end, time_end + u_gauge2)),
            bound=bound,
            alive=ok,
            off=off | dying,
            unread=unread,
            on_later=on_later,
        ),
        settings.coverage,
    )
    for suffix, found in zip(("", "_true_charge"), orders, strict=True):
        data.update({name + suffix: column for name, column in found.items()})
    run, phase, device = frame_keys(chains)
    data.update({"run": run, "phase": phase, "device": device})
    return result_frame("standing", data)
