"""Claims on mean runtimes over several runs of the same units."""

from __future__ import annotations

import math
from collections import Counter
from itertools import pairwise
from typing import TYPE_CHECKING, Any, NamedTuple

from kit.claims.verdicts import CANNOT, NOT_SUPPORTED, SUPPORTED, TIED
from kit.claims.words import span, told_apart
from kit.runtime.open_pairs import FEW_RUNS
from kit.runtime.replicates import RUNTIME
from kit.units import count, duration, joined

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence

    import pandas as pd

    from kit.claims.words import Speech
    from kit.session import Session

__all__ = ["LONGEST", "groups_of", "mean_rows", "mean_verdicts", "top_verdicts"]

LONGEST = "longest_on_average"
"""Code of the sentence that one device ran longest of all, or of a group."""

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
    def turned(self) -> _Pair:
        """Return the same the other way round."""
        verdict = {SUPPORTED: NOT_SUPPORTED, NOT_SUPPORTED: SUPPORTED}.get(
            self.verdict, self.verdict
        )
        return self._replace(
            ids=self.ids[::-1], a=self.b, b=self.a, verdict=verdict, lead=-self.lead,
            low=-self.high, high=-self.low,
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
        bound = pair.method == "seen_scatter"
        lead, needed = told_apart(pair.lead, pair.needed, at_least=bound)
        known = f"{lead} on average, {needed} needed"
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
        if pair.low < 1.0:
            return f"{longer}, by at most {duration(math.ceil(pair.high))}."
        return f"{longer}, by {span(pair.low, pair.high)}."
    by = f", by at least {_whole(pair.low)}" if pair.low >= 1.0 else ""
    return f"{longer}{by}; how much longer is not known, for not every run was seen to its end."


def mean_verdicts(pairs: Iterable[Mapping[Any, Any]]) -> Iterator[tuple[str, str, str]]:
    """Yield two devices and the verdict on the first having run longer on average than the second.

    The first is the one that is ahead, as far as that is known: what is separated is supported.

    Parameters
    ----------
    pairs
        Rows of `kit.runtime.replicate_pairs` on runtimes.
    """
    for row in pairs:
        ids = row["device_a"], row["device_b"]
        pair = _Pair.of(row, dict(zip(ids, ids, strict=True)))
        yield *pair.ids, pair.verdict


class _Top(NamedTuple):
    """Whether a device ran longer on average than each of some others.

    Parameters
    ----------
    pairs
        With the device first, hardest first.
    verdict
        Supported where all of them are.
    hardest
        Reason of the first of them.
    """

    pairs: tuple[_Pair, ...]
    verdict: str
    hardest: str

    @classmethod
    def of(cls, device: str, others: Collection[str], pairs: Sequence[_Pair]) -> _Top:
        mine = [
            (p if p.ids[0] == device else p.turned, p)
            for p in pairs
            if device in p.ids and set(p.ids) - {device} <= set(others)
        ]
        order = (NOT_SUPPORTED, CANNOT, TIED, SUPPORTED)

        def spare(both: tuple[_Pair, _Pair]) -> tuple[int, float]:
            pair, _ = both
            return order.index(pair.verdict), math.inf if math.isnan(pair.low) else pair.low

        mine.sort(key=spare)
        verdict = mine[0][0].verdict if mine else CANNOT
        return cls(tuple(pair for pair, _ in mine), verdict, _reason(mine[0][1]) if mine else "")

    def words(self, name: str, of_all: str) -> tuple[str, str]:
        """Return reason and wording."""
        first = self.pairs[0]
        over = f"over {count(first.runs, 'run')}" if first.runs else "over runs of their own"
        if self.verdict == SUPPORTED:
            known = [pair.low for pair in self.pairs if not math.isnan(pair.low)]
            by = f", at least {_whole(min(known))} longer than any other"
            told = by if known and min(known) >= 1.0 and len(known) == len(self.pairs) else ""
            return (
                f"longer than each of the others; closest to {first.b}: {self.hardest}",
                f"On average {over}, {name} ran longest {of_all}{told}.",
            )
        if self.verdict == NOT_SUPPORTED:
            ahead = joined(p.b for p in self.pairs if p.verdict == NOT_SUPPORTED)
            return f"{ahead} ran longer", f"On average {over}, {ahead} ran longer than {name}."
        open_ = [p for p in self.pairs if p.verdict == self.verdict]
        rivals = joined(p.b for p in open_)
        if self.verdict == TIED:
            return (
                f"too close to {rivals}: {self.hardest}",
                f"On average {over}, {joined([name, *(p.b for p in open_)])} are too close to say "
                f"which ran longest {of_all}.",
            )
        return (
            f"not known against {rivals}: {self.hardest}",
            f"Which ran longest {of_all} on average cannot be said: {name} against {rivals} is "
            "open.",
        )


def groups_of(session: Session, known: Collection[str]) -> list[tuple[str, list[str]]]:
    """Return the devices to find the longest of: all that have runs, as "", and groups of them.

    All of them where they are three or more, since of two it is the sentence on the pair; a group
    where two or more of it have runs, but not all that do.

    Examples
    --------
    >>> from kit.session import Device
    >>> from tests.helpers.builders import make_session
    >>> names = {"a": ("small",), "b": ("small", "new"), "c": ("new",), "d": ()}
    >>> s = make_session(devices=[Device(id=k, label=k, groups=g) for k, g in names.items()])
    >>> groups_of(s, {"a", "b", "c"})
    [('', ['a', 'b', 'c']), ('small', ['a', 'b']), ('new', ['b', 'c'])]
    >>> groups_of(s, {"a", "b"})
    []
    """
    everyone = [device.id for device in session.devices if device.id in known]
    found: dict[str, list[str]] = {}
    for device in session.devices:
        for group in device.groups if device.id in known else ():
            found.setdefault(group, []).append(device.id)
    groups = [(name, ids) for name, ids in found.items() if 1 < len(ids) < len(everyone)]
    return ([("", everyone)] if len(everyone) > 2 else []) + groups


def _by_length(ids: Iterable[str], pairs: Sequence[_Pair]) -> list[str]:
    """Return devices by how many others each is ahead of: the longest mean first, where known."""
    ahead = Counter(pair.ids[0] for pair in pairs)
    return sorted(ids, key=lambda device: -ahead[device])


def top_verdicts(
    session: Session, pairs: Iterable[Mapping[Any, Any]]
) -> Iterator[tuple[str, str, str]]:
    """Yield device, group and verdict on its having run longest on average, for every device.

    Parameters
    ----------
    session
        Names devices and groups; "" is the group of all.
    pairs
        Rows of `kit.runtime.replicate_pairs` on runtimes.
    """
    names = {device.id: device.id for device in session.devices}
    found = [_Pair.of(row, names) for row in pairs]
    known = {device for pair in found for device in pair.ids}
    for group, ids in groups_of(session, known):
        for device in ids:
            yield device, group, _Top.of(device, ids, found).verdict


def _names(speech: Speech, *devices: str) -> dict[str, str]:
    """Return the names of devices that are compared, each with what sets it apart."""
    place = {device.id: k for k, device in enumerate(speech.session.devices)}
    them = [place[device] for device in devices]
    return {
        device: speech.unlike.marked(speech.device[device], place[device], them)
        for device in devices
    }


def _rivals(speech: Speech, device: str, ids: Sequence[str]) -> str:
    """Return in brackets what sets apart those that a device is said to run longer than."""
    them = [k for k, one in enumerate(speech.session.devices) if one.id in ids]
    names = [speech.device[one.id] for one in speech.session.devices]
    a = next(k for k in them if speech.session.devices[k].id == device)
    return speech.unlike.rivals(names, a, them)


def _top_rows(speech: Speech, pairs: Sequence[_Pair], method: str) -> Iterator[tuple[object, ...]]:
    known = {device for pair in pairs for device in pair.ids}
    for group, ids in groups_of(speech.session, known):
        device = _by_length(ids, pairs)[0]
        top = _Top.of(device, ids, pairs)
        name, hardest = _names(speech, device, *ids)[device], top.pairs[0]
        unlike = _rivals(speech, device, ids)
        among = f"among “{speech.group(group)}”"
        of_all = among if group else f"of the {count(len(ids), 'device')}"
        yield (
            0, 1, "this_session", LONGEST, device, "", group, "", "", "runtime",
            f"{name} ran longest on average{f' {among}' if group else ''}{unlike}", top.verdict,
            hardest.lead, hardest.low, hardest.high, hardest.needed, "min", method,
            *top.words(name, f"{of_all}{unlike if top.verdict == SUPPORTED else ''}"),
        )  # fmt: skip


def mean_rows(speech: Speech, pairs: pd.DataFrame) -> list[tuple[object, ...]]:
    """Return rows of the claims table on mean runtimes over the runs of these units.

    Parameters
    ----------
    speech
        Names to say.
    pairs
        Frame of `kit.runtime.replicate_pairs`.

    Returns
    -------
    list
        Who ran longest on average, of all and in each group; the declared pair; then the other
        pairs by the order of means, as far as that is known. Of these only neighbours in that
        order open the report.
    """
    records = pairs[pairs["quantity"] == RUNTIME].to_dict("records")
    others = sum("declared" not in row["flags"].split(";") for row in records)
    found = [_Pair.of(row, _names(speech, row["device_a"], row["device_b"])) for row in records]
    order = _by_length(dict.fromkeys(device for pair in found for device in pair.ids), found)
    place = {device: k for k, device in enumerate(order)}
    near = {frozenset(two) for two in pairwise(order)}
    methods = {pair.ids: _method(pair, others) for pair in found}
    rows = list(_top_rows(speech, found, joined(dict.fromkeys(filter(None, methods.values())))))
    for pair in sorted(
        found, key=lambda p: ("declared" not in p.flags, *(place[device] for device in p.ids))
    ):
        urgent = "declared" in pair.flags or frozenset(pair.ids) in near
        statement = f"{pair.a} ran longer than {pair.b} on average"
        rows.append(
            (
                0, 1 if urgent else 2, "this_session", "longer_on_average", *pair.ids, "", "", "",
                "runtime", statement, pair.verdict, pair.lead, pair.low, pair.high, pair.needed,
                "min", methods[pair.ids], _reason(pair), _words(pair),
            )
        )  # fmt: skip
    return rows


def _method(pair: _Pair, others: int) -> str:
    """Return by which rule a pair was judged; ``others``: pairs that are not declared."""
    method = _METHODS.get(pair.method, "")
    if method and pair.method != "tukey":
        if "declared" in pair.flags:
            method += ", one declared pair"
        elif others > 1:
            method += f", {others} pairs together (Bonferroni)"
    return method
