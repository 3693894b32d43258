"""What a set of results says in words: verdicts, places, claims, cautions, each with a key.

Two sets of results are compared statement by statement; a key is the same in both when it is the
same statement about the same devices.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from kit.units import joined

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

__all__ = ["CONCLUSION", "Kind", "Statement", "statements"]

Kind = Literal[
    "leader",
    "lead",
    "outlasted",
    "mean_outlasted",
    "claim",
    "declared",
    "drained",
    "place",
    "standing",
    "runtime_status",
    "drain_status",
    "caution",
]

CONCLUSION: tuple[Kind, ...] = ("leader", "outlasted", "mean_outlasted")
"""Statements that make the conclusion of a session: who lasted longest, who outlasted whom."""

LONGER = {
    "a": "{a} lasted longer",
    "b": "{b} lasted longer",
    "too_close": "too close to call",
    "both_still_on": "both still on",
    "unknown": "cannot be said",
}
LESS = {
    "a": "{a} drained less",
    "b": "{b} drained less",
    "tie": "tie",
    "not_compared": "not compared",
}
CLAIM = {
    "supported": "supported",
    "not_supported": "contradicted",
    "tied": "too close to call",
    "cannot_be_said": "cannot be said",
}


@dataclass(frozen=True, kw_only=True)
class Statement:
    """One statement.

    Parameters
    ----------
    kind
        What sort of statement.
    about
        What it is about, for people.
    value
        What is said.
    """

    kind: Kind
    about: str
    value: str


def statements(data: Mapping[str, Any]) -> dict[tuple[Any, ...], Statement]:
    """Return all statements of a set of results by key, the conclusion first.

    Parameters
    ----------
    data
        As from `kit.show.results_data.results_data`.
    """
    found: dict[tuple[Any, ...], Statement] = {}
    for part in (
        _leaders, _lead, _outlasted, _mean_outlasted, _claims, _drained, _places, _statuses,
        _cautions,
    ):  # fmt: skip
        for key, statement in part(data):
            found[(statement.kind, *key)] = statement
    return found


def rows(data: Mapping[str, Any], table: str) -> list[dict[str, Any]]:
    """Return the rows of a table by column; none if there is no such table."""
    found = data["tables"].get(table)
    if found is None:
        return []
    return [dict(zip(found["columns"], row, strict=True)) for row in found["rows"]]


def device_labels(data: Mapping[str, Any]) -> dict[str, str]:
    """Return id → label of the devices."""
    return {row["id"]: row["label"] or row["id"] for row in rows(data, "devices")}


def phase_labels(data: Mapping[str, Any]) -> dict[str, str]:
    """Return id → label of the phases."""
    return {row["id"]: row["label"] or row["id"] for row in rows(data, "phases")}


def _in_run(data: Mapping[str, Any], run: int) -> str:
    return f", run {run}" if len(data["session"].get("runs", ())) > 1 else ""


def _leaders(data: Mapping[str, Any]) -> Iterator[tuple[tuple[Any, ...], Statement]]:
    """Yield who lasted longest in each run, or had most charge left at its last reading."""
    names = device_labels(data)
    runs = dict.fromkeys(row["run"] for row in [*rows(data, "runtimes"), *rows(data, "standing")])
    for run in runs:
        lasted = [r for r in rows(data, "runtimes") if r["run"] == run and r["rank_best"] == 1]
        lasted = [r for r in lasted if r["runtime_h_low"] is not None]
        said, close = "{} lasted longest", "too close to call between {}"
        if not lasted:
            stood = [
                r for r in rows(data, "standing")
                if r["run"] == run and r["soc_pct"] is not None
            ]  # fmt: skip
            last = stood[-1]["phase"] if stood else None
            lasted = [r for r in stood if r["phase"] == last and r["rank_best"] == 1]
            said, close = "{} had most charge left", "most charge left is a tie between {}"
        if lasted:
            who = [names.get(r["device"], r["device"]) for r in lasted]
            text = (said if len(who) == 1 else close).format(joined(who))
        else:
            text = "cannot be said"
        yield (
            (run,),
            Statement(kind="leader", about=f"who lasted longest{_in_run(data, run)}", value=text),
        )


def _lead(data: Mapping[str, Any]) -> Iterator[tuple[tuple[Any, ...], Statement]]:
    """Yield the sentence that the report opens with: its margins can change, who leads or not."""
    for text in data.get("glance", ())[:1]:
        yield (), Statement(kind="lead", about="the first sentence of the report", value=text)


def _pair(names: Mapping[str, str], row: Mapping[str, Any]) -> tuple[str, str]:
    a, b = row["device_a"], row["device_b"]
    return names.get(a, a), names.get(b, b)


def _outlasted(data: Mapping[str, Any]) -> Iterator[tuple[tuple[Any, ...], Statement]]:
    names = device_labels(data)
    for row in rows(data, "runtime_pairs"):
        a, b = _pair(names, row)
        yield (
            (row["run"], row["device_a"], row["device_b"]),
            Statement(
                kind="outlasted",
                about=f"{a} against {b}, runtime{_in_run(data, row['run'])}",
                value=LONGER.get(row["verdict"], row["verdict"]).format(a=a, b=b),
            ),
        )


def _mean_outlasted(data: Mapping[str, Any]) -> Iterator[tuple[tuple[Any, ...], Statement]]:
    names = device_labels(data)
    for row in rows(data, "replicate_pairs"):
        if row["quantity"] != "runtime":
            continue
        a, b = _pair(names, row)
        yield (
            (row["device_a"], row["device_b"]),
            Statement(
                kind="mean_outlasted",
                about=f"{a} against {b}, mean runtime",
                value=LONGER.get(row["verdict"], row["verdict"]).format(a=a, b=b),
            ),
        )


def _claims(data: Mapping[str, Any]) -> Iterator[tuple[tuple[Any, ...], Statement]]:
    place = (
        "run", "kind", "code", "device_a", "device_b", "group", "phase_from", "phase_to",
        "measurand",
    )  # fmt: skip
    for row in rows(data, "claims"):
        yield (
            tuple(row[name] for name in place),
            Statement(
                kind="claim",
                about=f"“{row['statement']}”",
                value=CLAIM.get(row["verdict"], row["verdict"]),
            ),
        )


def _drained(data: Mapping[str, Any]) -> Iterator[tuple[tuple[Any, ...], Statement]]:
    names, phases = device_labels(data), phase_labels(data)
    declared = set(data["session"].get("declared_comparison", ()))
    for row in rows(data, "drain_pairs"):
        a, b = _pair(names, row)
        key = (row["run"], row["phase"], row["device_a"], row["device_b"], row["measurand"])
        shown = ", as displayed" if row["measurand"] == "displayed" else ""
        where = f"{phases.get(row['phase'], row['phase'])}{_in_run(data, row['run'])}{shown}"
        yield (
            key,
            Statement(
                kind="drained",
                about=f"{a} against {b}, drain in {where}",
                value=LESS.get(row["verdict_table"], row["verdict_table"]).format(a=a, b=b),
            ),
        )
        if {row["device_a"], row["device_b"]} == declared and row.get("verdict_declared"):
            verdict = row["verdict_declared"]
            yield (
                key,
                Statement(
                    kind="declared",
                    about=f"{a} against {b}, declared beforehand, drain in {where}",
                    value=LESS.get(verdict, verdict).format(a=a, b=b),
                ),
            )


def _place(row: Mapping[str, Any]) -> str:
    best, worst = row["rank_best"], row["rank_worst"]
    if best is None or worst is None:
        return "none"
    return f"{best:.0f}" if best == worst else f"{best:.0f} to {worst:.0f}"


def _places(data: Mapping[str, Any]) -> Iterator[tuple[tuple[Any, ...], Statement]]:
    names, phases = device_labels(data), phase_labels(data)
    for row in rows(data, "runtimes"):
        name = names.get(row["device"], row["device"])
        yield (
            (row["run"], row["device"]),
            Statement(
                kind="place",
                about=f"place of {name} by runtime{_in_run(data, row['run'])}",
                value=_place(row),
            ),
        )
    for row in rows(data, "standing"):
        name = names.get(row["device"], row["device"])
        phase = phases.get(row["phase"], row["phase"])
        yield (
            (row["run"], row["phase"], row["device"]),
            Statement(
                kind="standing",
                about=f"place of {name} after {phase}{_in_run(data, row['run'])}",
                value=_place(row),
            ),
        )


def _statuses(data: Mapping[str, Any]) -> Iterator[tuple[tuple[Any, ...], Statement]]:
    names, phases = device_labels(data), phase_labels(data)
    for row in rows(data, "runtimes"):
        name = names.get(row["device"], row["device"])
        yield (
            (row["run"], row["device"]),
            Statement(
                kind="runtime_status",
                about=f"runtime of {name}{_in_run(data, row['run'])}",
                value=str(row["status"]).replace("_", " "),
            ),
        )
    for row in rows(data, "phase_drain"):
        if row["measurand"] != "displayed":
            continue
        name = names.get(row["device"], row["device"])
        phase = phases.get(row["phase"], row["phase"])
        yield (
            (row["run"], row["phase"], row["device"]),
            Statement(
                kind="drain_status",
                about=f"drain of {name} in {phase}{_in_run(data, row['run'])}",
                value=str(row["status"]).replace("_", " "),
            ),
        )


def _cautions(data: Mapping[str, Any]) -> Iterator[tuple[tuple[Any, ...], Statement]]:
    """Yield the cautions of the checks; lines may shift, so they are no part of the key."""
    seen: Counter[tuple[Any, ...]] = Counter()
    for finding in data.get("findings", ()):
        if finding["severity"] != "caution":
            continue
        key = tuple(finding.get(n) for n in ("rule", "file", "column", "device", "phase", "run"))
        seen[key] += 1
        of = ", ".join(str(v) for v in (finding.get("device"), finding.get("phase")) if v)
        yield (
            (*key, seen[key]),
            Statement(
                kind="caution",
                about=f"caution {finding['rule']}{f' ({of})' if of else ''}",
                value="raised",
            ),
        )
