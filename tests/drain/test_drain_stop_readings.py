"""A percentage noted with a device still on at the stop is a reading of the last phase's end."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from kit.claims.doubts import reading_doubts
from kit.drain.phases import phase_drain, prepare
from kit.drain.readings import observed
from kit.drain.stop_readings import stop_readings
from kit.results import Settings
from kit.session import Assumptions, Run
from tests.helpers.builders import BARE, make_session, seen


def survivor(
    *, soc=40.0, at=120.0, readings=(90, 70), assumptions=BARE, phases=None, stop=None, **fields
):
    """A is seen on at the stop with ``soc``; B powers off in the second of two hours."""
    session = make_session(
        phases=phases or {"p1": 60, "p2": 60},
        readings={"A": list(readings), "B": [90, 60]},
        power_offs={"B": {**seen(100, 103), "phase": "p2"}},
        still_on={"A": at},
        start=None,
        assumptions=assumptions,
        stop_min=stop,
        **fields,
    )
    session.power_offs.loc[session.power_offs["still_on"], "soc_pct"] = soc
    return session


def drain(session, device="A", phase="p2"):
    frame = phase_drain(session, Settings()).query("measurand == 'displayed'")
    return frame.set_index(["phase", "device"]).loc[phase, device]


def test_is_the_end_of_the_last_phase():
    # 70 % at the start of p2, 40 % at the stop, one hour later: 30 pp, 30 pp/h
    row = drain(survivor())
    assert (row["status"], row["end_pct"]) == ("measured", 40)
    assert row["drain_pp"] == pytest.approx(30)
    assert row["rate_pp_per_h"] == pytest.approx(30)


def test_without_a_percentage_there_is_no_reading():
    session = survivor(soc=float("nan"))
    assert stop_readings(session) == []
    assert drain(session)["status"] == "no_reading"


def test_a_look_within_the_delay_is_late_as_every_reading_is():
    # Looked at 0 to 2 min after the end: as late, and as uncertain, as a reading of that end.
    late = replace(BARE, reading_delay_min=2.0)
    noted = drain(survivor(readings=(90, 70, 40), assumptions=late))
    seen_on = drain(survivor(assumptions=late))
    figures = ["drain_pp", "drain_pp_u", "drain_pp_low", "drain_pp_high"]
    assert seen_on[figures].tolist() == pytest.approx(noted[figures].tolist())
    # more than the two readings by themselves, 1/√6
    assert seen_on["drain_pp_u"] > np.sqrt(1 / 6) + 0.05


@pytest.mark.parametrize(
    ("at", "delay", "stands"),
    [
        (120.0, 0.0, True),
        (121.0, 0.0, True),  # within the minute that the clock shows
        (123.0, 2.0, True),  # and within the delay of a reading
        (124.0, 2.0, False),  # what the device did since then is not known
        (110.0, 2.0, False),  # nor what it will have done until then
    ],
)
def test_only_near_the_end(at, delay, stands):
    session = survivor(at=at, assumptions=replace(BARE, reading_delay_min=delay))
    assert len(stop_readings(session)) == stands
    assert drain(session)["status"] == ("measured" if stands else "no_reading")


def test_time_that_nobody_logged_lies_before_the_last_phase():
    # Two planned hours, stopped 10 min later: p2 ended at the stop.
    planned = {"span_source": "planned", "timed": False}
    session = survivor(at=130.0, **planned)
    assert stop_readings(session) == []
    session = replace(session, runs=(Run(number=1, stop_min=130.0),))
    assert [(r.phase, r.soc_pct) for r in stop_readings(session)] == [(1, 40.0)]


def test_a_reading_of_that_end_goes_before():
    session = survivor(readings=(90, 70, 41))
    assert stop_readings(session) == []
    assert drain(session)["end_pct"] == 41


def test_phase_named_in_the_row():
    # Named p1, an hour before: the row says when it was looked at, and that is not the end of p1.
    session = survivor()
    session.power_offs["phase"] = ["p2", "p1"]
    assert stop_readings(session) == []


def test_it_is_no_row_of_the_readings():
    session = survivor()
    obs = observed(session)
    assert obs.row.tolist() == [*range(len(session.readings)), -1]
    ready = prepare(session)
    # the reading before it may have been anything down to what was left at the stop
    last = [d.slip.value for d in reading_doubts(ready, 0) if (d.device, d.boundary) == (0, 1)]
    assert min(last) >= 40
    assert {d.frame for d in reading_doubts(ready, 0)} == {"readings"}


def test_a_percentage_at_a_power_off_is_none():
    session = survivor()
    session.power_offs["soc_pct"] = 3.0
    session.power_offs["still_on"] = False
    assert stop_readings(session) == []


def test_with_the_standard_assumptions():
    session = survivor(assumptions=Assumptions())
    assert [r.run for r in stop_readings(session)] == [0]
