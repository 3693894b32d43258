"""The bookkeeping of the coverage study: what it counts, what it calls a shortfall, its page."""

from __future__ import annotations

import doctest
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from kit.claims import claims
from kit.drain.phases import phase_drain
from kit.results import Settings
from kit.simulate import Operator, random_day, simulate_day
from tests.coverage_study import tally as tally_module
from tests.coverage_study.count import CHUNK, study
from tests.coverage_study.figures import (
    FALSE,
    INTERVALS,
    kind_of_warning,
    near_misses,
    shortfalls,
    shortfalls_of_draws,
)
from tests.coverage_study.intervals import count_drains
from tests.coverage_study.orders import count_runtimes, rank_held
from tests.coverage_study.sentences import SENTENCES, count_sentences
from tests.coverage_study.table import PAGE, main, page, results_of
from tests.coverage_study.tally import Tally
from tests.coverage_study.world import BASE
from tests.coverage_study.worlds import WORLDS

BY_NAME = {world.name: world for world in WORLDS}


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
    right = rank_held(value, pd.Series([1.0, 1.0, 3.0]), pd.Series([2.0, 2.0, 3.0]))
    wrong = rank_held(value, pd.Series([1.0, 2.0, 3.0]), pd.Series([1.0, 2.0, 3.0]))
    wide = rank_held(value, pd.Series([1.0, 1.0, 1.0]), pd.Series([3.0, 3.0, 3.0]))
    left_out = rank_held(value, pd.Series([1.0, np.nan, 2.0]), pd.Series([1.0, np.nan, 2.0]))
    assert right.tolist() == [True, True, True]
    assert wrong.tolist() == [False, False, True]
    assert wide.tolist() == [True, True, True]
    assert left_out.tolist() == [True, True]


def filled(name: str, hits: int, trials: int) -> Tally:
    tally = Tally()
    tally.hits[name], tally.trials[name] = hits, trials
    return tally


def test_shortfalls_allow_for_chance_only():
    world = BY_NAME["base"]
    # 10 000 independent cases at 94 %: three standard errors are 0.71 %
    assert shortfalls(world, filled("displayed other", 9330, 10000)) == []
    assert shortfalls(world, filled("displayed other", 9328, 10000)) == [
        "base: displayed other holds in 93.3 %"
    ]
    # 1000 sessions at 5 %: 2.07 %
    assert shortfalls(world, filled("any false in session", 70, 1000)) == []
    assert shortfalls(world, filled("any false in session", 71, 1000)) == [
        "base: any false in session in 7.1 %"
    ]


def test_examples_of_the_tally_are_right():
    assert doctest.testmod(tally_module) == (0, 6)


def test_sessions_that_hang_together_count_for_less():
    """Sessions of 10 cases, all or none of which hold: as much as one case each."""
    tally = Tally()
    for k in range(1000):
        tally.count("displayed other", 0 if k < 70 else 10, 10)
        tally.close()
    # 10 × 1000/999, so 1000 independent cases: 3 √(0.94 × 0.06/1000) = 2.25 %
    assert tally.together("displayed other") == pytest.approx(10.0 * 1000 / 999)
    assert tally.margin("displayed other", 94.0) == pytest.approx(2.254, abs=0.001)
    assert shortfalls(BY_NAME["base"], tally) == []
    assert near_misses(BY_NAME["base"], tally, 200) == [
        "base: displayed other in 93.00 % of 10000; three standard errors are 2.25"
    ]


def test_shortfalls_name_intervals_that_hold_too_often_unless_they_are_bounds():
    always = filled("displayed other", 5000, 5000)
    assert shortfalls(BY_NAME["base"], always) == ["base: displayed other, no bound, in 100.0 %"]
    assert shortfalls(BY_NAME["gaps by the clock"], always) == []
    assert shortfalls(BY_NAME["base"], filled("runtime", 5000, 5000)) == []
    # of 100 cases that all hold nothing follows: three standard errors of 99.5 % are 2.1 %
    assert shortfalls(BY_NAME["base"], filled("displayed other", 100, 100)) == []


