"""Who lasts longest on a mix of activities, and where the winner changes with the mix.

The rate on a mix that moves between two others is a straight line for each device; the winner is
the lowest of the lines, so it changes at a few crossings only.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from kit.drain.phases import prepare
from kit.drain.segments import segments
from kit.drain.usage_mix import OWN_MIX, lower_rates, mix_rates
from kit.frames import frame_of_rows, no_rows

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd
    from numpy.typing import NDArray

    from kit.drain.phases import Prepared
    from kit.drain.segments import Segments
    from kit.results import Settings
    from kit.session import Session

    Floats = NDArray[np.float64]

__all__ = ["SWITCH_COLUMNS", "mix_shifts", "winners"]

SWITCH_COLUMNS = (
    "run", "activity_a", "activity_b", "weight_a_from", "weight_a_to", "device", "supported",
)  # fmt: skip


def _envelope(at_0: Floats, at_1: Floats) -> list[tuple[float, float, int]]:
    """Return for straight lines on 0 … 1 where each is the lowest: (from, to, line)."""
    found: list[tuple[float, float, int]] = []
    w = 0.0
    slope = at_1 - at_0
    line = int(np.lexsort((slope, at_0))[0])
    while True:
        gain = slope[line] - slope
        with np.errstate(divide="ignore", invalid="ignore"):
            cross = np.where(gain > 1e-12, (at_0 - at_0[line]) / gain, np.inf)
        cross = np.where(cross < w - 1e-12, np.inf, cross)
        cross[line] = np.inf
        nearest = float(cross.min())
        if not nearest < 1.0:
            found.append((w, 1.0, line))
            return found
        after = np.flatnonzero(cross <= nearest + 1e-12)
        following = int(after[np.argmin(slope[after])])
        if nearest > w:
            found.append((w, nearest, line))
        w, line = nearest, following


@dataclass(frozen=True, kw_only=True)
class _Blend:
    """Two mixes between which a third one moves: weight 0 is ``rest``, weight 1 is ``more``."""

    rest: Mapping[str, float]
    more: Mapping[str, float]

    def at(self, weight: float) -> dict[str, float]:
        """Return the shares of time at one weight of ``more``."""
        shares: dict[str, float] = {}
        for part, share in ((self.more, weight), (self.rest, 1.0 - weight)):
            total = sum(part.values())
            for activity, value in part.items():
                shares[activity] = shares.get(activity, 0.0) + share * value / total
        return shares


def _leads(
    ready: Prepared, found: Segments, blend: _Blend, run: int, coverage: float,
    rates: tuple[Floats, Floats],
) -> list[tuple[float, float, str, bool]]:  # fmt: skip
    """Return (weight from, to, device with the lowest rate, whether its lead holds) of one run.

    ``rates``: those of the whole session at the two ends of the blend, shape (K,).
    """
    chains = ready.chains
    n = len(chains.devices)
    part = slice(run * n, (run + 1) * n)
    at_0, at_1 = (rate[part] for rate in rates)
    both = np.flatnonzero(~np.isnan(at_0 + at_1))
    if both.size < 2:
        return []
    rows = []
    for w0, w1, line in _envelope(at_0[both], at_1[both]):
        middle = mix_rates(ready, blend.at((w0 + w1) / 2.0), found=found)
        lower, known = lower_rates(middle, part, coverage)
        lead = int(both[line])
        others = [int(j) for j in both if j != lead and known[j]]
        rows.append((w0, w1, chains.devices[lead], bool(lower[lead, others].all())))
    return rows


def winners(
    session: Session, settings: Settings, *, prepared: Prepared | None = None
) -> pd.DataFrame:
    """Return which device lasts longest on every mix of two activities.

    Parameters
    ----------
    session
        A record that passed its checks.
    settings
        The coverage probability.
    prepared
        From `kit.drain.phases.prepare`, if it was made already.

    Returns
    -------
    DataFrame
        Columns `SWITCH_COLUMNS`: for each pair of activities the ranges of the weight of a
        (b has the rest) and the device with the lowest estimated rate there. ``supported``:
        in the middle of the range its lead over every other device holds by the table rule.
        Only devices with both activities take part.
    """
    import pandas as pd

    ready = prepare(session) if prepared is None else prepared
    stretches = segments(ready, ready.chains.observed)
    names = [a for a in dict.fromkeys(stretches.activity.T.ravel().tolist()) if a]
    single = {a: mix_rates(ready, {a: 1.0}, found=stretches).rate for a in names}
    rows: list[tuple[object, ...]] = []
    for r, run in enumerate(ready.chains.runs):
        for a, b in combinations(names, 2):
            blend = _Blend(rest={b: 1.0}, more={a: 1.0})
            found = _leads(ready, stretches, blend, r, settings.coverage, (single[b], single[a]))
            rows += [(run, a, b, *lead) for lead in found]
    return pd.DataFrame(rows, columns=list(SWITCH_COLUMNS))


def mix_shifts(
    session: Session,
    settings: Settings,
    *,
    prepared: Prepared | None = None,
    found: Segments | None = None,
    mixes: Mapping[str, Mapping[str, float]] | None = None,
) -> pd.DataFrame:
    """Return who lasts longest as one activity of a mix takes more or less of the time.

    Parameters
    ----------
    session, settings, prepared, found, mixes
        As for `usage_mixes`.

    Returns
    -------
    DataFrame
        Columns ``kit.results.RESULT_COLUMNS["mix_shifts"]``: for each mix and each activity in
        it (``share``: what it has in the mix) the ranges of its share of time, the others keeping
        their proportions, and the device with the lowest estimated rate there. ``supported`` as
        for `winners`. A mix of two activities has ranges of its first one only; the
        session's own mix is left out where there are others.

    Notes
    -----
    The rate on the mix is ``w r_a + (1 − w) r_rest``: a straight line in w for each device, and
    the winner is the lowest of them.
    """
    ready = prepare(session) if prepared is None else prepared
    stretches = segments(ready, ready.chains.observed) if found is None else found
    rows: list[tuple[object, ...]] = []
    chosen = dict(session.mixes if mixes is None else mixes)
    if len(chosen) > 1:
        chosen.pop(OWN_MIX, None)
    alone: dict[str, Floats] = {}
    for name, weights in chosen.items():
        used = {a: w for a, w in weights.items() if w > 0.0}
        whole = mix_rates(ready, used, found=stretches).rate
        # of two activities one says it all
        moved = list(used.items())[: len(used) if len(used) > 2 else len(used) - 1]
        for activity, weight in moved:
            share = weight / sum(used.values())
            if activity not in alone:
                alone[activity] = mix_rates(ready, {activity: 1.0}, found=stretches).rate
            rest = {a: w for a, w in used.items() if a != activity}
            ends = ((whole - share * alone[activity]) / (1.0 - share), alone[activity])
            blend = _Blend(rest=rest, more={activity: 1.0})
            for r, run in enumerate(ready.chains.runs):
                leads = _leads(ready, stretches, blend, r, settings.coverage, ends)
                rows += [(run, name, activity, share, *lead) for lead in leads]
    return frame_of_rows("mix_shifts", rows) if rows else no_rows("mix_shifts")
