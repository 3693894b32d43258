"""A session as a row of the index; expected words are worked out by hand from the figures."""

from __future__ import annotations

import copy
import json
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.index.entry import Entry, Lead, Longest, NoResultsError, entry_of
from kit.results import RESULT_COLUMNS
from kit.revise.history import HISTORY_COLUMNS
from kit.revise.statements import CLAIM
from tests.helpers.plain_results import (
    caution,
    longest_claim,
    plain_results,
    revision,
    runtime,
)
from tests.helpers.shown import plain

if TYPE_CHECKING:
    from collections.abc import Iterator


def lead_of(entry: Entry) -> tuple[str, str]:
    return entry.lead.verdict, plain(entry.lead.words)


def test_what_a_session_says_of_itself() -> None:
    entry = entry_of(
        plain_results(
            revision_number=3,
            findings=[caution(), caution(severity="note"), caution("soc-range")],
            sources=[{"name": "log.csv", "sha256": "ab", "size": 3}],
        )
    )
    assert (entry.state, entry.title, entry.date) == ("report", "Mud flats", "2026-05-16")
    assert entry.devices == ("Limpet 10", "Kelpfin 11", "Dunlin 9")
    assert entry.headline == "Kelpfin 11 lasted longest."
    assert (entry.cautions, entry.revision) == (2, 3)
    assert entry.sources == (("log.csv", "ab"),)
    assert (entry.longest, entry.lead) == (None, Lead())


def test_a_survivor_leads_with_an_open_end() -> None:
    # 9.99 h = 599.4 min, downwards 9:59; 35.9 min, downwards 35
    entry = entry_of(
        plain_results(
            runtimes=[runtime("limpet", 8.0, 8.1, 2), runtime("kelpfin", 9.99, None, 1)],
            claims=[longest_claim("kelpfin", "supported", lead_low=35.9)],
        )
    )
    assert entry.longest is not None
    assert (entry.longest.who, plain(entry.longest.words)) == ("Kelpfin 11", "at least 9:59")
    assert entry.longest.hours == pytest.approx(599 / 60)
    assert lead_of(entry) == ("supported", "lead supported by at least 35 min")


def test_an_observed_runtime_has_both_ends_rounded_outwards() -> None:
    # 7.51 h = 450.6 min, downwards 7:30; 7.56 h = 453.6 min, upwards 7:34
    entry = entry_of(plain_results(runtimes=[runtime("dunlin", 7.51, 7.56, 1)]))
    assert entry.longest == Longest("Dunlin 9", "7:30 to 7:34", 7.5)
    assert lead_of(entry) == ("open", "lead not judged in this report")


def test_a_lead_below_a_minute_is_supported_without_a_figure() -> None:
    rows = [runtime("kelpfin", 8.0, 8.1, 1), runtime("limpet", 7.0, 7.9, 2)]
    claims = [longest_claim("kelpfin", "supported", lead_low=0.4)]
    assert lead_of(entry_of(plain_results(runtimes=rows, claims=claims))) == (
        "supported", "lead supported",
    )  # fmt: skip


def test_a_tie_names_who_is_too_close() -> None:
    rows = [
        runtime("limpet", 8.00, 8.10, 1),
        runtime("kelpfin", 8.02, 8.08, 1),
        runtime("dunlin", 7.00, 7.10, 3),
    ]
    entry = entry_of(plain_results(runtimes=rows, claims=[longest_claim("kelpfin", "tied")]))
    assert entry.longest is not None
    assert entry.longest.who == "Kelpfin 11"
    assert lead_of(entry) == ("tied", "too close to call: Limpet 10 and Kelpfin 11")


def test_a_tie_of_many_is_counted() -> None:
    labels = {f"d{k}": f"Limpet {k}" for k in range(4)}
    rows = [runtime(id_, 8.0, 8.1, 1) for id_ in labels]
    made = plain_results(labels=labels, runtimes=rows, claims=[longest_claim("d0", "tied")])
    assert lead_of(entry_of(made)) == ("tied", "too close to call: four devices")


def test_a_tie_without_shared_places_names_nobody() -> None:
    rows = [runtime("limpet", 8.0, 8.1, 1), runtime("kelpfin", 7.9, 8.0, 2)]
    made = plain_results(runtimes=rows, claims=[longest_claim("limpet", "tied")])
    assert lead_of(entry_of(made)) == ("tied", "too close to call")