def test_draws_are_held_to_the_promise_on_average_over_roundings():
    low, high = (filled("mc displayed first", hits, 1000) for hits in (900, 990))
    assert shortfalls(BY_NAME["base"], low) == []
    worlds = [BY_NAME[n] for n in ("base", "ticks", "truncated")]
    # 94.5 % of 2000 in the first two; 90 % of 1000 in one of them; the third is left out
    assert shortfalls_of_draws(list(zip(worlds, (low, high, low), strict=True))) == []
    assert shortfalls_of_draws(list(zip(worlds, (low, low, high), strict=True))) == [
        "all of these that round in every way: mc displayed first holds in 90.0 %"
    ]
    off = filled("mc displayed died", 900, 1000)
    assert shortfalls_of_draws([(worlds[0], off)]) == []
    assert shortfalls_of_draws([(worlds[2], low)]) == []


def test_a_warning_of_what_never_matters_is_no_proof():
    world = BY_NAME["lag of 5 min"]
    assert shortfalls(world, Tally()) == [
        "lag of 5 min: it never matters, so nothing is shown of the warning"
    ]
    # 90 % of 100: three standard errors are 9 %
    assert shortfalls(world, filled("warned where it matters", 81, 100)) == []
    assert shortfalls(world, filled("warned where it matters", 80, 100)) == [
        "lag of 5 min: warned where it matters in 80.0 %"
    ]
    harmless = BY_NAME["lag of 1 min"]
    assert shortfalls(harmless, Tally()) == []
    assert shortfalls(harmless, filled("matters", 1, 100)) == ["lag of 1 min: it matters in 1.0 %"]


def test_a_warning_that_comes_without_the_effect_is_a_precaution():
    tally = filled("warned", 90, 100)
    tally.hits["warned without"], tally.trials["warned without"] = 45, 100
    assert kind_of_warning(tally) == "precaution"
    tally.hits["warned without"] = 44
    assert kind_of_warning(tally) == "discovery"
    coarse, saver = (study(BY_NAME[n], 6, seed=3) for n in ("coarse steps", "unnoticed saver"))
    assert (coarse.percent("warned"), coarse.percent("warned without")) == (100.0, 0.0)
    assert (saver.percent("warned"), saver.percent("warned without")) == (100.0, 100.0)


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
    assert f"{1000 * len(WORLDS)} sessions in {len(WORLDS)} worlds" in text


def test_page_leaves_out_what_stands_on_few_cases():
    world, tally = BY_NAME["base"], Tally()
    for name, trials in (
        ("displayed other", 200), ("displayed first", 199), ("displayed died", 0),
        ("displayed table power", 50), ("runtime power", 49), ("any false in session", 3),
    ):  # fmt: skip
        tally.hits[name], tally.trials[name] = trials, trials
    text = page([(world, tally)], sessions=3, seed=1)
    assert "| world | d |\n| --- | ---: |\n| base | 100.0‡ |" in text
    assert "| world | d, table |\n| --- | ---: |\n| base | 100.0 (50) |" in text


def test_draws_count_what_is_stated_and_what_either_method_says():
    world = BY_NAME["base"]
    with_draws, without = study(world, 3, 4, draws=500), study(world, 3, 4)
    name = "displayed other"
    assert with_draws.hits[f"closed {name}"] == without.hits[name]
    assert with_draws.trials[name] == with_draws.trials[f"mc {name}"] == without.trials[name]
    assert with_draws.hits[name] >= with_draws.hits[f"closed {name}"]
    for figure in ("hours", "mix", "total"):
        assert with_draws.trials[f"mc {figure}"] == without.trials[figure] > 0


@pytest.mark.slow
def test_processes_do_not_change_what_comes_out():
    worlds = [BY_NAME["base"], BY_NAME["coarse steps"]]
    one, two = (results_of(worlds, CHUNK + 2, 9, 0, jobs) for jobs in (1, 2))
    assert one == two
    assert one[0][1].trials["any false in session"] == worlds[0].times * (CHUNK + 2)


def test_one_world_goes_to_the_screen(capsys):
    before = PAGE.read_bytes()
    main(["--world", "coarse steps", "--sessions", "2", "--draws", "0"])
    assert "| coarse steps |" in capsys.readouterr().out
    assert PAGE.read_bytes() == before


def test_operators_of_the_worlds_start_at_any_second_unless_said():
    starts = {w.name: w.draw.operator.starts for w in WORLDS if not callable(w.draw)}
    assert {n for n, s in starts.items() if s == "on_the_minute"} == {"on the minute"}
    assert Operator().starts == "on_the_minute"


