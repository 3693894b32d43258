"""Sentences on devices that were not alike: charged in the run, other settings, another start."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from kit.claims.unlike import Unlike
from kit.results import Settings
from kit.simulate import random_day, simulate_day
from tests.coverage_study.world import BASE
from tests.helpers.builders import join_runs
from tests.helpers.claimed import table
from tests.helpers.shown import plain
from tests.helpers.unlike_days import unlike_day, unlike_runs


def runtimes_told(session, **where):
    found = table(session, measurand="runtime", kind="this_session", **where)
    return {plain(text): verdict for text, verdict in zip(found["statement"], found["verdict"],
                                                          strict=True)}  # fmt: skip


def test_a_device_that_was_charged_wins_nothing_and_loses_nothing():
    told = runtimes_told(unlike_day(charges=[("pe", 65.0)]))
    assert told == {
        "Of those not charged (Limpet 10 and Dunlin 9), Limpet 10 lasted longest": "supported",
        "Limpet 10 outlasted Dunlin 9": "supported",
        "Dunlin 9 outlasted Periwinkle 8 (charged)": "cannot_be_said",
        "Limpet 10 outlasted Periwinkle 8 (charged)": "cannot_be_said",
    }
    barred = table(unlike_day(charges=[("pe", 65.0)]), code="outlasted", verdict="cannot_be_said")
    assert {plain(why) for why in barred["reason"]} == {
        "Periwinkle 8 was charged for 30 min in phase 2"
    }
    # no margin either: the difference of two such runtimes says nothing
    assert barred[["lead", "lead_low", "lead_high"]].isna().all(axis=None)


def test_a_charge_after_the_power_off_changes_nothing():
    assert runtimes_told(unlike_day(charges=[("du", 390.0)])) == runtimes_told(unlike_day())
    assert "Periwinkle 8 lasted longest" in runtimes_told(unlike_day())


def test_with_one_device_that_was_not_charged_there_is_no_longest():
    told = runtimes_told(unlike_day(charges=[("pe", 65.0), ("du", 70.0)]))
    assert set(told.values()) == {"cannot_be_said"}
    assert not any("longest" in text for text in told)


def test_another_start_is_told_in_the_sentence_on_a_runtime_or_a_standing():
    told = runtimes_told(unlike_day(starts=(60, 100, 99)))
    assert told["Limpet 10 (started at 60 %) outlasted Dunlin 9"] == "supported"
    assert "Periwinkle 8 lasted longest (Limpet 10: started at 60 %)" in told
    # 2 pp apart is the same start, and nothing is told of it
    alike = runtimes_told(unlike_day(starts=(98, 100, 99)))
    assert not any("started" in text for text in alike)
    frame = table(unlike_day(starts=(60, 100, 99)))
    led = frame[frame["code"] == "led"]
    assert len(led)
    assert all("(Limpet 10: started at 60 %)" in plain(text) for text in led["statement"])
    # a drain is of the phase alone
    least = frame[frame["code"] == "drained_least"]
    assert len(least)
    assert not any("started" in text for text in least["statement"])


def test_nothing_supported_of_unlike_settings_leaves_them_out():
    frame = table(unlike_day(conditions={"pe": {"power_saver": "on", "brightness_pct": 40.0}}))
    frame = frame[(frame["kind"] == "this_session") & (frame["verdict"] == "supported")]
    told = frame[["device_a", "device_b", "statement", "wording"]].values.tolist()
    about = [(s, w) for a, b, s, w in told if "pe" in (a, b) or b == ""]
    assert about
    for statement, wording in about:
        assert "power saver on, brightness setting 40 %" in plain(statement)
        assert "power saver on, brightness setting 40 %" in plain(wording)
    others = [s for a, b, s, _ in told if {a, b} == {"li", "du"}]
    assert others
    assert not any("power saver" in text for text in others)


def test_means_tell_settings_and_leave_charged_runs_out():
    told = runtimes_told(unlike_runs({"pe": {"power_saver": "on"}}), run=0)
    assert told["Periwinkle 8 (power saver on) ran longest on average"] == "supported"
    assert told["Periwinkle 8 (power saver on) ran longer than Limpet 10 on average"] == "supported"
    part = table(unlike_runs(charged_in=(2,)), run=0, code="longer_on_average", device_a="pe")
    assert all("Periwinkle 8 (run 2 left out: charged)" in plain(s) for s in part["statement"])
    assert part["wording"].str.contains("over two runs").all()
    never = runtimes_told(unlike_runs(charged_in=(1, 2, 3)), run=0)
    assert list(never) == ["Limpet 10 ran longer than Dunlin 9 on average"]


def test_a_start_below_full_in_one_run_is_told_with_its_run():
    days = join_runs(unlike_day(), unlike_day(starts=(70, 100, 100)))
    (mark,) = Unlike(days).marks(0, (1, 2))
    assert plain(mark) == "started at 70 % in run 2"
    assert Unlike(days).marks(0, (1, 2), run=1) == ()


@pytest.mark.parametrize("seed", range(8))
def test_no_charged_device_is_said_to_have_outlasted_an_equal_one(seed):
    # four truly equal tablets; d1 gets an hour of charge, and runs that much longer
    day, rng = (
        replace(BASE, devices=4, device_spread=0.0, until_empty=True),
        np.random.default_rng(seed),
    )
    _, session = simulate_day(random_day(day, rng), rng)
    offs = session.power_offs.copy()
    times = ["noted_min", "last_on_min", "first_off_min"]
    late = offs["device"] == session.devices[0].id
    offs.loc[late, times] = offs.loc[late, times] + 60.0
    row = {"run": 1, "device": session.devices[0].id, "start_min": 61.0, "end_min": 121.0}
    charges = pd.DataFrame({c: [row.get(c, "")] for c in session.charges.columns})
    longer = replace(session, power_offs=offs)
    told = replace(longer, charges=charges)

    def won(record):
        found = table(record, Settings(), measurand="runtime", verdict="supported")
        return session.devices[0].id in found["device_a"].tolist()

    # without the charge in the record its longer runtime is believed, with it never
    assert won(longer)
    assert not won(told)
