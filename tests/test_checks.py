"""The clean session, the registry, the documentation, and order and speed of all rules."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from builders import frame, join_runs, make_session
from clean_session import clean

from kit.checks import RULES, check_session
from kit.session import Device, Session

DOCS = Path(__file__).parent.parent / "docs" / "checks.md"


def test_a_clean_session_has_one_limit_and_no_fault() -> None:
    assert {f.rule for f in check_session(clean())} == {"one-unit-one-run"}


def test_two_clean_runs_have_nothing_to_tell() -> None:
    assert check_session(join_runs(clean(), clean())) == ()


def test_names_are_unique_kebab_case_and_each_rule_says_what_it_sees() -> None:
    names = [rule.name for rule in RULES]
    assert len(set(names)) == len(names)
    for rule in RULES:
        assert re.fullmatch(r"[a-z]+(-[a-z]+)*", rule.name)
        assert rule.severities
        assert set(rule.severities) <= {"caution", "note"}
        assert rule.sees.endswith(".")
        assert rule.to_do.endswith(".")
        assert rule.source


def test_docs_list_every_rule_as_the_registry_has_it() -> None:
    rows = [
        tuple(cell.strip() for cell in line.strip("|").split(" | "))
        for line in DOCS.read_text(encoding="utf-8").splitlines()
        if line.startswith("| `")
    ]
    expected = [(f"`{r.name}`", ", ".join(r.severities), r.sees, r.to_do, r.source) for r in RULES]
    assert rows == expected


def test_findings_come_worst_first_then_by_file_and_line() -> None:
    session = clean(
        readings={"a": [98, 99, 73, 58, 46], "b": [100, 90, 77, 64, 54], "c": [100, 86, 68, 69]},
        conditions={},
    )
    found = check_session(session)
    rank = {"caution": 0, "note": 1}
    keys = [(rank[f.severity], f.file, f.line or 0) for f in found]
    assert keys == sorted(keys)
    assert {f.severity for f in found} == {"caution", "note"}


def test_all_is_said_in_plain_text() -> None:
    for finding in check_session(clean(conditions={}, devices=("a", "b", "c"), power_offs={})):
        text = finding.sentence
        assert "\N{NO-BREAK SPACE}" not in text
        assert "nan" not in text.replace("unan", "")
        assert "  " not in text
        assert ".." not in text
        assert finding.remedy.endswith(".")
        assert not finding.found.endswith(".")
        assert not finding.expected.endswith(".")


def test_a_log_alone_gives_findings_that_name_the_log() -> None:
    session = replace(clean(conditions={}, sources=("scorecard.csv",)), has_setup=False)
    assert {f.file for f in check_session(session)} == {"scorecard.csv"}


def test_no_setup_file_is_said_once_not_in_every_rule() -> None:
    session = replace(
        clean(devices=("a", "b", "c"), conditions={}, sources=("day.csv",)), has_setup=False
    )
    rules = [f.rule for f in check_session(session)]
    assert rules.count("condition-missing") == 1
    assert {"health-unknown", "no-warm-up", "brightness-not-luminance"}.isdisjoint(rules)


def test_a_wide_scorecard_is_told_by_its_device_columns() -> None:
    session = clean(
        form="wide",
        readings={
            "a": [100, 88, 90, 58, 46],
            "b": [100, 90, 77, 64, 54],
            "c": [100, 86, 68, 51, 37],
        },
    )
    (rise,) = [f for f in check_session(session) if f.rule == "soc-rises"]
    assert rise.column == "a"


def test_an_empty_session_can_be_checked() -> None:
    session = make_session(devices=("a",), phases={})
    assert "power-off-missing" in {f.rule for f in check_session(session)}
    assert check_session(replace(session, devices=()))


def test_nothing_of_the_session_is_changed() -> None:
    session = clean(gaps={"p2": 40})
    before = {
        name: getattr(session, name).copy(deep=True)
        for name in ("readings", "power_offs", "spans", "temperatures", "charges", "turns")
    }
    check_session(session)
    for name, kept in before.items():
        pd.testing.assert_frame_equal(getattr(session, name), kept)


def test_categorical_and_text_columns_give_the_same_findings() -> None:
    session = clean(gaps={"p2": 40}, conditions={})
    columns = dict.fromkeys(("device", "phase", "point", "kind"), "category")
    other = replace(session, readings=session.readings.astype(columns))
    assert check_session(session) == check_session(other)


def _dense(rows: int, *, noise: float) -> Session:
    """Return a session of six devices read in turn, ``rows`` rows in all, one per 0.16 s."""
    names = [f"d{i}" for i in range(6)]
    each = rows // 6
    t = np.repeat(np.linspace(0.0, 480.0, each), 6)
    rate = np.tile(np.linspace(0.19, 0.2, 6), each)
    rng = np.random.default_rng(3)
    soc = np.clip(np.floor(100.99 - rate * t + rng.normal(0.0, noise, t.size)), 0, 100)
    phases = {f"p{i}": 60.0 for i in range(1, 9)}
    readings = (
        frame("readings", [])
        .reindex(range(t.size))
        .assign(
            run=1,
            device=pd.Categorical.from_codes(np.tile(np.arange(6), each), names),
            phase=pd.Categorical.from_codes(np.minimum(t // 60, 7).astype(int), list(phases)),
            point=pd.Categorical.from_codes(np.zeros(t.size, dtype=int), ["inside"]),
            kind=pd.Categorical.from_codes(np.zeros(t.size, dtype=int), ["reading"]),
            t_min=t,
            t_resolution_min=1 / 60,
            soc_pct=soc,
            order=0,
            by="",
            evidence="",
            note="",
            line=np.arange(t.size) + 2,
        )
    )
    offs = {n: {"noted_min": 500 + 5 * i, "last_on_min": 499 + 5 * i} for i, n in enumerate(names)}
    session = make_session(
        devices=[Device(id=n, label=n) for n in names], phases=phases, power_offs=offs
    )
    return replace(session, readings=readings)


@pytest.mark.parametrize("noise", [0.0, 0.02])
def test_a_dense_log_is_summed_up_not_listed(noise: float) -> None:
    found = check_session(_dense(60_000, noise=noise))
    assert len(found) < 40
    rises = [f for f in found if f.rule == "soc-rises"]
    assert len(rises) == (6 if noise else 0)
