"""Bounds of power-offs from notes of every kind."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from kit.drain.off_record import clock_margins
from kit.drain.off_times import off_times
from kit.session import Assumptions, Device
from tests.helpers.builders import join_runs, make_session

SEEN = {"last_on_min": 360.0, "first_off_min": 363.0}


def record(**fields):
    """Return a session of one long phase unless ``fields`` say otherwise."""
    return make_session(**{"phases": {"day": 1000}, **fields})


def bounds(session):
    run = off_times(session)[0]
    return list(zip(run.low.tolist(), run.high.tolist(), strict=True))


@pytest.mark.parametrize(
    ("rounding", "window"),
    [("floor", (360.0, 364.0)), ("nearest", (359.5, 363.5)), ("unknown", (359.5, 364.0))],
)
def test_clock_rounding(rounding, window):
    session = record(
        devices=["a"],
        power_offs={"a": SEEN},
        assumptions=Assumptions(clock_rounding=rounding),
    )
    assert bounds(session) == [window]


def test_seconds_narrow_the_window():
    # Clock with seconds: step 1/60 min. [360, 363 + 1/60).
    session = record(devices=["a"], power_offs={"a": {**SEEN, "t_resolution_min": 1 / 60}})
    assert bounds(session) == [(360.0, pytest.approx(363 + 1 / 60))]


def test_minute_noted_off_reaches_back_to_the_last_reading():
    # Read at 60 (end of p1); noted off at 102: [60, 103).
    session = record(
        phases={"p1": 60, "p2": 60}, readings={"a": [100, 40]}, power_offs={"a": 102.0}
    )
    assert bounds(session) == [(60.0, 103.0)]
    assert off_times(session)[0].basis == ("last reading; minute noted off",)


def test_reading_after_last_seen_on_replaces_it():
    # Last on noted 90, but a percentage was read at 99; first off 102: [99, 103).
    session = record(
        phases={"p1": 60, "p2": 60},
        readings={"a": [100, 40]},
        more_readings=[
            {"device": "a", "phase": "p2", "point": "inside", "t_min": 99.0, "soc_pct": 2}
        ],
        power_offs={"a": {"last_on_min": 90.0, "first_off_min": 102.0}},
    )
    assert bounds(session) == [(99.0, 103.0)]


def test_stated_looks_near_empty_bound_the_window():
    # Noted off at 102, looked at every 3 min: on at 99 at the latest look before: [99, 103).
    session = record(
        phases={"p1": 60, "p2": 60},
        readings={"a": [100, 40]},
        power_offs={"a": 102.0},
        assumptions=Assumptions(off_check_min=3.0),
    )
    assert bounds(session) == [(99.0, 103.0)]
    assert off_times(session)[0].basis == ("looked at every 3 min; minute noted off",)


def test_a_time_last_seen_on_goes_before_the_promise_of_looks():
    # Last seen on at 80 and found off at 102: whatever was promised, nobody looked in between.
    session = record(
        phases={"p1": 60, "p2": 60},
        readings={"a": [100, 40]},
        power_offs={"a": {"last_on_min": 80.0, "first_off_min": 102.0}},
        assumptions=Assumptions(off_check_min=3.0),
    )
    assert bounds(session) == [(80.0, 103.0)]


def test_untimed_readings_are_placed_at_their_boundary():
    session = record(
        phases={"p1": 60, "p2": 60},
        readings={"a": [100, 40]},
        power_offs={"a": 102.0},
        timed=False,
    )
    assert bounds(session) == [(60.0, 103.0)]


def test_power_off_with_only_its_phase_is_bounded_by_the_phase():
    # On at 60 (end of p1), off within p2, which ended at 120; the walk at its end may take the
    # reading delay of 2 min: [60, 120 + 1 + 2).
    session = record(
        phases={"p1": 60, "p2": 60}, readings={"a": [100, 40]}, power_offs={"a": {"phase": "p2"}}
    )
    assert bounds(session) == [(60.0, 123.0)]
    assert off_times(session)[0].basis == ("last reading; phase noted only",)


def test_still_on_is_open_above_and_carries_the_time_it_can_still_run():
    # 100, 76, 64 % at 0, 60, 120: busiest 24 pp in 60 min = .4 pp/min; 64/.4 = 160 min left.
    session = record(
        phases={"p1": 60, "p2": 60}, readings={"a": [100, 76, 64]}, still_on={"a": 120.0}
    )
    run = off_times(session)[0]
    assert bounds(session) == [(120.0, np.inf)]
    assert run.status == ("still_on",)
    assert run.tail.tolist() == pytest.approx([160.0])
    assert run.last_soc.tolist() == [64.0]


def test_time_left_counts_from_the_last_reading():
    # As above, but seen on at 150, 30 min after the last reading: 160 - 30 = 130.
    session = record(
        phases={"p1": 60, "p2": 60}, readings={"a": [100, 76, 64]}, still_on={"a": 150.0}
    )
    assert off_times(session)[0].tail.tolist() == pytest.approx([130.0])


def test_still_on_without_a_time_is_on_at_the_stop():
    session = record(devices=["a"], power_offs={"a": {"still_on": True}}, stop_min=500.0)
    assert bounds(session) == [(500.0, np.inf)]


def test_no_power_off_row_is_a_lower_bound_at_the_last_reading():
    session = record(phases={"p1": 60, "p2": 60}, readings={"a": [100, 80, 60]})
    run = off_times(session)[0]
    assert bounds(session) == [(120.0, np.inf)]
    assert run.status == ("not_recorded",)
    assert run.basis == ("no power-off recorded; on at the last reading",)


def test_power_off_row_without_time_or_phase_is_a_lower_bound():
    session = record(
        phases={"p1": 60}, readings={"a": [100, 80]}, power_offs={"a": {"soc_pct": 3.0}}
    )
    run = off_times(session)[0]
    assert (bounds(session), run.status) == ([(60.0, np.inf)], ("not_recorded",))
    assert run.last_soc.tolist() == [3.0]


def test_nothing_recorded_is_nothing_known():
    run = off_times(record(devices=["a", "b"], power_offs={"a": SEEN}))[0]
    assert np.isnan(run.low[1])
    assert np.isnan(run.high[1])
    assert run.basis[1] == "nothing recorded"
    stopless = off_times(record(devices=["a"], power_offs={"a": {"still_on": True}}))[0]
    assert np.isnan(stopless.low[0])
    assert stopless.basis == ("still on when the session was stopped; no time recorded",)


def test_start_noted_by_the_clock_widens_the_runtime_but_not_the_order():
    # Started 08:00 by a digital clock: true start 08:00:00-08:00:59. Off [360, 364):
    # runtime [360 - 1, 364 - 0); u^2 = (4^2 + 1^2)/12 = 17/12.
    run = off_times(record(devices=["a"], power_offs={"a": SEEN}))[0]
    assert (run.runtime_low[0], run.runtime_high[0]) == (359.0, 364.0)
    assert run.variance[0] == pytest.approx(17 / 12)
    assert (run.order_low[0], run.order_high[0]) == (360.0, 364.0)


def test_stopwatch_start_adds_nothing():
    run = off_times(record(devices=["a"], power_offs={"a": SEEN}, start=None))[0]
    assert (run.runtime_low[0], run.runtime_high[0]) == (360.0, 364.0)


def test_start_noted_to_the_second_adds_a_second():
    session = record(devices=["a"], power_offs={"a": SEEN})
    start = session.runs[0].start.replace(second=30)
    session = replace(session, runs=(replace(session.runs[0], start=start),))
    assert off_times(session)[0].runtime_low[0] == pytest.approx(360 - 1 / 60)


def test_staggered_starts_shift_the_runtime_and_enter_the_order():
    # b started 5 min after a and went off 3 min after it: it ran 2 min less.
    late = Device(id="b", label="b", conditions={"start_offset_min": 5})
    session = record(
        devices=[Device(id="a", label="a"), late],
        power_offs={"a": SEEN, "b": {"last_on_min": 363.0, "first_off_min": 366.0}},
    )
    run = off_times(session)[0]
    # a: [360 - 1, 364); b: [363 - 5 - 1, 367 - 5) = [357, 362)
    assert run.order_low.tolist() == [359.0, 357.0]
    assert run.order_high.tolist() == [364.0, 362.0]


def test_runs_are_kept_apart():
    first = record(devices=["a"], power_offs={"a": SEEN})
    second = record(phases={"p1": 60}, readings={"a": [100, 50]}, power_offs={"a": 90.0})
    both = off_times(replace(join_runs(first, second), devices=first.devices))
    assert [(r.run, r.low[0], r.high[0]) for r in both] == [(1, 360.0, 364.0), (2, 60.0, 91.0)]


def test_categorical_device_column_reads_the_same():
    session = record(
        phases={"p1": 60, "p2": 60}, readings={"a": [100, 40], "b": [100, 50]},
        power_offs={"a": 102.0, "b": 101.0},
    )  # fmt: skip
    readings = session.readings.assign(device=pd.Categorical(session.readings["device"]))
    assert bounds(replace(session, readings=readings)) == bounds(session)


def test_rows_of_devices_not_in_the_session_are_left_alone():
    session = record(devices=["a"], readings={"a": []}, power_offs={"a": SEEN, "z": 10.0})
    assert bounds(session) == [(360.0, 364.0)]


def test_unknown_rounding_is_refused():
    with pytest.raises(ValueError, match="'floor', 'nearest' or 'unknown'"):
        clock_margins("down", 1.0)
