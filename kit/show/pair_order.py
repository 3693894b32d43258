"""The order of devices pair by pair, as a picture or a sentence takes it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from kit.runtime.replicates import RUNTIME
from kit.show.cells import of_run, place_word, rows_of
from kit.show.lasting import by_order, was_charged

if TYPE_CHECKING:
    from kit.results import Results

__all__ = ["PairOrder", "order_of_run", "order_over_runs"]


@dataclass(frozen=True)
class PairOrder:
    """Devices from longest to shortest, what is said of each pair, and the possible places.

    Parameters
    ----------
    devices
        Ids, longest-lasting first.
    verdicts
        (a, b) → ``a``, ``b``, ``too_close``, ``both_still_on`` or ``unknown``, seen from either.
    places
        Words such as ``2nd or 3rd``, one a device.
    """

    devices: tuple[str, ...]
    verdicts: dict[tuple[str, str], str]
    places: tuple[str, ...]

    def verdict(self, a: str, b: str) -> str:
        """Return the verdict on a pair, ``a`` for the first."""
        return self.verdicts.get((a, b), "unknown")

    @property
    def decided(self) -> bool:
        """Whether anything at all can be said about a pair."""
        return any(v in ("a", "b", "too_close") for v in self.verdicts.values())


def _both_ways(verdicts: dict[tuple[str, str], str]) -> dict[tuple[str, str], str]:
    turned = {"a": "b", "b": "a"}
    return verdicts | {(b, a): turned.get(v, v) for (a, b), v in verdicts.items()}


def order_of_run(results: Results, run: int) -> PairOrder:
    """Return the order of one run, by its power-offs."""
    rows = by_order(of_run(results.runtimes, run))
    pairs = rows_of(of_run(results.runtime_pairs, run))
    return PairOrder(
        devices=tuple(r.device for r in rows),
        verdicts=_both_ways({(p.device_a, p.device_b): p.verdict for p in pairs}),
        places=tuple(
            "charged" if was_charged(r) else place_word(r.rank_best, r.rank_worst) for r in rows
        ),
    )


def order_over_runs(results: Results) -> PairOrder | None:
    """Return the order of the mean runtimes over several runs; ``None`` without any."""
    frame = results.extra.get("replicate_pairs")
    if frame is None or frame.empty or results.replicates.empty:
        return None
    means = {
        r.device: r.mean
        for r in rows_of(results.replicates)
        if r.quantity == RUNTIME and not math.isnan(r.mean)
    }
    verdicts = _both_ways(
        {(p.device_a, p.device_b): p.verdict for p in rows_of(frame[frame["quantity"] == RUNTIME])}
    )
    devices = tuple(sorted(means, key=lambda d: -means[d]))
    places = []
    for device in devices:
        others = [verdicts.get((device, other), "unknown") for other in devices if other != device]
        best, worst = 1 + others.count("b"), len(devices) - others.count("a")
        places.append(place_word(best, worst))
    return PairOrder(devices=devices, verdicts=verdicts, places=tuple(places))
