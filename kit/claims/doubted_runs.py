"""The verdicts on conclusions of one run, if a doubted number was another one.

Everything is computed anew, as from the changed record, but all alternatives at once: one number
changes the results of one unit only. In the rare record in which it changes those of another unit
too, that one alternative is computed from the changed record itself.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from kit.claims.conclusions import asked_of_run
from kit.claims.evidence import altered_facts, evidence
from kit.claims.verdicts import Asked, verdicts
from kit.drain.misnoted import misnoted, misnoted_chains
from kit.drain.misread import misread_chains
from kit.drain.phases import prepare

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd
    from numpy.typing import NDArray

    from kit.claims.conclusions import Conclusion
    from kit.claims.doubted_mixes import OnMixes
    from kit.claims.doubts import Doubt
    from kit.claims.evidence import Evidence
    from kit.claims.judge import Ground
    from kit.claims.words import Speech
    from kit.drain.misnoted import Misnoted
    from kit.drain.phases import Prepared
    from kit.results import Settings
    from kit.session import Session

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

__all__ = [
    "Asking",
    "Ends",
    "changed_record",
    "misnoted_verdicts",
    "misread_verdicts",
    "retimed_verdicts",
]

_AT_ONCE = 256
"""Alternatives that are computed together, so that a long record does not fill the memory."""


class Asking(NamedTuple):
    """What is asked of one run: its place, its evidence, and the claims on it.

    ``places`` are those of the claims, and then of the sentences on mixes, among all conclusions.
    """

    run: int
    found: Evidence
    asked: Asked
    places: Ints
    mixes: OnMixes

    @classmethod
    def of(
        cls, speech: Speech, ground: Ground, conclusions: list[Conclusion], mixes: OnMixes
    ) -> Asking:
        """Return what the conclusions ask of a run; adds those on mixes to them."""
        claims, places = asked_of_run(speech, ground, conclusions)
        on_mixes = mixes.conclusions(speech)
        first = len(conclusions)
        conclusions += on_mixes
        return cls(
            run=mixes.run,
            found=ground.found,
            asked=Asked(claims),
            places=np.array([*places, *range(first, len(conclusions))], dtype=np.int64),
            mixes=mixes,
        )

    def altered(
        self, ready: Prepared, other: Prepared, settings: Settings, noted: Misnoted | None = None
    ) -> Ints:
        """Return the verdicts for alternatives of one unit each, (alternatives, conclusions)."""
        facts = altered_facts(ready, self.run, other, settings, noted=noted)
        on_claims, on_mixes = verdicts(self.asked, *facts), self.mixes.of_alternatives(other)
        return np.concatenate([on_claims.reshape(len(on_mixes), -1), on_mixes], axis=1)


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
    """Return the verdicts for each doubt about a percentage, computed anew.

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

    Returns
    -------
    array
        Shape (doubts, conclusions asked of the run). Positions in ``VERDICTS``.
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
    place = {row: at for at, row in enumerate(ready.chains.observed.row.tolist())}
    at = np.array([-1 if d.boundary >= 0 else place[d.row] for d in doubts], dtype=np.int64)
    chains = misread_chains(ready.chains, unit, boundary, value, at=at)
    if chains is not None:
        other = prepare(ready.chains.session, chains=chains)
        return asking.altered(ready, other, settings)
    if len(doubts) == 1:
        return _read_again(ready, asking, doubts[0], settings)[None, :]
    half = len(doubts) // 2
    parts = [_misread(ready, asking, part, settings) for part in (doubts[:half], doubts[half:])]
    return np.concatenate(parts)


class Ends(NamedTuple):
    """Doubts about times, the bounds of the power-offs of their devices then (min), and verdicts.

    ``verdicts`` as from `misread_verdicts`.
    """

    doubts: list[Doubt]
    low: Floats
    high: Floats
    verdicts: Ints


def retimed_verdicts(
    ready: Prepared, asking: Asking, doubts: Sequence[Doubt], settings: Settings
) -> Ends:
    """Return the verdicts for each doubt about the time of a reading, computed anew.

    Parameters
    ----------
    ready, asking, doubts, settings
        As for `misread_verdicts`. What the readings of other devices in the same round mean hangs
        on the time of this one, so each doubt is computed from the changed record.
    """
    others = [prepare(changed_record(ready.chains.session, doubt)) for doubt in doubts]
    offs = [other.chains.off_times[asking.run] for other in others]
    now = [_of_record(other, asking, settings) for other in others]
    return Ends(
        list(doubts),
        np.array([o.low[d.device] for o, d in zip(offs, doubts, strict=True)], dtype=np.float64),
        np.array([o.high[d.device] for o, d in zip(offs, doubts, strict=True)], dtype=np.float64),
        np.array(now, dtype=np.int64).reshape(len(doubts), asking.places.size),
    )


def _of_record(other: Prepared, asking: Asking, settings: Settings) -> Ints:
    """Return the verdicts on a run of a changed record, shape (conclusions,)."""
    found = evidence(other, asking.run, settings)
    said = verdicts(asking.asked, found.facts, found.open_pairs)
    return np.concatenate([said, asking.mixes.of_record(other)])


def _read_again(ready: Prepared, asking: Asking, doubt: Doubt, settings: Settings) -> Ints:
    """Return the verdicts on a run computed from the changed record, shape (conclusions,)."""
    other = prepare(changed_record(ready.chains.session, doubt))
    return _of_record(other, asking, settings)


def misnoted_verdicts(
    ready: Prepared, asking: Asking, doubts: Sequence[Doubt], settings: Settings
) -> Ends:
    """Return the verdicts for each doubt about a power-off, computed anew.

    Parameters
    ----------
    ready, asking, doubts, settings
        As for `misread_verdicts`. Doubts that leave no time for the power-off are left out.
    """
    session, run = ready.chains.session, asking.run
    if not doubts:
        nothing = np.zeros(0)
        return Ends([], nothing, nothing, np.zeros((0, asking.places.size), dtype=np.int64))
    noted = misnoted(session, run, [(d.device, d.column, d.slip.value) for d in doubts])
    device = np.array([d.device for d in doubts], dtype=np.int64)
    unit = run * len(ready.chains.devices) + device
    other = prepare(session, chains=misnoted_chains(ready.chains, unit, noted.low, noted.high))
    now = asking.altered(ready, other, settings, noted)
    kept = np.flatnonzero(noted.possible)
    return Ends([doubts[d] for d in kept.tolist()], noted.low[kept], noted.high[kept], now[kept])
