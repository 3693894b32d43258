"""One session as a row of the index, read from its results. Pure.

Results come from files that may be older, cut short or edited by hand: whatever is not as a
report writes it is left out, and a file that is no results at all is said to be none.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from dataclasses import dataclass
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any, Literal

from kit.claims.unlike import NOT_CHARGED, UNLIKE
from kit.show.lasting import bounds_min, runtime_bounds
from kit.show.results_data import FORMAT
from kit.units import count, duration, h_mm, joined

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

__all__ = ["Entry", "Lead", "Longest", "NoResultsError", "State", "entry_of"]

State = Literal["report", "no_report", "unreadable"]
"""``report``: made and read. ``no_report``: a record of which no report was found.
``unreadable``: there is a report whose results cannot be read."""

Verdict = Literal["supported", "tied", "not_supported", "open", ""]
"""Whether the lead of the longest runtime stands; ``open``: it cannot be said, or was not judged;
empty: there is no lead to speak of."""

MIN_PER_H = 60.0
ISO_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
RUNTIME = "runtime"
LARGEST = 1e9
"""No time, count or percentage of a session is as large. Chosen, no source."""
MOST_TIED = 3
"""Devices of a tie that are named; of a larger one the number is given."""

CORRECTIONS: Mapping[str, str] = {
    "changed": "conclusion changed",
    "partly": "conclusion changed in part",
    "stands": "conclusion stands",
    "unmoved": "nothing moved",
    "not_comparable": "cannot be compared",
}
"""In words, what a correction did to the conclusion (codes of `kit.revise.headline`)."""
CHANGING = ("changed", "partly")


class NoResultsError(ValueError):
    """The content of a ``results.json`` is not what a report writes."""


@dataclass(frozen=True)
class Lead:
    """Whether the lead of the longest runtime stands, as a code and in words."""

    verdict: Verdict = ""
    words: str = ""


@dataclass(frozen=True)
class Longest:
    """Longest runtime of a session: whose, in words, and in hours to sort by."""

    who: str
    words: str
    hours: float


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One row of the index. Texts are as in the record; the page escapes them.

    Parameters
    ----------
    state
        Whether there is a report.
    place
        Folder of the report, or of the record where there is no report, relative to the page.
    title, date
        Of the session; ``date`` in ISO form, empty if not recorded.
    devices
        Labels in the order of the record.
    longest, lead
        Longest runtime, ``None`` if no runtime is known, and whether its lead stands.
    headline
        First sentence of the report, or why there is none.
    cautions, revision
        Number of cautions of the checks, and of the revision; ``None`` if not known.
    correction, changed
        What the last correction did to the conclusion, in words, and whether that or an earlier
        one changed it.
    links
        Name → address of the files of the report, relative to the page.
    remark
        What else has to be known of the row, e.g. that the record has changed since.
    sources
        Name → SHA-256 of the files that the report was made from.
    """

    state: State = "report"
    place: str = ""
    title: str
    date: str = ""
    devices: tuple[str, ...] = ()
    longest: Longest | None = None
    lead: Lead = Lead()
    headline: str = ""
    cautions: int | None = None
    revision: int | None = None
    correction: str = ""
    changed: bool = False
    links: tuple[tuple[str, str], ...] = ()
    remark: str = ""
    sources: tuple[tuple[str, str], ...] = ()


def entry_of(data: object) -> Entry:
    """Return the row of a session from its results.

    Parameters
    ----------
    data
        Content of a ``results.json``, as the standard library's ``json`` reads it.

    Raises
    ------
    NoResultsError
        If it is no results of a session in the layout that this version reads; it says why.

    Examples
    --------
    >>> data = {"format": "rundown-results/1", "session": {"title": "Mud flats"}, "tables": {}}
    >>> entry_of(data).title, entry_of(data).longest
    ('Mud flats', None)
    >>> entry_of({"format": "rundown-results/9"})  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    ...
    kit.index.entry.NoResultsError: its layout is 'rundown-results/9'; this version reads ...
    """
    if not isinstance(data, dict) or not isinstance(data.get("format"), str):
        message = "it does not say that it holds the results of a session"
        raise NoResultsError(message)
    if data["format"] != FORMAT:
        message = f"its layout is {data['format']!r}; this version reads {FORMAT!r}"
        raise NoResultsError(message)
    session = data.get("session")
    if not isinstance(session, dict) or not isinstance(data.get("tables"), dict):
        message = "it lacks the session or the tables"
        raise NoResultsError(message)
    return _Results(data, session).entry()


