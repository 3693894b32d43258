"""Who lasts longest on a mix of activities, if a doubted number was another one."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from kit.claims.conclusions import Conclusion
from kit.claims.mix_words import longest_on, none_on, on_mix
from kit.claims.verdicts import CANNOT, NOT_SUPPORTED, SUPPORTED, TIED, VERDICTS
from kit.drain.mix_rates import lower_of, mix_rates
from kit.drain.segments import segments
from kit.stats.uncertainty import Resolution

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from kit.claims.words import Speech
    from kit.drain.mix_rates import MixRates
    from kit.drain.phases import Prepared
    from kit.drain.segments import Segments

    Flags = NDArray[np.bool_]
    Ints = NDArray[np.int64]

__all__ = ["LONGEST_ON_MIX", "NONE_ON_MIX", "OnMixes"]

LONGEST_ON_MIX, NONE_ON_MIX = "longest_on_mix", "none_on_mix"

_NOBODY, _TOO_FEW = -1, -2
"""Instead of a device: more than one may come first; fewer than two have hours on the mix."""

_PRIORITY = 2


def _winner(lower: Flags, known: Flags) -> Ints:
    """Return the one device that may come first, ``_NOBODY`` or ``_TOO_FEW``, shape (…,)."""
    first = known & ~lower.any(axis=-2)
    one = np.where(first.sum(axis=-1) == 1, first.argmax(axis=-1), _NOBODY)
    return np.where(known.sum(axis=-1) < 2, _TOO_FEW, one)


class OnMixes:
    """Conclusions on mixes in one run, asked again of changed records.

    Parameters
    ----------
    ready
        Of the record as it is.
    run
        Position of the run.
    mixes
        Name → weights of the activities; as in the record, also the session's own.
    found
        From `kit.drain.segments.segments`.
    coverage
        Of all pairs together on a mix.
    """

    def __init__(
        self,
        ready: Prepared,
        run: int,
        mixes: Mapping[str, Mapping[str, float]],
        found: Segments,
        coverage: float,
    ) -> None:
        self.ready, self.run, self.coverage = ready, run, coverage
        n = len(ready.chains.devices)
        self._part = slice(run * n, (run + 1) * n)
        rates = {name: mix_rates(ready, weights, found=found) for name, weights in mixes.items()}
        first = {name: int(self._first(one)) for name, one in rates.items()}
        self.first = {name: k for name, k in first.items() if k != _TOO_FEW}
        self._rates = {name: rates[name] for name in self.first}
        self._weights = {name: mixes[name] for name in self.first}

    def _first(self, rates: MixRates) -> Ints:
        part = self._part
        lower, known = lower_of(
            rates.rate[part], rates.resolution[part], rates.u_other[part], rates.bound[part],
            self.coverage,
        )  # fmt: skip
        return _winner(lower, known)

    def conclusions(self, speech: Speech) -> list[Conclusion]:
        """Return the sentences on mixes that the report prints of this run."""
        chains = self.ready.chains
        number = chains.runs[self.run]
        stands = VERDICTS.index(SUPPORTED)
        said = []
        for mix, k in self.first.items():
            where = on_mix(mix, number if len(chains.runs) > 1 else None)
            code, text, device = NONE_ON_MIX, none_on(where), ""
            if k >= 0:
                code, text, device = LONGEST_ON_MIX, longest_on(where, speech.name(k)), ""
            said.append(Conclusion(number, text, stands, _PRIORITY, code, device, "", mix))
        return said

    def _verdicts(self, mix: str, now: Ints) -> Ints:
        """Return verdicts on one mix for who may come first then."""
        before = self.first[mix]
        open_ = SUPPORTED if before == _NOBODY else TIED
        codes = [VERDICTS.index(v) for v in (SUPPORTED, NOT_SUPPORTED, open_, CANNOT)]
        picks = [(now >= 0) & (now == before), now >= 0, now == _NOBODY]
        return np.select(picks, codes[:3], default=codes[3])

    def of_alternatives(self, other: Prepared) -> Ints:
        """Return the verdicts for alternatives of one unit each, shape (M, mixes).

        Parameters
        ----------
        other
            As for `kit.claims.evidence.altered_facts`.
        """
        device = other.chains.unit_device
        found = np.zeros((device.size, len(self.first)), dtype=np.int64)
        if not self.first:
            return found
        stretches = segments(other, coverage=self.coverage)
        each = np.arange(device.size)
        for place, (mix, base) in enumerate(self._rates.items()):
            changed = mix_rates(other, self._weights[mix], found=stretches)
            parts = np.repeat(base.resolution.parts[:, None, self._part], device.size, axis=1)
            parts[:, each, device] = changed.resolution.parts
            values = []
            for name in ("rate", "u_other", "bound"):
                rows = np.tile(getattr(base, name)[self._part], (device.size, 1))
                rows[each, device] = getattr(changed, name)
                values.append(rows)
            rate, u, bound = values
            lower, known = lower_of(rate, Resolution(parts), u, bound, self.coverage)
            found[:, place] = self._verdicts(mix, _winner(lower, known))
        return found

    def of_record(self, other: Prepared) -> Ints:
        """Return the verdicts of a changed record, shape (mixes,)."""
        if not self.first:
            return np.zeros(0, dtype=np.int64)
        stretches = segments(other, coverage=self.coverage)
        now = [
            self._first(mix_rates(other, weights, found=stretches))
            for weights in self._weights.values()
        ]
        return np.array(
            [int(self._verdicts(mix, one)) for mix, one in zip(self.first, now, strict=True)],
            dtype=np.int64,
        )