def said(code, a, b="", verdict="supported", phase="", measurand="runtime", lead=1.0, group=""):
    run = 0 if code.endswith("on_average") else 1
    return {
        "run": run, "code": code, "device_a": a, "device_b": b, "group": group,
        "phase_from": phase, "phase_to": phase, "measurand": measurand, "verdict": verdict,
        "lead": lead,
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
    least = small  # done in p2 alone
    half = [d for d in longest if devices.index(d) <= 3]
    right = [
        said("longest", longest[0]), said("first_in_group", half[0]),
        said("outlasted", longest[0], longest[-1]), said("lasts_longer", longest[0], longest[1]),
        said("longer_on_average", longest[0], longest[1]),
        said("longest_on_average", longest[0]),
        said("longest_on_average", half[0], group="first half"),
        said("drained_least", small[0], phase="p2", measurand="displayed"),
        said("drained_less", small[0], small[-1], phase="p2", measurand="displayed"),
        said("gained", small[0], small[1], phase="p2", measurand="displayed"),
        said("led", high[0], phase="p2", measurand="displayed"),
        said("ahead_after", high[0], high[1], phase="p2", measurand="displayed"),
        {**said("least_doing", least[0], phase="p2", group="p2"), "phase_to": "p3"},
        said("tied_after", high[0], high[1], "not_supported", "p2", "displayed", lead=1.0),
        said("outlasted", longest[-1], longest[0], "not_supported"),
    ]  # fmt: skip
    wrong = [
        said("longest", longest[1]), said("first_in_group", half[1]),
        said("outlasted", longest[-1], longest[0]), said("lasts_longer", longest[1], longest[0]),
        said("longer_on_average", longest[1], longest[0]),
        said("longest_on_average", longest[1]),
        said("longest_on_average", half[1], group="first half"),
        said("drained_least", small[1], phase="p2", measurand="displayed"),
        said("drained_less", small[-1], small[0], phase="p2", measurand="displayed"),
        said("gained", small[1], small[0], phase="p2", measurand="displayed"),
        said("led", high[1], phase="p2", measurand="displayed"),
        said("ahead_after", high[1], high[0], phase="p2", measurand="displayed"),
        {**said("least_doing", least[1], phase="p2", group="p2"), "phase_to": "p3"},
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


def test_a_sentence_is_held_against_those_it_names_else_against_all_that_were_on():
    truth, _ = one_day(4)
    devices = [d.id for d in truth.scenario.devices]
    drain = truth.drains[truth.drains["phase"] == "p2"]["shown_drain_pp"].to_numpy()
    small = [devices[k] for k in np.argsort(drain)]
    second = said("drained_least", small[1], phase="p2", measurand="displayed")
    among = f"Among those that can be compared ({small[1]}, {small[2]} and {small[3]}), …"
    assert count_sentences(Tally(), pd.DataFrame([{**second, "statement": "…"}]), truth, {})
    assert not count_sentences(Tally(), pd.DataFrame([{**second, "statement": among}]), truth, {})


def test_study_sees_what_is_said_of_all_and_true_of_some():
    """Where two of four save power, "drained least" of all that were on is often false."""
    rng = np.random.default_rng(1)
    said_of_all = 0
    for _ in range(12):
        truth, session = simulate_day(BY_NAME["saver on some"].draw(rng), rng)
        frame = claims(session, Settings())
        frame = frame[frame["code"] == "drained_least"]
        assert not count_sentences(Tally(), frame, truth, {})
        unnamed = frame["statement"].str.replace(r"^Among[^)]*\), ", "", regex=True)
        said_of_all += count_sentences(Tally(), frame.assign(statement=unnamed), truth, {})
    assert said_of_all >= 3


def test_what_is_seen_at_the_stop_stands_for_the_end_of_the_day():
    world = BY_NAME["survivors seen on"]
    rng = np.random.default_rng(2)
    _, session = simulate_day(random_day(world.draw, rng), rng)
    noted = world.noted(session)
    last = noted.phases[-1].id
    assert last not in set(noted.readings.loc[noted.readings["point"] == "end", "phase"])
    found = phase_drain(noted, Settings()).query("phase == @last and measurand == 'displayed'")
    on = noted.power_offs.loc[noted.power_offs["still_on"], "device"]
    assert len(on) >= 2
    assert set(found.loc[found["status"] == "measured", "device"]) == set(on)


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
