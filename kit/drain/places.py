"""Who was on, off or not read after each phase, and what one not read still had at most."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from kit.drain.charged import charged_by
from kit.drain.states import gauge_covariance, time_variance
from kit.stats.uncertainty import resolution

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from kit.drain.chains import Chains
    from kit.drain.states import States
    from kit.stats.uncertainty import Resolution

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]

__all__ = ["Left", "Places", "left", "places"]


@dataclass(frozen=True, kw_only=True)
class Places:
    """What is known of every unit after every phase, shape (K, P).

    Parameters
    ----------
    on, off
        There is a state of charge; it had powered off.
    dying
        It powered off in this phase.
    unread
        Neither, though the run has something of it.
    on_later
        Of these: it was read, or powered off, later.
    capped
        Of these: it stood no higher than at its last reading before, for it was not charged since.
    begun
        It was not known to be off when the phase began.
    charged
        It had been charged in the run by the end of the phase: it stands beside no other.
    at
        Boundary whose state stands for the unit: the end of the phase; if capped, that of its last
        reading; −1 else.
    """

    on: Bools
    off: Bools
    dying: Bools
    unread: Bools
    on_later: Bools
    capped: Bools
    begun: Bools
    charged: Bools
    at: NDArray[np.int64]


def _charged(chains: Chains) -> Bools:
    """Return which units had been charged by the end of each phase, alternatives as the record."""
    end_h = chains.start_h + chains.length_h
    if not len(chains.session.charges):
        return np.zeros(end_h.shape, dtype=bool)
    origin = chains.origin
    of_record = np.full((len(chains.runs) * len(chains.devices), end_h.shape[1]), np.nan)
    of_record[origin] = end_h
    return charged_by(chains.session, of_record)[origin]


def places(chains: Chains, now: States, seen: Bools | None = None) -> Places:
    """Return who was on, off or not read after each phase.

    Parameters
    ----------
    chains, now
        From `kit.drain.chains.build_chains` and `kit.drain.states.states`.
    seen
        Shape (K,). Whether the run says when the unit was on at all; by default what the
        power-offs of the chains say.

    Examples
    --------
    a was read after both phases; b died in the second; c was not read after the first, but later:

    >>> from kit.drain.chains import build_chains
    >>> from kit.drain.states import states
    >>> from tests.helpers.builders import make_session
    >>> chains = build_chains(make_session(phases={"p1": 60, "p2": 60}, power_offs={"b": 99},
    ...     readings={"a": [90, 80, 70], "b": [90, 20], "c": [90, None, 50]}))
    >>> found = places(chains, states(chains))
    >>> found.on.tolist(), found.off.tolist()
    ([[True, True], [True, False], [False, True]], [[False, False], [False, True], [False, False]])
    >>> found.unread[2].tolist(), found.on_later[2].tolist(), found.at[2].tolist()
    ([True, False], [True, False], [0, 3])
    """
    if seen is None:
        lows = [offs.low for offs in chains.off_times]
        seen = ~np.isnan(np.concatenate(lows)) if lows else np.zeros(0, dtype=bool)
    p = chains.length_h.shape[1]
    phases, boundaries = np.arange(p), np.arange(2 * p)
    dying = phases == chains.death[:, None]
    begun = (phases < chains.gone[:, None]) | dying
    off = ~begun | dying
    on = now.valid[:, 1::2] & ~off
    took_part = now.valid.any(axis=1) | off.any(axis=1) | seen
    unread = ~on & ~off & took_part[:, None]
    last = np.where(now.valid, boundaries, -1)
    later = (last.max(axis=1, initial=-1)[:, None] > 2 * phases + 1) | (
        chains.death[:, None] > phases
    )
    later |= (chains.gone[:, None] < p) & (chains.gone[:, None] > phases)
    before = np.maximum.accumulate(last, axis=1)[:, 1::2] if p else last
    charged = np.cumsum(chains.charged | ~chains.joined, axis=1)
    in_phase = np.maximum(before, 0) // 2
    # charged within the phase of that reading counts too, unless it is the phase's end
    within = (before % 2 == 0) & np.take_along_axis(chains.charged, in_phase, axis=1)
    since = np.take_along_axis(charged, in_phase, axis=1) - within
    capped = unread & (before >= 0) & (charged == since)
    return Places(
        on=on,
        off=off,
        dying=dying,
        unread=unread,
        on_later=unread & later,
        capped=capped,
        begun=begun & took_part[:, None],
        charged=_charged(chains),
        at=np.where(on, 2 * phases + 1, np.where(capped, before, -1)),
    )


@dataclass(frozen=True, kw_only=True)
class Left:
    """Charge left after every phase with what it takes to compare it, shape (K, P).

    Parameters
    ----------
    value
        Charge left by the display (%), at most that if capped; NaN where nothing is known.
    shown
        What the resolution adds to it.
    time_variance, gauge_variance
        From the moments of the readings, and from the gauge (pp²).
    bound
        Half-width from gaps (pp).
    """

    value: Floats
    shown: Resolution
    time_variance: Floats
    gauge_variance: Floats
    bound: Floats


def left(chains: Chains, now: States, found: Places) -> Left:
    """Return the charge left of every unit after every phase.

    Parameters
    ----------
    chains, now
        As for `places`.
    found
        From `places`.

    Examples
    --------
    After an hour 80 % are left by the display, u = √(1/12) = 0.289 from its resolution, and
    3/√3 = 1.732 from a gauge that may be 3 pp off:

    >>> from kit.drain.chains import build_chains
    >>> from kit.drain.states import states
    >>> from kit.session import Device, Gauge
    >>> from tests.helpers.builders import make_session
    >>> a = Device(id="a", label="a", gauge=Gauge(rounding="nearest"))
    >>> chains = build_chains(make_session(devices=[a], phases={"p1": 60}, readings={"a": [90, 80]},
    ...                                    timed=False))
    >>> now = states(chains)
    >>> found = left(chains, now, places(chains, now))
    >>> [round(float(u[0, 0]), 3) for u in (found.shown.u, found.gauge_variance**0.5)]
    [0.289, 1.732]
    """
    at = found.at
    b = now.level.shape[1]
    base = ((at[:, :, None] == np.arange(b)) & (at >= 0)[:, :, None]).astype(np.float64)
    rows = base @ now.matrix
    state = (base @ np.nan_to_num(now.value)[:, :, None])[:, :, 0]
    return Left(
        value=np.where(at >= 0, state, np.nan),
        shown=resolution(
            rows,
            weights=chains.observations.weight[:, None, :],
            step=chains.observations.step[:, None],
            convention_variance=chains.offset_variance[:, None],
        ),
        time_variance=time_variance(now, base),
        gauge_variance=((rows @ gauge_covariance(chains, now)) * rows).sum(axis=2),
        bound=now.bounds(base),
    )