def _text(value: object) -> str:
    return value if isinstance(value, str) else ""


def _date(value: object) -> str:
    """Return a date in ISO form, nothing for any other text."""
    return value if isinstance(value, str) and ISO_DATE.fullmatch(value) else ""


def _number(value: object) -> float:
    """Return a number, NaN for anything else and for what no session can hold."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return math.nan
    return float(value) if abs(value) < LARGEST else math.nan


def _whole(value: object) -> int | None:
    number = _number(value)
    return int(number) if number.is_integer() else None


def _items(value: object) -> list[Any]:
    return value if isinstance(value, list) else []


class _Results:
    """Results of one session, read without trust."""

    def __init__(self, data: Mapping[str, Any], session: Mapping[str, Any]) -> None:
        self.data = data
        self.session = session
        self.labels = _apart(
            {
                id_: _text(row.get("label")) or id_
                for row in self.rows("devices")
                if (id_ := _text(row.get("id")))
            }
        )

    def rows(self, table: str) -> Iterator[dict[str, Any]]:
        """Yield the rows of a table by column; rows of another width are left out."""
        found = self.data["tables"].get(table)
        if not isinstance(found, dict):
            return
        columns = _items(found.get("columns"))
        if not all(isinstance(column, str) for column in columns):
            return
        for row in _items(found.get("rows")):
            if isinstance(row, list) and len(row) == len(columns):
                yield dict(zip(columns, row, strict=True))

    def name(self, device: object) -> str:
        """Return the label of a device."""
        return self.labels.get(_text(device), _text(device))

    def entry(self) -> Entry:
        longest, lead = self._longest()
        cautions = [
            f for f in _items(self.data.get("findings"))
            if isinstance(f, dict) and f.get("severity") == "caution"
        ]  # fmt: skip
        codes = [_text(row.get("conclusion")) for row in self.rows("revisions")]
        return Entry(
            title=_text(self.session.get("title")) or _text(self.session.get("id")),
            date=_date(self.session.get("date")),
            devices=tuple(self.labels.values()),
            longest=longest,
            lead=lead,
            headline=next((t for t in _items(self.data.get("glance")) if _text(t)), ""),
            cautions=len(cautions) if isinstance(self.data.get("findings"), list) else None,
            revision=_whole(self.session.get("revision")),
            correction=CORRECTIONS.get(codes[-1], "") if codes else "",
            changed=any(code in CHANGING for code in codes),
            sources=tuple(
                (_text(source.get("name")), _text(source.get("sha256")))
                for source in _items(self.session.get("sources"))
                if isinstance(source, dict)
            ),
        )

    def _longest(self) -> tuple[Longest | None, Lead]:
        runs = len(_items(self.session.get("runs")))
        means = [
            row for row in self.rows("replicates")
            if row.get("quantity") == RUNTIME and math.isfinite(_number(row.get("mean")))
        ]  # fmt: skip
        if runs > 1 and means:
            return self._by_mean(means)
        known = [row for row in map(_runtime, self.rows("runtimes")) if row is not None]
        if not known:
            return None, Lead()
        if runs > 1:
            return self._over_runs(known)
        first = min(known, key=_place)
        return Longest(self.name(first.device), runtime_bounds(first), _hours(first)), self._lead(
            first, known
        )

    def _by_mean(self, means: list[dict[str, Any]]) -> tuple[Longest, Lead]:
        """Return the longest mean runtime over the runs, and whether it leads every other."""
        first = max(means, key=lambda row: _number(row["mean"]))
        mean, low, high = (_number(first.get(n)) for n in ("mean", "mean_low", "mean_high"))
        words = f"mean {h_mm(mean * MIN_PER_H)}"
        if math.isfinite(low) and math.isfinite(high):
            bounds = SimpleNamespace(
                runtime_h_low=max(low, 0.0), runtime_h_high=high, right_censored=False
            )
            words += f" ({runtime_bounds(bounds)})"
        runs = _whole(first.get("runs"))
        words += f", {count(runs, 'run')}" if runs else ""
        device = first.get("device")
        return Longest(self.name(device), words, mean), self._mean_lead(device)

    def _mean_lead(self, device: object) -> Lead:
        sides = (("device_a", "device_b", "a"), ("device_b", "device_a", "b"))
        found: dict[str, str] = {}
        for row in self.rows("replicate_pairs"):
            if row.get("quantity") != RUNTIME:
                continue
            for mine, other, wins in sides:
                if row.get(mine) == device:
                    verdict = _text(row.get("verdict"))
                    found[_text(row.get(other))] = "ahead" if verdict == wins else verdict
        others = [id_ for id_ in self.labels if id_ != device]
        if not others:
            return Lead()
        if all(found.get(id_) == "ahead" for id_ in others):
            return Lead("supported", "lead supported, on average")
        close = [self.name(id_) for id_ in others if found.get(id_) == "too_close"]
        if close:
            return Lead("tied", f"too close to call with {_some(close)}, on average")
        return Lead("open", "who leads cannot be said")

    def _over_runs(self, known: list[Any]) -> tuple[Longest, Lead]:
        """Return the longest of several runs without a mean, and whether it led each of them."""
        runs = dict.fromkeys(row.run for row in known)
        firsts = [min((row for row in known if row.run == run), key=_place) for run in runs]
        best = max(firsts, key=_hours)
        longest = Longest(
            self.name(best.device), f"{runtime_bounds(best)}, run {best.run}", _hours(best)
        )
        leads = [self._lead(row, [r for r in known if r.run == row.run]) for row in firsts]
        if not any(lead.verdict for lead in leads):
            return longest, Lead()
        if len({row.device for row in firsts}) > 1:
            return longest, Lead("open", "not the same device in every run")
        if all(lead.verdict == "supported" for lead in leads):
            return longest, Lead(
                "supported", f"lead supported in each of {count(len(runs), 'run')}"
            )
        return longest, Lead("open", "lead not supported in every run")

    def _lead(self, first: Any, known: list[Any]) -> Lead:
        """Return the verdict on the sentence that a device lasted longest in its run."""
        if len(self.labels) < 2:
            return Lead()
        for row in self.rows("claims"):
            said = (row.get("code"), row.get("run"), row.get("device_a"))
            if said != ("longest", first.run, first.device):
                continue
            verdict = _text(row.get("verdict"))
            if verdict == "supported":
                least = _number(row.get("lead_low"))
                by = f" by at least {duration(math.floor(least))}" if least >= 1 else ""
                of_whom = _of_whom(_text(row.get("statement")), _text(row.get("wording")))
                return Lead("supported", f"lead supported{by}{of_whom}")
            if verdict == "tied":
                tied = [self.name(r.device) for r in known if r.rank_best == 1]
                who = f": {_some(tied)}" if len(tied) > 1 else ""
                return Lead("tied", f"too close to call{who}")
            if verdict == "not_supported":
                return Lead("not_supported", "lead not supported")
            return Lead("open", "who leads cannot be said")
        return Lead("open", "lead not judged in this report")


def _of_whom(statement: str, wording: str) -> str:
    """Return that a lead is one of those that were not charged, or under unlike conditions."""
    text = ", of those not charged" if statement.startswith(NOT_CHARGED) else ""
    return f"{text}, not under like conditions" if UNLIKE in wording else text


def _apart(labels: Mapping[str, str]) -> dict[str, str]:
    """Return the labels, those that stand several times with their place, as the report has it.

    Examples
    --------
    >>> _apart({"a": "Limpet 10", "b": "Dunlin 9", "c": "Limpet 10"})
    {'a': 'Limpet 10 [1]', 'b': 'Dunlin 9', 'c': 'Limpet 10 [3]'}
    """
    times = Counter(labels.values())
    return {
        id_: f"{label} [{place}]" if times[label] > 1 else label
        for place, (id_, label) in enumerate(labels.items(), start=1)
    }


def _some(names: list[str]) -> str:
    """Return a few names as a list, many as their number."""
    return joined(names) if len(names) <= MOST_TIED else count(len(names), "device")


def _runtime(row: Mapping[str, Any]) -> SimpleNamespace | None:
    """Return a row of the runtimes as numbers; ``None`` if no bound of it is known."""
    low = _number(row.get("runtime_h_low"))
    if not math.isfinite(low):
        return None
    return SimpleNamespace(
        run=_whole(row.get("run")) or 0,
        device=_text(row.get("device")),
        rank_best=_number(row.get("rank_best")),
        right_censored=row.get("right_censored") is True,
        runtime_h_low=low,
        runtime_h_high=_number(row.get("runtime_h_high")),
    )


def _hours(row: Any) -> float:
    """Return the least runtime in hours, as it is shown."""
    return bounds_min(row)[0] / MIN_PER_H


def _place(row: Any) -> tuple[float, float]:
    """Return a key that sorts the leader first."""
    rank = row.rank_best if math.isfinite(row.rank_best) else math.inf
    return rank, -row.runtime_h_low
