"""Whether one kind of device may be said to last longer than another."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING, Literal

import numpy as np

from kit.claims.kind_scatter import NOTHING, Part, days_between, expanded
from kit.claims.kinds import Kind, kinds, runtimes_seen
from kit.claims.unlike import NOT_COMPARED, UNLIKE_STARTS_PP
from kit.claims.verdicts import CANNOT, SUPPORTED
from kit.drain.off_times import common_start_min
from kit.drain.readings import observed
from kit.runtime.runtimes import charged_rows
from kit.session import columns_of

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

    import pandas as pd

    from kit.drain.readings import Observed
    from kit.results import Settings
    from kit.session import Session

__all__ = ["Bar", "KindPair", "compared_kinds", "first_percentages", "kind_pairs"]

Bar = Literal["", "no_runtime", "charged", "open_end", "settings", "start"]
"""Why two kinds cannot be compared: no runtime; charged during a run; the shorter runtime not
seen to its end; different settings; not started from the same charge."""


@dataclass(frozen=True, kw_only=True)
class KindPair:
    """Whether one kind may be said to last longer than another.

    Parameters
    ----------
    a, b
        The kinds, longer one first as observed.
    difference_min, needed_min
        Difference of runtimes and the margin it has to exceed (min). If the longer one is only a
        lower bound, so is the difference: to the end of the window of the shorter one.
    comparisons
        Pairs that the margin allows for; 1 for the declared one.
    declared
        Whether it is the pair that was declared before the session.
    assumed
        What is assumed of the two, in words.
    barred
        Why the two cannot be compared; empty if they can.
    """

    a: Kind
    b: Kind
    difference_min: float
    needed_min: float
    comparisons: int
    assumed: tuple[str, ...]
    barred: Bar
    declared: bool = False

    @property
    def scaled(self) -> bool:
        """Return whether a runtime is referred to a battery of rated capacity."""
        return self.a.scaled or self.b.scaled

    @property
    def supported(self) -> bool:
        """Return whether the difference exceeds its margin."""
        return not self.barred and self.difference_min > self.needed_min

    @property
    def verdict(self) -> str:
        """Return what may be said: nothing, unless the difference is large enough."""
        return SUPPORTED if self.supported else CANNOT


def first_percentages(session: Session, obs: Observed) -> dict[str, float]:
    """Return the mean percentage read at the start of the first phase, by device.

    Parameters
    ----------
    session
        Names the devices.
    obs
        From `kit.drain.readings.observed`.
    """
    if not session.phases:
        return {}
    first = np.flatnonzero((obs.phase == 0) & (obs.point == 0))
    device = obs.unit[first] % len(session.devices)
    seen: dict[str, list[float]] = {}
    for k, soc in zip(device.tolist(), obs.soc[first].tolist(), strict=True):
        seen.setdefault(session.devices[k].id, []).append(soc)
    return {device: sum(values) / len(values) for device, values in seen.items()}


def _barred(
    session: Session, a: Kind, b: Kind, charged: Collection[str], starts: Mapping[str, float]
) -> Bar:
    if math.isnan(a.mean_min) or math.isnan(b.mean_min):
        return "no_runtime"
    units = [session.devices[k] for kind in (a, b) for k in kind.devices]
    if any(d.id in charged for d in units):
        return "charged"
    if b.at_least:
        return "open_end"
    first: Mapping[str, object] = session.devices[a.devices[0]].conditions
    second: Mapping[str, object] = session.devices[b.devices[0]].conditions
    keys = {*first, *second} - set(NOT_COMPARED)
    if any(first.get(key) != second.get(key) for key in keys):
        return "settings"
    read = [starts[d.id] for d in units if d.id in starts]
    return "start" if read and max(read) - min(read) > UNLIKE_STARTS_PP else ""


def _parts(a: Kind, b: Kind) -> list[Part]:
    """Return what makes the difference of two kinds uncertain; nothing where one has no runtime.

    Where a run of one was stopped, the other one was seen to its end because it ended before: its
    runs may be alike by that alone, and are taken to scatter no less than is stated. The windows
    are in the difference then, which is the least that they allow.
    """
    if a.scatter is None or b.scatter is None:
        return []
    first, second = (
        kind.at_least_as_stated() if a.at_least or b.at_least else kind
        for kind in (a.scatter, b.scatter)
    )
    own = [
        part.times(kind.factor)
        for kind, scatter in ((a, first), (b, second))
        for part in (scatter.units, kind.health, NOTHING if a.at_least else kind.window)
    ]
    return [*own, *days_between(first, second, (a.factor, b.factor))]


def _is_declared(session: Session, a: Kind, b: Kind) -> bool:
    pair = session.declared_comparison
    if pair is None:
        return False
    ids = [{session.devices[k].id for k in kind.devices} for kind in (a, b)]
    return any(pair[i] in ids[0] and pair[1 - i] in ids[1] for i in (0, 1))


def kind_pairs(
    session: Session, runtimes: pd.DataFrame, settings: Settings, *, obs: Observed | None = None
) -> tuple[KindPair, ...]:
    """Return what may be said of every two kinds, longest first.

    Parameters
    ----------
    session, runtimes
        As for :func:`kinds`.
    settings
        ``coverage`` of all the statements together.
    obs
        From `kit.drain.readings.observed`, if the readings were taken apart already.

    Notes
    -----
    ``needed = √Σ(t u)²`` over all parts of both, t two-sided for 1 − (1 − coverage)/M with M pairs
    (Bonferroni) and the degrees of freedom of the part; M = 1 for the pair that was declared
    before the session. With 3 % scatter, one run each of 600 min and full batteries: u = 18 min
    each, 1.96 · 25.5 = 50 min for one chosen pair.
    """
    found = _by_charge_left(session, kinds(session, runtimes_seen(runtimes)), runtimes)
    obs = observed(session) if obs is None else obs
    charged: set[str] = set()
    if len(session.charges):
        charged = set(runtimes["device"][charged_rows(runtimes)])
    starts = first_percentages(session, obs)
    return compared_kinds(session, found, starts, settings, charged=charged)


def _by_charge_left(
    session: Session, found: Sequence[Kind], runtimes: pd.DataFrame
) -> Sequence[Kind]:
    """Return kinds in order of what they last showed, where some were still on, to ask of most."""
    if not any(kind.at_least for kind in found):
        return found
    shown: dict[str, list[float]] = {}
    columns = columns_of(runtimes, "device", "last_soc_pct")
    for device, soc in zip(*(column.tolist() for column in columns), strict=True):
        if soc == soc:
            shown.setdefault(device, []).append(soc)

    def left(kind: Kind) -> float:
        read = (shown.get(session.devices[k].id, [-1.0]) for k in kind.devices)
        return max(sum(values) / len(values) for values in read)

    return sorted(found, key=lambda kind: -left(kind) if kind.at_least else 0.0)


def compared_kinds(
    session: Session,
    found: Sequence[Kind],
    starts: Mapping[str, float],
    settings: Settings,
    *,
    charged: Collection[str] = (),
    asked: Collection[frozenset[str]] | None = None,
) -> tuple[KindPair, ...]:
    """Return what may be said of every two of some kinds; see `kind_pairs`.

    Parameters
    ----------
    session, settings
        As for `kind_pairs`.
    found
        From `kinds`.
    starts
        From `first_percentages`.
    charged
        Devices that were charged in a run before they powered off.
    asked
        Names of the kinds of the pairs to return; all if not given.
    """
    total = max(len(found) * (len(found) - 1) // 2, 1)
    known = [k for k in found if not math.isnan(k.mean_min)]
    order = sorted(known, key=lambda k: -k.mean_min)
    order += [k for k in found if math.isnan(k.mean_min)]
    # the start that both had in common is in the bounds of either
    start = common_start_min(session)
    pairs = []
    for a, b in combinations(order, 2):
        if asked is not None and frozenset((a.name, b.name)) not in asked:
            continue
        declared = _is_declared(session, a, b)
        comparisons = 1 if declared else total
        share = 1.0 - (1.0 - settings.coverage) / comparisons
        parts = _parts(a, b)
        words = (part.assumed for part in parts if part.u > 0.0 and part.assumed)
        pairs.append(
            KindPair(
                a=a,
                b=b,
                difference_min=(
                    a.least_min - b.most_min + start * min(a.factor, b.factor)
                    if a.at_least
                    else a.mean_min - b.mean_min
                ),
                needed_min=expanded(parts, share) if parts else math.nan,
                comparisons=comparisons,
                assumed=tuple(dict.fromkeys(words)),
                barred=_barred(session, a, b, charged, starts),
                declared=declared,
            )
        )
    return tuple(pairs)
