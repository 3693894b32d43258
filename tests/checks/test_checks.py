"""The clean session, the registry, the documentation, and order and speed of all rules."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from kit.checks import RULES, check_session
from kit.session import Device, Phase, Session
from tests.helpers.builders import START, frame, join_runs, make_session
from tests.helpers.clean_session import clean

DOCS = Path(__file__).parents[2] / "docs" / "checks.md"


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


def _any_session(rng: np.random.Generator) -> Session:
    """Return a session with anything missing, odd or contradictory that a reader lets through."""

    def some(value: float, chance: float = 0.3) -> float | None:
        return None if rng.uniform() < chance else float(np.round(value, 1))

    kinds = ("plain", "crossover", "rotation", "until_empty")
    phases = [
        Phase(
            id=f"p{i}",
            label=f"P{i}",
            activity=("x", "y", "")[rng.integers(3)],
            kind=kinds[rng.integers(4)],
            planned_min=some(rng.uniform(0, 120)),
            parts=("x", "y") if rng.uniform() < 0.8 else None,
            first_half=("a",),
            turn_min=some(rng.uniform(0, 20)),
            screen_on=(True, False, None)[rng.integers(3)],
        )
        for i in range(rng.integers(1, 5))
    ]
    sources = ("clock", "elapsed", "planned", "")
    spans = [
        {
            "phase": p.id,
            "start_min": some(60.0 * i + rng.uniform(-20, 20)),
            "end_min": some(60.0 * i + 60 + rng.uniform(-20, 20)),
            "duration_min": some(60.0),
            "start_source": sources[rng.integers(4)],
            "end_source": sources[rng.integers(4)],
            "t_resolution_min": some(1.0),
        }
        for i, p in enumerate(phases)
        if rng.uniform() < 0.9
    ]
    ids = [*(p.id for p in phases), ""]

    def row(**columns: Any) -> dict[str, Any]:
        return {"device": "abcd"[rng.integers(4)], "phase": ids[rng.integers(len(ids))], **columns}

    def time() -> float | None:
        return some(rng.uniform(-30, 400))

    readings = [
        row(point=("start", "inside", "end", "")[rng.integers(4)], t_min=time(),
            kind=("reading", "tick")[rng.integers(2)], soc_pct=some(rng.uniform(0, 100), 0.1))
        for _ in range(rng.integers(0, 25))
    ]  # fmt: skip
    offs = {
        d: {
            "phase": ids[rng.integers(len(ids))], "noted_min": time(), "last_on_min": time(),
            "soc_pct": some(rng.uniform(0, 20)), "still_on": bool(rng.uniform() < 0.2),
            "cause": ("", "heat", "empty")[rng.integers(3)],
        }
        for d in "abc"
        if rng.uniform() < 0.7
    }  # fmt: skip
    return make_session(
        devices=("a", "b", "c"),
        phases=phases,
        spans=spans,
        more_readings=readings,
        power_offs=offs,
        charges=[row(start_min=time(), end_min=time())],
        turns=[row(activity="xyz"[rng.integers(3)], duration_min=some(30.0), completed="partly")],
        incidents=[row(t_min=time(), cause="swelling")],
        temperatures=[row(t_min=time(), temperature_c=some(40.0))],
        conditions={"room_start_c": some(20.0), "power_saver": "on"},
        stop_min=some(300.0),
        stated_elapsed_min=some(300.0),
        start=START if rng.uniform() < 0.7 else None,
    )


def test_no_session_however_odd_makes_a_rule_fail_or_speak_nonsense() -> None:
    rng = np.random.default_rng(17)
    for _ in range(150):
        session = _any_session(rng)
        for finding in check_session(session):
            text = finding.sentence
            assert "nan" not in text
            assert "inf " not in text
            assert "∞" not in text
            assert "–" not in text
            assert finding.severity in ("caution", "note")
            assert finding.line is None or finding.line > 0
            assert finding.run in (None, 1)
