"""The verdicts on conclusions of one run, and of all, if a doubted number was another one.

Everything is computed anew, as from the changed record, but all alternatives at once: one number
changes the results of one unit only. In the rare record in which it changes those of another unit
too, that one alternative is computed from the changed record itself.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from kit.claims.conclusions import Said, asked_of_run, said_again
from kit.claims.evidence import altered_facts, evidence
from kit.claims.kinds import Seen, compared_kinds, first_percentages, kinds
from kit.claims.mean_claims import LONGEST, mean_verdicts, top_verdicts
from kit.claims.verdicts import CANNOT, SUPPORTED, Asked, verdicts
from kit.drain.misnoted import misnoted, misnoted_chains
from kit.drain.misread import misread_chains
from kit.drain.phases import prepare
from kit.results import RESULT_COLUMNS
from kit.runtime.replicate_pairs import pairs_of
from kit.runtime.replicates import runtime_quantity

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    import pandas as pd
    from numpy.typing import NDArray

    from kit.claims.conclusions import Conclusion
    from kit.claims.doubts import Doubt
    from kit.claims.evidence import Evidence
    from kit.claims.judge import Ground
    from kit.claims.words import Speech
    from kit.drain.phases import Prepared
    from kit.results import Settings
    from kit.runtime.replicates import Quantity
    from kit.session import Session

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

__all__ = [
    "Asking",
    "Overall",
    "changed_record",
    "misnoted_verdicts",
    "misread_verdicts",
]

_AT_ONCE = 256
"""Alternatives that are computed together, so that a long record does not fill the memory."""

_MIN_PER_H = 60.0

MEANS, KINDS = "longer_on_average", "lasts_longer"
"""Codes of the sentences that are not about one run alone."""


class Asking(NamedTuple):
    """What is asked of one run: its place, its evidence, and the claims on it.

    ``places`` are those of the claims among all conclusions.
    """

    run: int
    found: Evidence
    asked: Asked
    places: Ints
    verdicts: Ints

    @classmethod
    def of(
        cls, speech: Speech, ground: Ground, run: int, conclusions: Sequence[Conclusion]
    ) -> Asking:
        """Return what the conclusions ask of the run at a place."""
        claims, places = asked_of_run(speech, ground, conclusions)
        asked = Asked(claims)
        return cls(
            run=run,
            found=ground.found,
            asked=asked,
            places=np.array(places, dtype=np.int64),
            verdicts=verdicts(asked, ground.found.facts, ground.found.open_pairs),
        )


def changed_record(session: Session, doubt: Doubt) -> Session:
    """Return the record with the other number in place of the one noted."""
    frame: pd.DataFrame = getattr(session, doubt.frame)
    values = frame[doubt.column].to_numpy(dtype=np.float64).copy()
    values[doubt.row] = doubt.slip.value
    other = frame.assign(**{doubt.column: values})
    if doubt.frame == "readings":
        return replace(session, readings=other)
    return replace(session, power_offs=other)


def misread_verdicts(
    ready: Prepared, asking: Asking, doubts: Sequence[Doubt], settings: Settings
) -> Ints:
    """Return the verdicts for each doubt about a percentage, computed anew, (doubts, claims).

    Parameters
    ----------
    ready
        Of the record as it is.
    asking
        The run.
    doubts
        Of that run.
    settings
        The coverage probability.
    """
    found = [
        _misread(ready, asking, doubts[first : first + _AT_ONCE], settings)
        for first in range(0, len(doubts), _AT_ONCE)
    ]
    return np.concatenate(found) if found else np.zeros((0, asking.places.size), dtype=np.int64)


def _misread(ready: Prepared, asking: Asking, doubts: Sequence[Doubt], settings: Settings) -> Ints:
    """Return the verdicts for doubts all at once, where one changes another unit one by one."""
    device = np.array([d.device for d in doubts], dtype=np.int64)
    boundary = np.array([d.boundary for d in doubts], dtype=np.int64)
    value = np.array([d.slip.value for d in doubts], dtype=np.float64)
    unit = asking.run * len(ready.chains.devices) + device
    chains = misread_chains(ready.chains, unit, boundary, value)
    if chains is not None:
        other = prepare(ready.chains.session, chains=chains)
        return verdicts(asking.asked, *altered_facts(ready, asking.run, other, settings))
    if len(doubts) == 1:
        return _read_again(ready, asking, doubts[0], settings)[None, :]
    half = len(doubts) // 2
    parts = [_misread(ready, asking, part, settings) for part in (doubts[:half], doubts[half:])]
    return np.concatenate(parts)


def _read_again(ready: Prepared, asking: Asking, doubt: Doubt, settings: Settings) -> Ints:
    """Return the verdicts on a run computed from the changed record, shape (claims,)."""
    other = prepare(changed_record(ready.chains.session, doubt))
    found = evidence(other, asking.run, settings)
    return verdicts(asking.asked, found.facts, found.open_pairs)


class _Ends(NamedTuple):
    """Doubts about times of power-offs, and the bounds that their devices then have (min)."""

    doubts: list[Doubt]
    low: Floats
    high: Floats
    verdicts: Ints


def misnoted_verdicts(
    ready: Prepared, asking: Asking, doubts: Sequence[Doubt], settings: Settings
) -> _Ends:
    """Return the verdicts for each doubt about a power-off, computed anew, (doubts, claims).

    Parameters
    ----------
    ready, asking, doubts, settings
        As for `misread_verdicts`. Doubts that leave no time for the power-off are left out.
    """
    session, run = ready.chains.session, asking.run
    if not doubts:
        nothing = np.zeros(0)
        return _Ends([], nothing, nothing, np.zeros((0, asking.places.size), dtype=np.int64))
    noted = misnoted(session, run, [(d.device, d.column, d.slip.value) for d in doubts])
    device = np.array([d.device for d in doubts], dtype=np.int64)
    unit = run * len(ready.chains.devices) + device
    other = prepare(session, chains=misnoted_chains(ready.chains, unit, noted.low, noted.high))
    now = verdicts(asking.asked, *altered_facts(ready, run, other, settings, noted=noted))
    kept = np.flatnonzero(noted.possible)
    return _Ends([doubts[d] for d in kept.tolist()], noted.low[kept], noted.high[kept], now[kept])


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
        self._starts = first_percentages(self.session)
        self._ended: dict[tuple[int, int, float, float], list[int]] = {}
        codes = {c.code for c in conclusions}
        self._of_tops, self._of_kinds = LONGEST in codes, KINDS in codes
        self._of_means = self._of_tops or MEANS in codes

    def _said(self, lasted: Quantity, starts: Mapping[str, float]) -> list[int]:
        return said_again(self._sentences(lasted, starts), self.conclusions)

    def _sentences(self, lasted: Quantity, starts: Mapping[str, float]) -> Iterator[Said]:
        session, settings = self.session, self.settings
        if self._of_means:
            columns = RESULT_COLUMNS["replicate_pairs"]
            pairs = pairs_of(lasted, session, settings.coverage)
            rows = [dict(zip(columns, row, strict=True)) for row in pairs]
            yield from (Said(MEANS, *found) for found in mean_verdicts(rows))
            for device, group, verdict in top_verdicts(session, rows) if self._of_tops else ():
                yield Said(LONGEST, device, "", verdict, group)
        if self._of_kinds:
            found = kinds(session, _each_seen(session, lasted))
            for pair in compared_kinds(session, found, starts, settings):
                a, b = (session.devices[kind.devices[0]].id for kind in (pair.a, pair.b))
                yield Said(KINDS, a, b, SUPPORTED if pair.supported else CANNOT)

    def of_time(self, doubt: Doubt, low: float, high: float) -> list[int]:
        """Return the verdicts if a device powered off between other bounds (min)."""
        key = doubt.run, doubt.device, low, high
        if key not in self._ended:
            self._ended[key] = self._said(self._with_end(*key), self._starts)
        return self._ended[key]

    def of_percentage(self, doubt: Doubt) -> list[int] | None:
        """Return the verdicts if a percentage was another; ``None``: it cannot change them.

        Only the first one of a device says whether kinds began with the same charge.
        """
        if doubt.boundary != 0 or not self._of_kinds:
            return None
        return self._said(self._lasted, first_percentages(changed_record(self.session, doubt)))

    def _with_end(self, run: int, device: int, low: float, high: float) -> Quantity:
        """Return the runtimes with other bounds for one power-off."""
        offs = self.ready.chains.off_times[run]
        here = np.arange(offs.low.size) == device
        other = replace(
            offs, low=np.where(here, low, offs.low), high=np.where(here, high, offs.high)
        )
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
        return self._lasted._replace(value=value, half_width=half_width, u=u)


def _each_seen(session: Session, lasted: Quantity) -> dict[str, list[Seen]]:
    """Return the runtimes of each device as `kit.claims.kinds.runtimes_seen` does."""
    value, u = lasted.value * _MIN_PER_H, np.nan_to_num(lasted.u) * _MIN_PER_H
    return {
        device.id: seen
        for k, device in enumerate(session.devices)
        if (
            seen := [
                Seen(*row)
                for row in zip(
                    value[:, k].tolist(), u[:, k].tolist(), lasted.at_least[:, k].tolist(),
                    strict=True,
                )
                if row[0] == row[0]
            ]
        )
    }  # fmt: skip
