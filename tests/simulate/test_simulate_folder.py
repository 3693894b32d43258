"""Simulated sessions as records: the rows of a log, and folders that the kit reads back."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from pandas.testing import assert_frame_equal

from kit.drain.phases import phase_drain
from kit.errors import UsageError
from kit.read.record import read_record
from kit.results import Settings
from kit.session import Assumptions, Device
from kit.simulate import (
    Limits,
    Operator,
    Scenario,
    TrueDevice,
    TruePhase,
    random_day,
    simulate_day,
)
from kit.simulate.folder import record_files, write_record
from kit.simulate.record import csv_text, log_rows
from tests.helpers.builders import make_session
from tests.helpers.files import ROOT

AT_ONCE = Operator(delay_max_min=0.0)


def tablet(device: str = "a", *, watts: float = 3.0) -> TrueDevice:
    """30 Wh; 3 W = 10 pp/h."""
    return TrueDevice(id=device, capacity_wh=30.0, power_w={"map": watts, "idle": 0.6})


def day(*devices: TrueDevice, operator: Operator = AT_ONCE, phases=None, **fields) -> Scenario:
    return Scenario(
        id="day",
        devices=devices or (tablet(),),
        phases=phases or (TruePhase(id="p1", activity="map"), TruePhase(id="p2", activity="map")),
        operator=operator,
        **fields,
    )


def simulate(scenario: Scenario, seed: int = 1):
    return simulate_day(scenario, np.random.default_rng(seed))


def test_log_rows_tell_the_day_in_order():
    phases = (
        TruePhase(id="p1", activity="map", gap_after_min=2.0),
        TruePhase(id="p2", activity="map"),
    )
    _, session = simulate(day(tablet(watts=20.0), phases=phases))
    rows = log_rows(session)
    assert [(r["event"], r["phase"]) for r in rows] == [
        ("phase_start", "p1"),
        ("reading", "p1"),
        ("phase_end", "p1"),
        ("reading", "p1"),
        ("phase_start", "p2"),
        ("power_off", "p2"),
        ("phase_end", "p2"),
    ]
    assert (rows[3]["clock"], rows[3]["elapsed_min"], rows[3]["soc_pct"]) == ("09:00", "60", "33")


def test_log_rows_name_the_run_only_where_there_are_several():
    assert "run" not in log_rows(simulate(day())[1])[0]
    assert {r["run"] for r in log_rows(simulate(day(runs=2))[1])} == {"1", "2"}


def test_log_rows_need_a_start_by_the_clock():
    _, session = simulate(day())
    without = replace(session, runs=tuple(replace(r, start=None) for r in session.runs))
    with pytest.raises(ValueError, match="run 1 has no start"):
        log_rows(without)


def test_csv_text_has_the_columns_asked_for():
    text = csv_text([{"b": "1", "c": "x"}, {"a": "2;3"}], ["a", "b"], delimiter=";")
    assert text == 'a;b\n;1\n"2;3";\n'


# ------------------------------------------------------------------------------- folders

BY_THE_CLOCK = Operator(notes_spans="clock", reads_starts="all")


def read_back(session, folder, **options):
    """Return the session that the kit reads from the record of a session."""
    found, findings = read_record(write_record(session, folder, **options))
    assert not [f for f in findings if f.severity == "error"]
    return found


def noted(session, frame, columns):
    """Return what a frame says, in an order of its own."""
    table = getattr(session, frame)[columns]
    by = [c for c in ("run", "t_min", "phase", "device", "point") if c in columns]
    return table.sort_values(by, kind="stable", ignore_index=True)


READING = ["run", "device", "phase", "point", "kind", "t_min", "soc_pct"]
POWER_OFF = ["run", "device", "still_on", "noted_min", "last_on_min", "first_off_min", "soc_pct"]
SPAN = ["run", "phase", "start_min", "end_min", "duration_min"]


@pytest.mark.parametrize(
    ("limits", "times"),
    [
        (Limits(operator=BY_THE_CLOCK, gap_min=(2, 8)), "clock"),
        (Limits(operator=BY_THE_CLOCK, rate_pp_per_h=(10.0, 20.0)), "clock"),
        (Limits(operator=BY_THE_CLOCK, rate_pp_per_h=(10.0, 20.0)), "elapsed"),
        (Limits(operator=replace(BY_THE_CLOCK, ticks=True), devices=2, phases=3), "clock"),
        (
            Limits(
                operator=replace(BY_THE_CLOCK, dense_every_min=2.5), devices=2, phases=4,
                rate_pp_per_h=(15.0, 30.0),
            ),
            "elapsed",
        ),
    ],
)  # fmt: skip
def test_a_record_is_read_back_as_what_was_noted(limits, times, tmp_path):
    _, session = simulate(random_day(limits, np.random.default_rng(6)))
    found = read_back(session, tmp_path / "day", times=times)
    for frame, columns in (("readings", READING), ("power_offs", POWER_OFF), ("spans", SPAN)):
        assert_frame_equal(
            noted(found, frame, columns),
            noted(session, frame, columns),
            check_dtype=False,
            check_categorical=False,
            atol=1e-6,
        )
    assert [d.id for d in found.devices] == [d.id for d in session.devices]
    assert [p.activity for p in found.phases] == [p.activity for p in session.phases]


def test_a_record_says_what_the_session_says_and_no_more(tmp_path):
    limits = Limits(
        devices=3, phases=3, declares_rounding=True, rated_tol_pct=3.0,
        conditions={"power_saver": "off", "brightness_pct": 60, "held_full_min": 30},
        assumptions=Assumptions(gauge_error_pp=0.0), operator=BY_THE_CLOCK,
    )  # fmt: skip
    scenario = replace(
        random_day(limits, np.random.default_rng(7)), title='Ponds, "low" tide',
        timezone="Europe/London", declared_comparison=("d1", "d3"),
        mixes={"a day out": {"p1": 2.0, "p3": 1.0}},
    )  # fmt: skip
    _, session = simulate(scenario)
    found = read_back(session, tmp_path / "day")
    for name in ("id", "title", "date", "timezone", "declared_comparison", "mixes", "phases"):
        assert getattr(found, name) == getattr(session, name), name
    for ours, theirs in zip(session.devices, found.devices, strict=True):
        assert replace(ours, health_pct=None) == replace(theirs, health_pct=None)
        assert ours.health_pct == theirs.health_pct
    assert dict(found.conditions) == dict(session.conditions)
    assert found.assumptions.stated == {"gauge_error_pp"}
    assert found.assumptions.gauge_error_pp == 0.0
    assert found.runs[0].start == session.runs[0].start
    assert found.runs[0].stop_min == session.runs[0].stop_min
    assert_frame_equal(
        phase_drain(found, Settings()), phase_drain(session, Settings()), check_dtype=False
    )


def test_split_phases_and_their_turns_are_read_back(tmp_path):
    phases = (
        TruePhase(id="p1", activity="map"),
        TruePhase(id="p2", kind="crossover", parts=("map", "idle"), first_half=("a",)),
        TruePhase(id="p3", kind="rotation", parts=("idle", "map"), turn_min=10.0),
    )
    _, session = simulate(day(tablet("a"), tablet("b"), phases=phases))
    found = read_back(session, tmp_path / "day")
    assert found.phases == session.phases
    columns = ["phase", "device", "activity", "start_min", "duration_min", "completed"]
    assert found.turns[columns].to_numpy().tolist() == session.turns[columns].to_numpy().tolist()


@pytest.mark.parametrize("times", ["clock", "elapsed"])
def test_runs_are_read_back(times, tmp_path):
    _, session = simulate(day(tablet("a"), tablet("b", watts=6.0), runs=2, run_cv=0.03))
    found = read_back(session, tmp_path / "day", times=times)
    assert [r.number for r in found.runs] == [1, 2]
    assert noted(found, "readings", READING)["soc_pct"].tolist() == (
        noted(session, "readings", READING)["soc_pct"].tolist()
    )


def test_a_record_is_not_written_over_another(tmp_path):
    _, session = simulate(day())
    folder = write_record(session, tmp_path / "new" / "day")
    assert sorted(p.name for p in folder.iterdir()) == ["log.csv", "session.toml"]
    before = (folder / "log.csv").read_bytes()
    with pytest.raises(UsageError, match=r"has a session\.toml; nothing was written"):
        write_record(simulate(day(), seed=2)[1], folder)
    assert (folder / "log.csv").read_bytes() == before
    assert before.decode() == record_files(session)["log.csv"]


def test_a_record_needs_a_start_by_the_clock():
    _, session = simulate(day())
    without = replace(session, runs=tuple(replace(r, start=None) for r in session.runs))
    with pytest.raises(ValueError, match="run 1 has no start"):
        record_files(without)


# ----------------------------------------------------------------------------------- docs


def test_the_page_on_simulating_does_what_it_says(tmp_path, monkeypatch):
    text = (ROOT / "docs" / "simulating.md").read_text(encoding="utf-8")
    first, held, cell = re.findall(r"```python\n(.*?)```", text, re.DOTALL)
    monkeypatch.chdir(tmp_path)
    there: dict[str, Any] = {}
    for code in (first, held, cell.replace("tests/fixtures", str(ROOT / "tests" / "fixtures"))):
        exec(code, there)  # the page's own code
    found, findings = read_record(tmp_path / "pond-day")
    assert not [f for f in findings if f.severity == "error"]
    assert [d.label for d in found.devices] == ["Limpet 10", "Kelpfin 11"]
    assert found.power_offs["still_on"].tolist() == [False, False]
    # until empty: all phases of both devices, of which the truth knows the drain
    assert len(there["held"]) == len(there["truth"].drains) == 6
    assert there["held"].sum() >= 5
    # from 15 to 25 % against 85 to 95 % of that curve: 1.106; here between single points
    level, by = zip(*there["shape"], strict=True)
    low, high = np.interp([20.0, 90.0], level, by)
    assert (1 + low / 100) / (1 + high / 100) == pytest.approx(1.106, abs=0.01)


def test_numbers_of_numpy_are_written_as_numbers():
    """A scenario built from arrays: 38.5, 1 and true, not ``np.float64(38.5)``."""
    session = make_session(
        devices=[Device(id="a", label="a", rated_energy_wh=np.float64(38.5), position=np.int64(1))],
        phases={"p": 60}, readings={"a": [90, 80]},
        conditions={"volume_on": np.bool_(True)},
    )  # fmt: skip
    text = record_files(session)["session.toml"]
    assert "rated_energy_wh = 38.5" in text
    assert "volume_on = true" in text
    assert "np." not in text
