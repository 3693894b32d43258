"""The conclusions over all runs and on kinds of device, if a doubted number was another one."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from kit.claims.conclusions import Said, said_again
from kit.claims.kinds import Seen, kind_of, kinds
from kit.claims.kinds_compared import compared_kinds, first_percentages
from kit.claims.mean_claims import LONGEST, groups_of, mean_verdicts, top_verdicts
from kit.claims.verdicts import CANNOT, NOT_SUPPORTED, SUPPORTED, TIED, VERDICTS
from kit.drain.charged import charged_in_run
from kit.results import RESULT_COLUMNS
from kit.runtime.complete_pairs import ran_longer
from kit.runtime.replicate_pairs import pairs_of
from kit.runtime.replicates import runtime_quantity

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    import pandas as pd
    from numpy.typing import NDArray

    from kit.claims.conclusions import Conclusion
    from kit.claims.doubts import Doubt
    from kit.claims.kinds import Kind
    from kit.drain.phases import Prepared
    from kit.results import Settings
    from kit.runtime.replicates import Quantity
    from kit.session import Session

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

__all__ = ["Overall"]

_MIN_PER_H = 60.0

MEANS, KINDS = "longer_on_average", "lasts_longer"
"""Codes of the sentences on two devices that are not about one run alone."""

_LONGER = {1: SUPPORTED, -1: NOT_SUPPORTED, 0: TIED}


class _End(NamedTuple):
    """Other bounds for one power-off (min)."""

    run: int
    device: int
    low: float
    high: float


class Overall:
    """Conclusions over all runs and on kinds of device, asked again of changed records.

    Parameters
    ----------
    ready
        From `kit.drain.phases.prepare`.
    runtimes
        Frame of `kit.runtime.runtimes`.
    conclusions
        Those that are not about one run alone.
    settings
        The coverage probability.
    """

    def __init__(
        self,
        ready: Prepared,
        runtimes: pd.DataFrame,
        conclusions: Sequence[Conclusion],
        settings: Settings,
    ) -> None:
        self.ready, self.conclusions, self.settings = ready, conclusions, settings
        self.session = ready.chains.session
        self._lasted = runtime_quantity(self.session, runtimes)
        self._verdicts = np.array([c.verdict for c in conclusions], dtype=np.int64)
        codes = np.array([c.code for c in conclusions], dtype=object)
        self._on_kinds = np.flatnonzero(codes == KINDS)
        self._on_means = np.flatnonzero(codes != KINDS)
        if self._on_kinds.size:
            self._starts = first_percentages(self.session, ready.chains.observed)
            self._kinds = kinds(self.session, _each_seen(self.session, self._lasted))

    def of_times(self, doubts: Sequence[Doubt], low: Floats, high: Floats) -> Ints:
        """Return the verdicts if devices powered off between other bounds, (doubts, conclusions).

        Parameters
        ----------
        doubts
            Each about a time of one power-off.
        low, high
            Bounds that its device then has (min).
        """
        ends = [
            _End(doubt.run, doubt.device, a, b)
            for doubt, a, b in zip(doubts, low.tolist(), high.tolist(), strict=True)
        ]
        distinct = list(dict.fromkeys(ends))
        found = np.tile(self._verdicts, (len(distinct), 1))
        lasted = [self._with_end(end) for end in distinct]
        if self._on_means.size:
            found[:, self._on_means] = self._means(lasted)
        if self._on_kinds.size:
            for row, end, other in zip(found, distinct, lasted, strict=True):
                row[self._on_kinds] = self._of_kinds(end.device, other)
        place = {end: row for row, end in enumerate(distinct)}
        return np.asarray(found[[place[end] for end in ends]], dtype=np.int64)

    def of_percentage(self, doubt: Doubt) -> Ints | None:
        """Return the verdicts if a percentage was another; ``None``: it cannot change them.

        Only the first one of a device says whether kinds began with the same charge.
        """
        if doubt.boundary != 0 or not self._on_kinds.size:
            return None
        obs = self.ready.chains.observed
        soc = np.where(obs.row == doubt.row, doubt.slip.value, obs.soc)
        starts = first_percentages(self.session, replace(obs, soc=soc))
        now = self._verdicts.copy()
        now[self._on_kinds] = self._said_of_kinds(self._kinds, starts, self._lasted)
        return now

    def _said_of_kinds(
        self, found: Sequence[Kind], starts: Mapping[str, float], lasted: Quantity
    ) -> list[int]:
        asked = [self.conclusions[place] for place in self._on_kinds.tolist()]
        first = {self.session.devices[kind.devices[0]].id: kind.name for kind in found}
        pairs = compared_kinds(
            self.session, found, starts, self.settings, charged=self._charged(lasted),
            asked={frozenset((first[c.device_a], first[c.device_b])) for c in asked},
        )  # fmt: skip
        said = []
        for pair in pairs:
            a, b = (self.session.devices[kind.devices[0]].id for kind in (pair.a, pair.b))
            said.append(Said(KINDS, a, b, SUPPORTED if pair.supported else CANNOT))
        return said_again(said, asked)

    def _of_kinds(self, device: int, lasted: Quantity) -> list[int]:
        """Return the verdicts on kinds where the runtimes of one device are others."""
        seen = _each_seen(self.session, lasted)
        found = [
            kind_of(self.session, kind.name, kind.devices, seen) if device in kind.devices else kind
            for kind in self._kinds
        ]
        return self._said_of_kinds(found, self._starts, lasted)

    def _charged(self, lasted: Quantity) -> set[str]:
        """Return the devices that were charged in a run."""
        if lasted.charged is None:
            return set()
        places = np.flatnonzero(lasted.charged.any(axis=0)).tolist()
        return {self.session.devices[k].id for k in places}

    def _means(self, lasted: Sequence[Quantity]) -> Ints:
        """Return the verdicts on means for sets of runtimes, (sets, conclusions on means)."""
        asked = [self.conclusions[place] for place in self._on_means.tolist()]
        base = self._lasted
        runs, n = base.value.shape
        gaps = bool(np.isnan(base.value).any()) or len(self.session.charges) > 0
        if runs < 2 or n < 2 or gaps or base.at_least.any():
            return np.array(
                [said_again(self._one_by_one(one), asked) for one in lasted], dtype=np.int64
            ).reshape(len(lasted), len(asked))
        places = {device.id: k for k, device in enumerate(self.session.devices)}
        pair = self.session.declared_comparison
        declared = None if pair is None else (places[pair[0]], places[pair[1]])
        longer = ran_longer(
            np.stack([one.value for one in lasted]),
            np.stack([one.half_width for one in lasted]),
            declared,
            self.settings.coverage,
        )
        members = {name: [places[d] for d in ids] for name, ids in groups_of(self.session, places)}
        found = []
        for conclusion in asked:
            i = places[conclusion.device_a]
            if conclusion.device_b:
                others = [places[conclusion.device_b]]
            else:
                others = [j for j in members[conclusion.group] if j != i]
            found.append(longer[:, i, others].min(axis=1))
        codes = np.array([VERDICTS.index(_LONGER[side]) for side in (-1, 0, 1)], dtype=np.int64)
        return np.asarray(codes[np.stack(found, axis=1) + 1])

    def _one_by_one(self, lasted: Quantity) -> Iterator[Said]:
        """Yield what is said of means where not every run was there and seen to its end."""
        columns = RESULT_COLUMNS["replicate_pairs"]
        pairs = pairs_of(lasted, self.session, self.settings.coverage)
        rows = [dict(zip(columns, row, strict=True)) for row in pairs]
        yield from (Said(MEANS, *found) for found in mean_verdicts(rows))
        for device, group, verdict in top_verdicts(self.session, rows):
            yield Said(LONGEST, device, "", verdict, group)

    def _with_end(self, end: _End) -> Quantity:
        """Return the runtimes with other bounds for one power-off."""
        run, device, low, high = end
        offs = self.ready.chains.off_times[run]
        here = np.arange(offs.low.size) == device
        other = replace(
            offs, low=np.where(here, low, offs.low), high=np.where(here, high, offs.high)
        )
        if charged_in_run(self.session, offs.run, other.high)[device]:
            return self._without(run, device)
        least, most = float(other.runtime_low[device]), float(other.runtime_high[device])
        open_end = bool(np.isinf(high))
        value, half_width, u = (
            getattr(self._lasted, name).copy() for name in ("value", "half_width", "u")
        )
        value[run, device] = (least if open_end else (least + most) / 2.0) / _MIN_PER_H
        # as the frame of runtimes has it: from bounds in hours
        half_width[run, device] = (
            np.nan if open_end else (most / _MIN_PER_H - least / _MIN_PER_H) / 2.0
        )
        u[run, device] = np.nan if open_end else float(np.sqrt(other.variance[device])) / _MIN_PER_H
        charged = self._lasted.charged
        if charged is not None:
            charged = charged.copy()
            charged[run, device] = False
        return self._lasted._replace(value=value, half_width=half_width, u=u, charged=charged)

    def _without(self, run: int, device: int) -> Quantity:
        """Return the runtimes without one, of a device that was charged in that run."""
        here = np.zeros(self._lasted.value.shape, dtype=bool)
        here[run, device] = True
        value, half_width, u = (
            np.where(here, np.nan, getattr(self._lasted, name))
            for name in ("value", "half_width", "u")
        )
        return self._lasted._replace(
            value=value, half_width=half_width, u=u, at_least=self._lasted.at_least & ~here,
            charged=here if self._lasted.charged is None else self._lasted.charged | here,
        )  # fmt: skip


def _each_seen(session: Session, lasted: Quantity) -> dict[str, list[Seen]]:
    """Return the runtimes of each device as `kit.claims.kinds.runtimes_seen` does."""
    value, u = lasted.value * _MIN_PER_H, np.nan_to_num(lasted.u) * _MIN_PER_H
    half = np.nan_to_num(lasted.half_width) * _MIN_PER_H
    runs = [run.number for run in session.runs]
    return {
        device.id: seen
        for k, device in enumerate(session.devices)
        if (
            seen := [
                Seen(*row)
                for row in zip(
                    value[:, k].tolist(), u[:, k].tolist(), lasted.at_least[:, k].tolist(), runs,
                    half[:, k].tolist(), strict=True,
                )
                if row[0] == row[0]
            ]
        )
    }  # fmt: skip