@pytest.mark.parametrize(
    ("verdict", "told"),
    [
        ("cannot_be_said", ("open", "who leads cannot be said")),
        ("not_supported", ("not_supported", "lead not supported")),
        ("of another version", ("open", "who leads cannot be said")),
    ],
)
def test_other_verdicts(verdict: str, told: tuple[str, str]) -> None:
    rows = [runtime("limpet", 8.0, None, 1), runtime("kelpfin", 8.0, None, 1)]
    made = plain_results(runtimes=rows, claims=[longest_claim("limpet", verdict)])
    assert lead_of(entry_of(made)) == told


def test_a_device_alone_has_no_lead() -> None:
    made = plain_results(labels={"limpet": "Limpet 10"}, runtimes=[runtime("limpet", 8.0, 8.1, 1)])
    entry = entry_of(made)
    assert entry.longest is not None
    assert entry.lead == Lead()


def mean(device: str, value: float, low: float | None, high: float | None) -> dict[str, Any]:
    return {
        "device": device, "quantity": "runtime", "runs": 3, "mean": value,
        "mean_low": low, "mean_high": high,
    }  # fmt: skip


def pair(a: str, b: str, verdict: str, quantity: str = "runtime") -> dict[str, Any]:
    return {"device_a": a, "device_b": b, "quantity": quantity, "verdict": verdict}


@pytest.mark.parametrize(
    ("verdicts", "told"),
    [
        (("a", "b"), ("supported", "lead supported, on average")),
        (("a", "too_close"), ("tied", "too close to call with Dunlin 9, on average")),
        (("a", "unknown"), ("open", "who leads cannot be said")),
        (("b", "b"), ("open", "who leads cannot be said")),
    ],
)
def test_several_runs_go_by_their_mean(verdicts: tuple[str, str], told: tuple[str, str]) -> None:
    # 5.85 h = 351 min = 5:51; 6.12 h = 367.2 min, upwards 6:08; 5.989 h = 359.3 min, 5:59
    made = plain_results(
        runs=3,
        replicates=[
            mean("limpet", 5.4, 5.0, 5.8),
            mean("kelpfin", 5.989, 5.85, 6.12),
            mean("dunlin", 5.2, 4.9, 5.6),
        ],
        replicate_pairs=[
            pair("kelpfin", "limpet", verdicts[0]),
            pair("dunlin", "kelpfin", verdicts[1]),
            pair("kelpfin", "dunlin", "too_close", "drain:map"),
        ],
        runtimes=[runtime("limpet", 9.0, 9.1, 1, run=2)],
    )
    entry = entry_of(made)
    assert entry.longest == Longest("Kelpfin 11", "mean 5:59 (5:51 to 6:08), three runs", 5.989)
    assert lead_of(entry) == told


def test_a_mean_without_bounds_stands_alone() -> None:
    made = plain_results(runs=2, replicates=[mean("limpet", 5.5, None, None)])
    entry = entry_of(made)
    assert entry.longest is not None
    assert entry.longest.words == "mean 5:30, three runs"
    assert lead_of(entry) == ("open", "who leads cannot be said")


@pytest.mark.parametrize(
    ("second", "verdict", "told"),
    [
        ("kelpfin", "supported", ("supported", "lead supported in each of two runs")),
        ("kelpfin", "tied", ("open", "lead not supported in every run")),
        ("limpet", "supported", ("open", "not the same device in every run")),
    ],
)
def test_runs_without_a_mean_are_told_run_by_run(
    second: str, verdict: str, told: tuple[str, str]
) -> None:
    other = "limpet" if second == "kelpfin" else "kelpfin"
    made = plain_results(
        runs=2,
        runtimes=[
            runtime("kelpfin", 8.0, 8.1, 1),
            runtime("limpet", 7.0, 7.1, 2),
            runtime(second, 8.5, None, 1, run=2),
            runtime(other, 7.5, 7.6, 2, run=2),
        ],
        claims=[
            longest_claim("kelpfin", "supported"),
            longest_claim(second, verdict, run=2),
        ],
    )
    entry = entry_of(made)
    assert entry.longest is not None
    assert plain(entry.longest.words) == "at least 8:30, run 2"
    assert lead_of(entry) == told


