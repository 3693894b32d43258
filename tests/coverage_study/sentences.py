"""Whether the sentences of the claims table are true of a day whose truth is known."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import numpy as np

from tests.coverage_study.intervals import EQUAL
from tests.coverage_study.kinds_world import kind_runtimes

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd
    from numpy.typing import NDArray

    from kit.simulate import Truth
    from tests.coverage_study.tally import Tally

    Floats = NDArray[np.float64]

__all__ = ["SENTENCES", "count_sentences", "false_means"]

SENTENCES = (
    "longest", "first_in_group", "outlasted", "drained_least", "drained_less",
    "least_doing", "led",
    "ahead_after", "tied_after", "gained", "lasts_longer", "longer_on_average",
    "longest_on_average",
)  # fmt: skip
"""Every kind of sentence of `kit.claims`."""


class _Facts:
    """The truth of a day as arrays: (runs, phases, devices), and runtimes (runs, devices)."""

    def __init__(self, truth: Truth) -> None:
        scenario = truth.scenario
        self.devices = [d.id for d in scenario.devices]
        self.phases = [p.id for p in scenario.phases]
        self.runs = [r.number for r in truth.runs]
        n = len(self.devices)
        shape = (len(self.runs), len(self.phases), n)
        self.off = truth.runtimes["off_min"].to_numpy().reshape(-1, n)
        ends = np.array([run.ends_min for run in truth.runs])

        def cube(column: str) -> Any:
            return truth.drains[column].to_numpy().reshape(shape)

        self.begun = cube("exposure_h") > 0.0
        self.drain = {
            "displayed": cube("shown_drain_pp"),
            "true_charge": cube("charge_drain_pp"),
        }
        self.activity = [p.activity for p in scenario.phases]
        self.parts = truth.parts
        self.kinds = kind_runtimes(truth)
        level = cube("end_shown_pct")
        # who is off stands below all that are on, in the order of the power-offs
        on = self.off[:, None, :] > ends[:, :, None]
        self.standing = np.where(on, level, self.off[:, None, :] - 1e6)


def _doing(facts: _Facts, row: Any, run: int) -> Floats:
    """Return what each device drained doing something; gauges are exact where parts are asked."""
    first = facts.phases.index(row.phase_from)
    if row.group in facts.activity and row.phase_from != row.phase_to:
        same = [p for p, activity in enumerate(facts.activity) if activity == row.group]
        return np.asarray(facts.drain["displayed"][run, same].sum(axis=0))
    rows = facts.parts[
        (facts.parts["run"] == facts.runs[run])
        & (facts.parts["phase"] == facts.phases[first])
        & (facts.parts["part"] == row.group)
    ]
    drained = rows.groupby("device")["charge_drain_pp"].sum()
    return np.array([drained.get(device, np.nan) for device in facts.devices])


def _ahead(value: Floats, a: int, others: list[int]) -> bool:
    """Return whether the value of a is above those of all the others."""
    return bool(np.all(value[a] > value[others] + EQUAL))


_AMONG = re.compile(r"Among those that can be compared \(([^)]*)\)")


def _compared(facts: _Facts, row: Any, begun: Floats) -> list[int]:
    """Return whom a sentence on one device compares it with: those it names, else all then on."""
    named = _AMONG.search(getattr(row, "statement", ""))
    if named is None:
        return [k for k in range(len(facts.devices)) if begun[k]]
    return [facts.devices.index(name) for name in re.split(r", | and ", named[1])]


def _true(facts: _Facts, row: Any, means: Mapping[str, float]) -> bool:
    """Return whether a supported sentence is true."""
    a = facts.devices.index(row.device_a)
    others = [k for k in range(len(facts.devices)) if k != a]
    if row.device_b:
        others = [facts.devices.index(row.device_b)]
    if row.code in ("lasts_longer", "longer_on_average"):
        of = facts.kinds or means if row.code == "lasts_longer" else means
        return of[row.device_a] > of[row.device_b] + EQUAL
    if row.code == "first_in_group" or row.group:
        others = [k for k in others if k <= len(facts.devices) // 2]
    if row.code == "longest_on_average":
        return _ahead(np.array([means[d] for d in facts.devices]), a, others)
    run = facts.runs.index(row.run)
    if row.code in ("longest", "first_in_group", "outlasted"):
        return _ahead(facts.off[run], a, others)
    first, last = facts.phases.index(row.phase_from), facts.phases.index(row.phase_to)
    if row.code in ("drained_least", "drained_less", "gained"):
        if not row.device_b:
            others = [k for k in _compared(facts, row, facts.begun[run, first]) if k != a]
        return _ahead(-facts.drain[row.measurand][run, first], a, others)
    if row.code == "least_doing":
        others = [k for k in _compared(facts, row, facts.begun[run, first]) if k != a]
        return _ahead(-_doing(facts, row, run), a, others)
    if row.code in ("led", "ahead_after"):
        return all(_ahead(facts.standing[run, p], a, others) for p in range(first, last + 1))
    msg = f"a sentence of a kind that the study does not know: {row.code}"
    raise ValueError(msg)


def _opposite(facts: _Facts, row: Any, means: Mapping[str, float]) -> bool:
    """Return whether the opposite, which "not supported" asserts of two devices, is true."""
    if row.code == "tied_after":
        run, phase = facts.runs.index(row.run), facts.phases.index(row.phase_from)
        a, b = facts.devices.index(row.device_a), facts.devices.index(row.device_b)
        value = facts.standing[run, phase]
        return bool((value[a] - value[b]) * np.sign(row.lead) > EQUAL)
    turned = row._replace(device_a=row.device_b, device_b=row.device_a)
    return _true(facts, turned, means)


def count_sentences(
    tally: Tally, said: pd.DataFrame, truth: Truth, means: Mapping[str, float]
) -> bool:
    """Count sessions with a false sentence, by kind; return whether there is any.

    A sentence on two devices that is not supported says that the opposite holds, and one on a
    tie that is not supported that there is an order: these count, too.
    """
    facts = _Facts(truth)
    kinds = dict.fromkeys(SENTENCES, False)
    made = dict.fromkeys(SENTENCES, 0)
    for row in said.itertuples(index=False):
        if row.verdict == "supported":
            good = _true(facts, row, means)
        elif row.verdict == "not_supported" and row.device_b:
            good = _opposite(facts, row, means)
        else:
            continue
        kinds[row.code] |= not good
        made[row.code] += 1
    for code, false in kinds.items():
        tally.add(f"{code} false in session", false)
        tally.hits[f"{code} made"] += made[code]
        tally.trials[f"{code} made"] += 1
    any_false = any(kinds.values())
    tally.add("sentence false in session", any_false)
    return any_false


def false_means(pairs: pd.DataFrame, truth: Truth, means: Mapping[str, float]) -> bool:
    """Return whether a verdict on mean runtimes over the runs is false."""
    rows = pairs[(pairs["quantity"] == "runtime") & pairs["verdict"].isin(["a", "b"])]
    for a, b, verdict in zip(rows["device_a"], rows["device_b"], rows["verdict"], strict=True):
        longer, shorter = (a, b) if verdict == "a" else (b, a)
        if means[longer] <= means[shorter] + EQUAL:
            return True
    return False
