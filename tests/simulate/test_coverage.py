"""The coverage study in small: few sessions of each world, and the study's own bookkeeping."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from kit.drain.phases import phase_drain
from kit.results import Settings
from kit.simulate import Operator, random_day, simulate_day
from tests.coverage_study.count import Tally, _rank_held, count_drains, count_runtimes, study
from tests.coverage_study.sentences import SENTENCES, count_sentences
from tests.coverage_study.table import FALSE, INTERVALS, page, shortfalls
from tests.coverage_study.worlds import BASE, WORLDS

BY_NAME = {world.name: world for world in WORLDS}
QUICK = ("base", "survivors", "gaps by the clock", "replicates", "all equal", "unnoticed saver")
PAGE = Path(__file__).resolve().parents[2] / "docs" / "coverage.md"


@pytest.mark.parametrize("name", QUICK)
def test_what_is_promised_is_kept(name):
    assert shortfalls(BY_NAME[name], study(BY_NAME[name], 24, seed=1)) == []


@pytest.mark.slow
@pytest.mark.parametrize("name", sorted(set(BY_NAME) - set(QUICK)))
def test_what_is_promised_is_kept_in_every_world(name):
    assert shortfalls(BY_NAME[name], study(BY_NAME[name], 60, seed=2)) == []


def test_worlds_have_names_of_their_own_and_each_kind_is_there():
    assert len(BY_NAME) == len(WORLDS)
    assert {w.kind for w in WORLDS} == {"inside", "priors", "outside"}


def one_day(seed: int = 3):
    rng = np.random.default_rng(seed)
    return simulate_day(random_day(BASE, rng), rng)


def test_study_sees_intervals_that_are_too_narrow():
    """Half-widths of 0.5 pp, as if one rounding were all: they hold in about 69 % of cases.

    The difference of two readings has a triangular error on ±1: P(|e| ≤ 0.5) = 1 − 0.5² = 0.75;
    the delays of two minutes take the rest.
    """
    tally = Tally()
    for seed in range(30):
        truth, session = one_day(seed)
        found = phase_drain(session, Settings())
        middle = found["drain_pp"]
        narrow = found.assign(drain_pp_low=middle - 0.5, drain_pp_high=middle + 0.5)
        count_drains(tally, narrow, truth)
    assert 60.0 < tally.percent("displayed other") < 78.0
    world = BY_NAME["base"]
    assert any("displayed other" in line for line in shortfalls(world, tally))


def test_study_sees_false_claims_of_order():
    """Orders taken from the minute noted off, where all devices go off at once."""
    rng = np.random.default_rng(5)
    tally = Tally()
    world = BY_NAME["all equal, deaths"]
    for _ in range(10):
        truth, session = simulate_day(random_day(world.draw, rng), rng)
        noted = session.power_offs["noted_min"].to_numpy()
        first, second = np.triu_indices(6, k=1)
        verdict = np.select(
            [noted[first] > noted[second], noted[first] < noted[second]], ["a", "b"], "too_close"
        )
        runtimes = pd.DataFrame(
            {"runtime_h_low": np.zeros(6), "runtime_h_high": np.full(6, np.nan),
             "rank_best": np.ones(6), "rank_worst": np.full(6, 6.0)}
        )  # fmt: skip
        count_runtimes(tally, runtimes, pd.DataFrame({"verdict": verdict}), truth)
    # passes begin at any time and take a minute: in most sessions some devices are noted apart
    assert tally.percent("runtime false in session") >= 20.0
    assert tally.percent("rank") == 100.0


def test_ranks_that_separate_equal_devices_do_not_hold():
    value = np.array([[50.0, 50.0, 40.0]])
    right = _rank_held(value, pd.Series([1.0, 1.0, 3.0]), pd.Series([2.0, 2.0, 3.0]))
    wrong = _rank_held(value, pd.Series([1.0, 2.0, 3.0]), pd.Series([1.0, 2.0, 3.0]))
    wide = _rank_held(value, pd.Series([1.0, 1.0, 1.0]), pd.Series([3.0, 3.0, 3.0]))
    left_out = _rank_held(value, pd.Series([1.0, np.nan, 2.0]), pd.Series([1.0, np.nan, 2.0]))
    assert right.tolist() == [True, True, True]
    assert wrong.tolist() == [False, False, True]
    assert wide.tolist() == [True, True, True]
    assert left_out.tolist() == [True, True]


def test_shortfalls_allow_for_chance_only():
    world = BY_NAME["base"]
    tally = Tally()
    tally.hits["displayed other"], tally.trials["displayed other"] = 9300, 10000
    # 93.0 %: three standard errors of 5000 independent cases at 94 % are 1.0 %
    assert shortfalls(world, tally) == []
    tally.hits["displayed other"] = 9290
    assert shortfalls(world, tally) == ["base: displayed other holds in 92.9 %"]
    tally = Tally()
    tally.hits["any false in session"], tally.trials["any false in session"] = 100, 1000
    assert shortfalls(world, tally) == ["base: any false in session in 10.0 %"]


def test_page_names_every_world_and_figure():
    tallies = [(world, Tally()) for world in WORLDS]
    for _, tally in tallies:
        for name in (*INTERVALS, *FALSE):
            tally.hits[name], tally.trials[name] = 999, 1000
    text = page(tallies, sessions=7, seed=1)
    for world in WORLDS:
        assert f"*{world.name}*" in text
        assert f"| {world.name} |" in text
    assert "99.9†" in text
    assert "99.9‡" in text


def test_kept_page_is_of_these_worlds_and_large_enough():
    text = PAGE.read_text(encoding="utf-8")
    for world in WORLDS:
        assert f"- *{world.name}*: {world.says}." in text
    total = int(text.split(" sessions in ")[0].split()[-1])
    assert total >= 5000


def test_operators_of_the_worlds_start_at_any_second_unless_said():
    starts = {w.name: w.draw.operator.starts for w in WORLDS if not callable(w.draw)}
    assert {n for n, s in starts.items() if s == "on_the_minute"} == {"on the minute"}
    assert Operator().starts == "on_the_minute"


def said(code, a, b="", verdict="supported", phase="", measurand="runtime", lead=1.0):
    return {
        "run": 1, "code": code, "device_a": a, "device_b": b, "phase_from": phase,
        "phase_to": phase, "measurand": measurand, "verdict": verdict, "lead": lead,
    }  # fmt: skip


def test_study_sees_false_sentences_of_every_kind():
    """Each sentence once about the right device and once about the wrong one."""
    truth, _ = one_day(4)
    devices = [d.id for d in truth.scenario.devices]
    off = truth.runtimes["off_min"].to_numpy()
    means = dict(zip(devices, off.tolist(), strict=True))
    first = truth.drains[truth.drains["phase"] == "p2"]
    drain, level = first["shown_drain_pp"].to_numpy(), first["end_shown_pct"].to_numpy()

    def order(values):
        return [devices[k] for k in np.argsort(-values)]

    longest, small, high = order(off), order(-drain), order(level)
    half = [d for d in longest if devices.index(d) <= 3]
    right = [
        said("longest", longest[0]), said("first_in_group", half[0]),
        said("outlasted", longest[0], longest[-1]), said("lasts_longer", longest[0], longest[1]),
        said("longer_on_average", longest[0], longest[1]),
        said("drained_least", small[0], phase="p2", measurand="displayed"),
        said("drained_less", small[0], small[-1], phase="p2", measurand="displayed"),
        said("gained", small[0], small[1], phase="p2", measurand="displayed"),
        said("led", high[0], phase="p2", measurand="displayed"),
        said("tied_after", high[0], high[1], "not_supported", "p2", "displayed", lead=1.0),
        said("outlasted", longest[-1], longest[0], "not_supported"),
    ]  # fmt: skip
    wrong = [
        said("longest", longest[1]), said("first_in_group", half[1]),
        said("outlasted", longest[-1], longest[0]), said("lasts_longer", longest[1], longest[0]),
        said("longer_on_average", longest[1], longest[0]),
        said("drained_least", small[1], phase="p2", measurand="displayed"),
        said("drained_less", small[-1], small[0], phase="p2", measurand="displayed"),
        said("gained", small[1], small[0], phase="p2", measurand="displayed"),
        said("led", high[1], phase="p2", measurand="displayed"),
        said("tied_after", high[0], high[1], "not_supported", "p2", "displayed", lead=-1.0),
    ]  # fmt: skip
    tally = Tally()
    assert not count_sentences(tally, pd.DataFrame(right), truth, means)
    assert all(tally.percent(f"{code} false in session") == 0.0 for code in SENTENCES)
    for row in wrong:
        tally = Tally()
        assert count_sentences(tally, pd.DataFrame([row]), truth, means), row["code"]
        assert tally.percent(f"{row['code']} false in session") == 100.0
    assert {row["code"] for row in wrong} == set(SENTENCES)
    # what is tied, or cannot be said, claims nothing
    open_ones = [{**row, "verdict": v} for row in wrong for v in ("tied", "cannot_be_said")]
    assert not count_sentences(Tally(), pd.DataFrame(open_ones), truth, means)


def test_sentences_about_equal_devices_are_all_false():
    rng = np.random.default_rng(6)
    truth, _ = simulate_day(random_day(BY_NAME["all equal, deaths"].draw, rng), rng)
    devices = [d.id for d in truth.scenario.devices]
    means = dict.fromkeys(devices, 600.0)
    for code in ("longest", "outlasted", "lasts_longer"):
        row = said(code, devices[0], "" if code == "longest" else devices[1])
        assert count_sentences(Tally(), pd.DataFrame([row]), truth, means)


def test_an_effect_that_is_not_there_does_not_matter():
    world = BY_NAME["unnoticed saver"]
    no_saver = replace(world, draw=replace(world.draw, saver_at_pct=None))
    assert study(no_saver, 6, seed=3).percent("matters") == 0.0
    tally = study(world, 6, seed=3)
    assert tally.percent("matters") > 50.0
    assert tally.percent("warned where it matters") == 100.0


def test_every_world_outside_the_model_has_a_warning_and_its_counterpart():
    for world in WORLDS:
        assert (world.kind == "outside") == bool(world.warns) == (world.without is not None)