@pytest.mark.parametrize(
    ("codes", "words", "changed"),
    [
        (["first"], "", False),
        (["first", "changed"], "conclusion changed", True),
        (["first", "partly"], "conclusion changed in part", True),
        (["first", "changed", "stands"], "conclusion stands", True),
        (["first", "unmoved"], "nothing moved", False),
        (["first", "not_comparable"], "cannot be compared", False),
    ],
)
def test_what_corrections_did(codes: list[str], words: str, changed: bool) -> None:
    made = plain_results(revisions=[revision(n, code) for n, code in enumerate(codes, start=1)])
    entry = entry_of(made)
    assert (entry.correction, entry.changed) == (words, changed)


@pytest.mark.parametrize(
    ("data", "why"),
    [
        ([], "does not say that it holds the results"),
        ({"format": 1}, "does not say that it holds the results"),
        ({"format": "rundown-results/2"}, "this version reads 'rundown-results/1'"),
        ({"format": "rundown-results/1"}, "lacks the session or the tables"),
        ({"format": "rundown-results/1", "session": {}, "tables": []}, "lacks the session"),
    ],
)
def test_what_is_no_results_is_said(data: object, why: str) -> None:
    with pytest.raises(NoResultsError, match=why):
        entry_of(data)


@pytest.mark.parametrize("date", [None, "", "16 May", "2026-05-16T08:00", "٢٠٢٦-٠٥-١٦", 20260516])
def test_a_date_that_is_none_is_left_out(date: Any) -> None:
    assert entry_of(plain_results(date=date)).date == ""


def test_an_old_file_without_most_tables_is_still_a_row() -> None:
    entry = entry_of({"format": "rundown-results/1", "session": {"id": "mud"}, "tables": {}})
    assert entry == Entry(title="mud")


def test_the_columns_that_are_read_are_those_that_a_report_has() -> None:
    read = {
        "runtimes": "run device rank_best right_censored runtime_h_low runtime_h_high",
        "claims": "run code device_a verdict lead_low",
        "replicates": "device quantity runs mean mean_low mean_high",
        "replicate_pairs": "device_a device_b quantity verdict",
    }
    for name, columns in read.items():
        assert set(columns.split()) <= set(RESULT_COLUMNS[name]), name
    assert {"number", "conclusion"} <= set(HISTORY_COLUMNS["revisions"])
    assert set(CLAIM) == {"supported", "not_supported", "tied", "cannot_be_said"}


FULL = plain_results(
    runs=2,
    findings=[caution()],
    sources=[{"name": "log.csv", "sha256": "ab"}],
    runtimes=[runtime("limpet", 8.0, 8.1, 1), runtime("kelpfin", 7.0, None, 2, run=2)],
    claims=[longest_claim("limpet", "tied"), longest_claim("kelpfin", "supported", run=2)],
    replicates=[mean("limpet", 5.5, 5.0, 6.0)],
    replicate_pairs=[pair("limpet", "kelpfin", "a")],
    revisions=[revision(1, "first"), revision(2, "changed")],
)


def places(value: Any, way: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Yield the way to every value inside plain data."""
    yield way
    inner = value.items() if isinstance(value, dict) else ()
    for key, item in enumerate(value) if isinstance(value, list) else inner:
        yield from places(item, (*way, key))


ANYTHING = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=4)
    | st.sampled_from([10**400, -(10**30), 1e308, "runtime", "longest", "a"]),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner),
    max_leaves=4,
)  # fmt: skip


@given(st.lists(st.tuples(st.sampled_from(list(places(FULL))), ANYTHING), min_size=1, max_size=4))
def test_damaged_results_give_a_row_or_a_reason_and_never_a_crash(
    damage: list[tuple[tuple[Any, ...], Any]],
) -> None:
    data: Any = copy.deepcopy(FULL)
    for way, instead in damage:
        if not way:
            data = instead
            continue
        inner = data
        try:
            for key in way[:-1]:
                inner = inner[key]
            inner[way[-1]] = instead
        except (KeyError, IndexError, TypeError):
            continue  # an earlier damage took that place away
    try:
        entry = entry_of(data)
    except NoResultsError:
        return
    texts = [entry.title, entry.date, entry.headline, *entry.devices, entry.lead.words]
    assert all(isinstance(text, str) for text in texts)
    assert json.dumps([entry.cautions, entry.revision], allow_nan=False)
