"""Curves with runs that were stopped within a window, and of kinds and groups of devices."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from kit.analyse import analyse
from kit.results import Settings
from kit.runtime.runtimes import runtimes
from kit.runtime.survival_tables import restricted_means, survival_curves
from kit.session import Device, Session
from kit.show import pictures, tables
from kit.show.curves import curves_drawn
from kit.stats.survival import on_beyond_windows
from tests.helpers.builders import join_runs, make_session

INF = math.inf


def session_of(
    offs: dict[str, list[float]], stops: dict[str, list[float]] | None = None, **fields: object
) -> Session:
    """Return runs with a stopwatch: device → minute last seen on, off 4 min later; or still on."""
    count = len(next(iter(offs.values())))
    runs = [
        make_session(
            devices=list(offs), phases={"day": 1000}, start=None,
            power_offs={
                d: {"last_on_min": m[r], "first_off_min": m[r] + 4.0}
                for d, m in offs.items() if not math.isnan(m[r])
            },
            still_on={d: m[r] for d, m in (stops or {}).items() if not math.isnan(m[r])},
        )
        for r in range(count)
    ]  # fmt: skip
    joined = join_runs(*runs) if count > 1 else runs[0]
    return replace(joined, **fields)  # type: ignore[arg-type]  # by name


NAN = math.nan
LATE = session_of({"tb": [347.0, NAN, NAN]}, {"tb": [NAN, 351.0, 351.0]})
"""Off in [347, 352) of run 1; still on at 351 when runs 2 and 3 were stopped."""


def test_a_run_on_within_a_window_is_on_beyond_it() -> None:
    """By hand: of three runs on at 347 one goes off by 352: 2/3 are on after, not none.

    The maximum of the likelihood alone would put all three into [351, 352).
    """
    (row,) = survival_curves(LATE, runtimes(LATE)).to_dict("records")
    assert (row["time_h_low"] * 60, row["time_h_high"] * 60) == pytest.approx((347, 352))
    assert (row["at_risk"], row["events"]) == (3, 1)
    assert row["share_on"] == pytest.approx(2 / 3)


def test_the_mean_of_runs_mostly_not_seen_off_has_no_u() -> None:
    """Up to 351: one off at the middle, 349.5; (349.5 + 2 × 351)/3 = 350.5 min, no u from one."""
    (row,) = restricted_means(LATE, runtimes(LATE)).to_dict("records")
    assert row["horizon_h"] * 60 == pytest.approx(351)
    assert row["mean_h"] * 60 == pytest.approx(350.5)
    assert math.isnan(row["mean_h_u"])
    assert math.isnan(row["median_h"])


def test_half_of_the_runs_seen_off_are_enough_for_a_u() -> None:
    session = session_of({"a": [340.0, NAN]}, {"a": [NAN, 360.0]})
    (row,) = restricted_means(session, runtimes(session)).to_dict("records")
    # up to 360: 342.5 and 360, each with half the mass: 351.25; A₁ = 17.5/2, u = 8.75 √(1/2)
    assert row["mean_h"] * 60 == pytest.approx(351.25)
    assert row["mean_h_u"] * 60 == pytest.approx(8.75 / math.sqrt(2))


@pytest.mark.parametrize(
    ("low", "high", "settled"),
    [
        ([5, 5], [8, INF], 8),  # on where the window opens: a tie, which counts as later
        ([5, 8], [8, INF], 8),  # on where it closes: nothing to do
        ([5, 7, 6], [8, 10, INF], 10),  # 6 is in [5, 8), whose end is in [7, 10)
        ([5, 8, 6], [8, 10, INF], 8),  # windows that touch: the second was not reached
        ([5, 4], [8, INF], 4),  # before the window: an ordinary censored time
    ],
)
def test_bounds_carried_over_windows(low: list[float], high: list[float], settled: float) -> None:
    found = on_beyond_windows(low, high)
    assert found[-1] == settled
    assert found[:-1].tolist() == low[:-1]


def test_stopped_runs_no_longer_pull_the_curve_to_nothing() -> None:
    """Runtimes uniform on 600 … 700 min, looked at every 20, stopped at 655 to 659: 45 % go on.

    The estimate by the likelihood alone is 0 % after the last window, [640, 660).
    """
    rng = np.random.default_rng(7)
    true = rng.uniform(600, 700, 400)
    stop = rng.uniform(655, 659, 400)
    low = np.floor(true / 20) * 20
    seen = low + 20 <= 660
    seen &= true < stop
    high = np.where(seen, low + 20, INF)
    low = np.where(seen, low, stop)
    from kit.stats.interval_censored import turnbull

    naive, ours = turnbull(low, high), turnbull(on_beyond_windows(low, high), high)
    assert naive.mass[np.isfinite(naive.high)].sum() > 0.99
    assert 1 - ours.mass[np.isfinite(ours.high)].sum() == pytest.approx(
        (true > 657).mean(), abs=0.02
    )


def two_kinds(runs: int) -> Session:
    """Return two units of one kind and one of another, in a group with one of the first."""
    offs = {"a": [600.0, 640.0], "b": [620.0, 660.0], "c": [700.0, 720.0]}
    base = session_of({d: m[:runs] for d, m in offs.items()})
    devices = (
        Device(id="a", label="A", model="Whelk 10", groups=("small",)),
        Device(id="b", label="B", model="Whelk 10"),
        Device(id="c", label="C", model="Dunlin 9", groups=("small",)),
    )
    return replace(base, devices=devices)


def test_two_units_of_a_kind_have_a_curve_in_one_run() -> None:
    """Off in [600, 605) and [620, 625): ½ after the first; √(½ · ½/2) = 0.354 by Greenwood."""
    session = two_kinds(1)
    first, last = survival_curves(session, runtimes(session)).to_dict("records")
    assert (first["of"], first["name"], first["device"]) == ("model", "Whelk 10", "")
    assert (first["share_on"], last["share_on"]) == (0.5, 0.0)
    assert first["share_on_u"] == pytest.approx(0.35355, abs=1e-5)
    (mean,) = restricted_means(session, runtimes(session)).to_dict("records")
    # middles 602.5 and 622.5: mean 612.5; Greenwood: 10/√2 = 7.07
    assert mean["mean_h"] * 60 == pytest.approx(612.5)
    assert mean["mean_h_u"] * 60 == pytest.approx(7.0711, abs=1e-3)


def test_several_runs_of_several_units_have_a_curve_but_no_error() -> None:
    """Four runs of Whelk 10, each a quarter; the group is a and c; runs of one unit are alike."""
    session = two_kinds(2)
    curves = survival_curves(session, runtimes(session))
    kind = curves[curves["of"] == "model"]
    assert kind["name"].unique().tolist() == ["Whelk 10"]
    assert kind["share_on"].tolist() == pytest.approx([0.75, 0.5, 0.25, 0])
    assert kind["share_on_u"].isna().all()
    group = curves[curves["of"] == "group"]
    assert (group["name"].iloc[0], len(group)) == ("small", 4)
    means = restricted_means(session, runtimes(session)).set_index("name")
    # a: 602.5, 642.5; b: 622.5, 662.5; c: 702.5, 722.5
    assert means.loc["Whelk 10", "mean_h"] * 60 == pytest.approx(632.5)
    assert means.loc["small", "mean_h"] * 60 == pytest.approx(667.5)
    assert math.isnan(means.loc["Whelk 10", "mean_h_u"])
    assert math.isnan(means.loc["small", "mean_h_u"])


def test_tables_name_kinds_and_groups_and_say_what_has_no_u() -> None:
    results = analyse(two_kinds(2), (), Settings(draws=10_000))
    table, means = tables.survival(results), tables.run_means(results)
    assert table is not None
    assert means is not None
    assert {row[0] for row in table.rows} == {"A", "B", "C", "every Whelk 10", "all in “small”"}
    assert any("Runs of one unit are more alike" in note for note in table.notes)
    mean = next(row for row in means.rows if row[0] == "every Whelk 10")
    assert mean[2].replace("\N{NO-BREAK SPACE}", " ") == "10.54 h"
    assert "or of unlike devices, have none either" in means.notes[0]


def test_stopped_runs_are_said_to_have_no_u() -> None:
    results = analyse(LATE, (), Settings(draws=10_000))
    table, means = tables.survival(results), tables.run_means(results)
    assert table is not None
    assert means is not None
    assert table.rows[0][2:5] == ("3", "1", "67")
    assert any("counts as on beyond it" in note for note in table.notes)
    assert "most runs were not seen to their end" in means.notes[0]


def test_the_figure_draws_kinds_where_no_device_has_runs_enough() -> None:
    """Two units of three runs: six of the kind."""
    offs = {"a": [600.0, 640.0, 650.0], "b": [620.0, 660.0, 670.0]}
    base = session_of(offs)
    devices = tuple(Device(id=d, label=d, model="Whelk 10") for d in offs)
    results = analyse(replace(base, devices=devices), (), Settings(draws=10_000))
    assert curves_drawn(results)["of"].unique().tolist() == ["model"]
    picture = pictures.survival(results)
    assert picture is not None
    assert "every Whelk 10 83 % after" in picture.alt
