"""Who lasts longest on a mix of activities, and where the winner changes with the mix.

The rate on a mix that moves between two others is a straight line for each device; the winner is
the lowest of the lines, so it changes at a few crossings only.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from kit.drain.mix_rates import lower_of, several_mixes
from kit.drain.phases import prepare
from kit.drain.segments import segments
from kit.drain.usage_mix import OWN_MIX
from kit.frames import frame_of_rows, no_rows

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    import pandas as pd
    from numpy.typing import NDArray

    from kit.drain.phases import Prepared
    from kit.drain.segments import Segments
    from kit.results import Settings
    from kit.session import Session

    Floats = NDArray[np.float64]

__all__ = ["mix_shifts"]


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


class _Range(NamedTuple):
    """A range of the weight of a blend in one run, and the device with the lowest rate there."""

    run: int
    blend: _Blend
    low: float
    high: float
    lead: int
    rivals: tuple[int, ...]


def _ranges(
    ready: Prepared, blend: _Blend, run: int, rates: tuple[Floats, Floats]
) -> Iterator[_Range]:
    """Yield the ranges of one run.

    ``rates``: those of the whole session at the two ends of the blend, shape (K,).
    """
    n = len(ready.chains.devices)
    at_0, at_1 = (rate[run * n : (run + 1) * n] for rate in rates)
    both = np.flatnonzero(~np.isnan(at_0 + at_1))
    if both.size < 2:
        return
    for low, high, line in _envelope(at_0[both], at_1[both]):
        lead = int(both[line])
        rivals = tuple(k for k in both.tolist() if k != lead)
        yield _Range(run, blend, low, high, lead, rivals)


def _hold(
    ready: Prepared, found: Segments, ranges: Sequence[_Range], coverage: float
) -> list[bool]:
    """Return whether the lead in the middle of each range holds over every other device."""
    if not ranges:
        return []
    n = len(ready.chains.devices)
    middles = [one.blend.at((one.low + one.high) / 2.0) for one in ranges]
    rates = several_mixes(ready, middles, found=found)
    each = np.arange(len(ranges))[:, None]
    units = np.array([one.run * n for one in ranges])[:, None] + np.arange(n)
    lower, known = lower_of(
        rates.rate[each, units], rates.resolution[each, units], rates.u_other[each, units],
        rates.bound[each, units], coverage,
    )  # fmt: skip
    return [
        all(lower[i, one.lead, k] for k in one.rivals if known[i, k])
        for i, one in enumerate(ranges)
    ]


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
        their proportions, and the device with the lowest estimated rate there. ``supported``:
        in the middle of the range its lead over every other device holds by the table rule. Only
        devices with all activities of the mix take part. A mix of two activities has ranges of
        its first one only; the session's own mix is left out where there are others.

    Notes
    -----
    The rate on the mix is ``w r_a + (1 − w) r_rest``: a straight line in w for each device, and
    the winner is the lowest of them.

    Examples
    --------
    a drains 5 pp/h idle and 20 in a game, b 8 and 15: on a mix with the share w of idle 20 − 15w
    and 15 − 7w, alike at w = 5/8. Below that b is ahead, in the middle (w = 5/16) by 2.5 pp/h where
    1.375 can hide in the readings; above it a, in the middle by 1.5 where it takes 1.625. The mix
    has 3 parts of idle and 1 of game, and stands at ¾:

    >>> from kit.results import Settings
    >>> from kit.session import Device, Gauge
    >>> from tests.helpers.builders import BARE, make_session
    >>> units = [Device(id=d, label=d, gauge=Gauge(counts="energy")) for d in "ab"]
    >>> s = make_session(devices=units, phases={"idle": 60, "game": 60}, assumptions=BARE,
    ...                  readings={"a": [95, 90, 70], "b": [95, 87, 72]})
    >>> rows = mix_shifts(s, Settings(), mixes={"day": {"idle": 3, "game": 1}})
    >>> rows[["activity", "share"]].drop_duplicates().values.tolist()
    [['idle', 0.75]]
    >>> rows[["share_from", "share_to", "device", "supported"]].round(3).values.tolist()
    [[0.0, 0.625, 'b', True], [0.625, 1.0, 'a', False]]
    """
    ready = prepare(session) if prepared is None else prepared
    stretches = segments(ready) if found is None else found
    chosen = dict(session.mixes if mixes is None else mixes)
    if len(chosen) > 1:
        chosen.pop(OWN_MIX, None)
    used = {name: {a: w for a, w in mix.items() if w > 0.0} for name, mix in chosen.items()}
    activities = list(dict.fromkeys(a for mix in used.values() for a in mix))
    ends = several_mixes(
        ready, [*used.values(), *({a: 1.0} for a in activities)], found=stretches
    ).rate if used else ()  # fmt: skip
    whole = dict(zip(used, ends, strict=False))
    alone = dict(zip(activities, ends[len(used) :], strict=True))
    keys, ranges = [], []
    for name, mix in used.items():
        # of two activities one says it all
        for activity in list(mix)[: len(mix) if len(mix) > 2 else len(mix) - 1]:
            share = mix[activity] / sum(mix.values())
            rest = {a: w for a, w in mix.items() if a != activity}
            blend = _Blend(rest=rest, more={activity: 1.0})
            at_0 = (whole[name] - share * alone[activity]) / (1.0 - share)
            for r, run in enumerate(ready.chains.runs):
                for one in _ranges(ready, blend, r, (at_0, alone[activity])):
                    keys.append((run, name, activity, share))
                    ranges.append(one)
    holds = _hold(ready, stretches, ranges, settings.coverage)
    rows = [
        (*key, one.low, one.high, ready.chains.devices[one.lead], held)
        for key, one, held in zip(keys, ranges, holds, strict=True)
    ]
    return frame_of_rows("mix_shifts", rows) if rows else no_rows("mix_shifts")
