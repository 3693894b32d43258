"""What the sentences rest on: the rows of one run, looked up and judged jointly."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import combinations
from typing import TYPE_CHECKING, Any

from kit.claims.unlike import Unlike
from kit.show.cells import Names, of_run, rows_of
from kit.show.lasting import by_order, was_charged

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from kit.results import Results

__all__ = ["Row", "RunFacts", "facts_of"]

Row = Any


@dataclass(frozen=True)
class RunFacts:
    """Runtimes of one run from longest to shortest, and the verdict on each pair."""

    results: Results
    run: int
    names: Names
    rows: tuple[Row, ...]
    pairs: dict[tuple[str, str], tuple[str, float, float]]

    def name(self, device: str) -> str:
        """Return the name to say."""
        return self.names.device[device]

    @property
    def charged(self) -> list[str]:
        """Return the devices that were charged during the run, and so are compared with none."""
        return [r.device for r in self.rows if was_charged(r)]

    @property
    def comparable(self) -> RunFacts:
        """Return the same without devices that were charged during the run."""
        return replace(self, rows=tuple(r for r in self.rows if not was_charged(r)))

    @cached_property
    def _unlike(self) -> Unlike:
        return Unlike(self.results.session)

    def _places(self, devices: Iterable[str]) -> list[int]:
        place = {device.id: k for k, device in enumerate(self.results.session.devices)}
        return [place[device] for device in devices]

    def said(self, device: str) -> str:
        """Return the name to say, with what sets the device apart from the others."""
        k, *others = self._places((device, *(r.device for r in self.rows if r.device != device)))
        return self._unlike.marked(self.name(device), k, others, run=self.run)

    def rivals(self, device: str) -> str:
        """Return in brackets what sets the others apart from a device."""
        k, *others = self._places((device, *(r.device for r in self.rows if r.device != device)))
        names = [self.name(one.id) for one in self.results.session.devices]
        return self._unlike.rivals(names, k, others, run=self.run)

    def known(self) -> list[Row]:
        """Return the rows of devices of which at least a lower bound is known."""
        return [r for r in self.rows if not math.isnan(r.runtime_h_low)]

    def verdict(self, a: str, b: str) -> str:
        """Return ``a``, ``b``, ``too_close``, ``both_still_on`` or ``unknown``."""
        return self.pairs.get((a, b), ("unknown", math.nan, math.nan))[0]

    def lead_min(self, a: str, b: str) -> float:
        """Return by how many minutes at least ``a`` outlasted ``b``; NaN = no bound."""
        return self.pairs.get((a, b), ("unknown", math.nan, math.nan))[2]

    def outlasts_all(self, devices: Sequence[str], others: Iterable[str]) -> bool:
        """Return whether each device outlasted each of the others.

        Each pair holds for every moment that the notes allow, so all of them hold at once.
        """
        claims = [(a, b) for a in devices for b in others]
        return bool(claims) and all(self.verdict(a, b) == "a" for a, b in claims)

    def settled(self) -> bool:
        """Return whether the whole order stands."""
        order = [r.device for r in self.rows]
        return all(self.verdict(a, b) == "a" for a, b in combinations(order, 2))

    def tied(self, members: Sequence[str]) -> bool:
        """Return whether every pair of the members is too close to call."""
        return all(self.verdict(a, b) == "too_close" for a, b in combinations(members, 2))

    def tie_groups(self) -> list[list[str]]:
        """Return the largest groups of devices that cannot be put in order, in order."""
        letters = sorted({letter for r in self.rows for letter in str(r.tie_group)})
        groups = [[r.device for r in self.rows if letter in str(r.tie_group)] for letter in letters]
        return [g for g in groups if len(g) > 1]


def facts_of(results: Results, run: int) -> RunFacts:
    """Return the facts of one run."""
    pairs: dict[tuple[str, str], tuple[str, float, float]] = {}
    for p in rows_of(of_run(results.runtime_pairs, run)):
        low, high = p.difference_min_low, p.difference_min_high
        turned = {"a": "b", "b": "a"}.get(p.verdict, p.verdict)
        pairs[p.device_a, p.device_b] = (p.verdict, p.p_a_longer, low)
        pairs[p.device_b, p.device_a] = (turned, 1.0 - p.p_a_longer, -high)
    return RunFacts(
        results=results,
        run=run,
        names=Names.of(results.session),
        rows=tuple(by_order(of_run(results.runtimes, run))),
        pairs=pairs,
    )
