"""Claims on mean runtimes over several runs of the same units."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, NamedTuple

from kit.claims.verdicts import CANNOT, SUPPORTED, TIED
from kit.claims.words import span
from kit.runtime.open_pairs import FEW_RUNS
from kit.runtime.replicates import RUNTIME
from kit.units import count, duration, number

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    import pandas as pd

    from kit.claims.words import Speech

__all__ = ["mean_rows", "mean_verdicts"]

_MIN_PER_H = 60.0

_NO_MEAN = "a run was not seen to its end, or too few runs are complete"

_METHODS = {
    "tukey": "all pairs together, Tukey's studentized range on differences within runs",
    "paired": "t on differences within runs",
    "welch": "Welch's t on runs of their own",
    "signed_rank": "exact signed-rank test of the runs, by the least lead of one still on",
    "rank_sum": "exact rank-sum test of the runs, by the least lead of one still on",
    "seen_scatter": "t on the least leads, with the scatter of the device seen to its end",
}


def _word(n: int) -> str:
    """Return a small number in words."""
    return count(n, "run").split()[0]


class _Pair(NamedTuple):
    """A pair of mean runtimes, the longer one first as far as is known; times in min.

    ``low`` or ``high`` NaN: open on that side.
    """

    ids: tuple[str, str]
    a: str
    b: str
    verdict: str
    lead: float
    low: float
    high: float
    runs: int
    won: int
    method: str
    flags: tuple[str, ...]
    p: float
    runs_least: float

    @classmethod
    def of(cls, pair: Mapping[Any, Any], name: Mapping[str, str]) -> _Pair:
        """Return a row of `kit.runtime.replicate_pairs`, turned round if B is ahead."""
        # written down with the longer mean first, so that a pair that is separated is supported
        said = {"a": SUPPORTED, "b": SUPPORTED, "too_close": TIED, "unknown": CANNOT}
        lead, low, high = (pair[f"difference{end}"] * _MIN_PER_H for end in ("", "_low", "_high"))
        behind = pair["runs_b_longer"] > pair["runs_a_longer"]
        turned = pair["verdict"] == "b" or (
            pair["verdict"] != "a" and (behind if math.isnan(lead) else lead < 0)
        )
        ids, won = (pair["device_a"], pair["device_b"]), pair["runs_a_longer"]
        if turned:
            ids, won = ids[::-1], pair["runs_b_longer"]
            lead, low, high = -lead, -high, -low
        return cls(
            ids=ids, a=name[ids[0]], b=name[ids[1]], verdict=said[pair["verdict"]],
            lead=lead, low=low, high=high, runs=int(pair["runs"]), won=int(won),
            method=pair["method"], flags=tuple(pair["flags"].split(";")), p=pair["p_exact"],
            runs_least=pair["runs_least"],
        )  # fmt: skip

    @property
    def needed(self) -> float:
        """Return the lead that the rule asks for; NaN where runs are counted, or none is known."""
        return math.nan if self.counted else self.lead - self.low

    @property
    def counted(self) -> bool:
        """Return whether the runs are counted, with nothing assumed of how they scatter."""
        return self.method in ("signed_rank", "rank_sum")

    @property
    def open_end(self) -> str:
        """Return who was still on when a run was stopped, where that keeps a verdict away."""
        if not self.few or not math.isnan(self.low):
            return ""
        return "each" if self.method == "" else self.b

    @property
    def few(self) -> bool:
        """Return whether no outcome of so many runs could decide by counting them."""
        return FEW_RUNS in self.flags

    @property
    def by_chance(self) -> str:
        """Return how often such runs come about by chance, not more rarely than they do."""
        times = math.floor(1.0 / self.p + 1e-9)
        return f"by chance once in {times} times" if times > 1 else "by chance as often as not"

    @property
    def wins(self) -> str:
        """Return in how many of the runs that both took part in A outlasted B; empty if in none."""
        if not self.won:
            return ""
        of = f"all {count(self.runs, 'run')}" if self.runs > 1 else "the one run"
        part = of if self.won == self.runs else f"{_word(self.won)} of {count(self.runs, 'run')}"
        return f"{self.a} outlasted {self.b} in {part}"


def _whole(minutes: float) -> str:
    """Return a time rounded down to the minute, but not for the last digits of a sum."""
    return duration(math.floor(round(minutes, 6)))


def _reason(pair: _Pair) -> str:
    if pair.counted:
        won = f"{_word(pair.won)} of {count(pair.runs, 'run')} won, " if pair.runs else ""
        return f"{won}{pair.by_chance}"
    if pair.open_end:
        known = f"{pair.open_end} was still on when a run was stopped"
    elif math.isnan(pair.needed):
        known = "a mean or its scatter is not known"
    else:
        least = "at least " if pair.method == "seen_scatter" else ""
        known = f"{least}{number(pair.lead, 0)} min on average, {number(pair.needed, 0)} min needed"
    if pair.few and pair.verdict == CANNOT:
        return f"{known}; counting runs alone takes {count(int(pair.runs_least), 'run')}"
    return known


def _cannot(pair: _Pair) -> str:
    first = f"Which of {pair.a} and {pair.b} runs longer on average cannot be said: "
    if pair.counted:
        such = f"{pair.wins}, but such runs" if pair.wins else "such runs"
        return f"{first}{such} come about {pair.by_chance}."
    if not pair.few:
        return f"{first}{_NO_MEAN}."
    if pair.open_end:
        but = f"{pair.open_end} was still on when a run was stopped"
    else:
        but = (
            f"a lead of at least {_whole(pair.lead)} is no more than so few runs may scatter "
            f"({duration(math.ceil(pair.needed))})"
        )
    why = f"{pair.wins}, but {but}" if pair.wins else but
    enough = count(int(pair.runs_least), "run")
    return f"{first}{why}. Counting runs alone could decide it from {enough} of each on."


def _words(pair: _Pair) -> str:
    over = f"over {count(pair.runs, 'run')}" if pair.runs else "over runs of their own"
    if pair.verdict == TIED:
        return f"On average {over}, {pair.a} and {pair.b} are too close to call."
    if pair.verdict == CANNOT:
        return _cannot(pair)
    longer = f"On average {over}, {pair.a} ran longer than {pair.b}"
    if not math.isnan(pair.high):
        return f"{longer}, by {span(pair.low, pair.high)}."
    by = f", by at least {_whole(pair.low)}" if pair.low >= 1.0 else ""
    return f"{longer}{by}; how much longer is not known, for not every run was seen to its end."


def mean_verdicts(pairs: Iterable[Mapping[Any, Any]]) -> Iterator[tuple[str, str, str]]:
    """Yield longer device, shorter one and verdict, for rows of `kit.runtime.replicate_pairs`."""
    for row in pairs:
        ids = row["device_a"], row["device_b"]
        pair = _Pair.of(row, dict(zip(ids, ids, strict=True)))
        yield *pair.ids, pair.verdict


def mean_rows(speech: Speech, pairs: pd.DataFrame) -> list[tuple[object, ...]]:
    """Return rows of the claims table on mean runtimes over the runs of these units.

    Parameters
    ----------
    speech
        Names to say.
    pairs
        Frame of `kit.runtime.replicate_pairs`.
    """
    rows: list[tuple[object, ...]] = []
    found = pairs[pairs["quantity"] == RUNTIME].to_dict("records")
    others = sum("declared" not in row["flags"].split(";") for row in found)
    for row in found:
        pair = _Pair.of(row, speech.device)
        method = _METHODS.get(pair.method, "")
        if method and pair.method != "tukey":
            if "declared" in pair.flags:
                method += ", one declared pair"
            elif others > 1:
                method += f", {others} pairs together (Bonferroni)"
        statement = f"{pair.a} ran longer than {pair.b} on average"
        rows.append(
            (
                0, 1, "this_session", "longer_on_average", *pair.ids, "", "", "", "runtime",
                statement, pair.verdict, pair.lead, pair.low, pair.high, pair.needed, "min",
                method, _reason(pair), _words(pair),
            )
        )  # fmt: skip
    return rows
