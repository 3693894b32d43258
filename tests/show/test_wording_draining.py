"""Sentences on drains: the fastest phase, the least drained device, and the standing so far."""

from __future__ import annotations

from typing import Any

import pandas as pd

from kit.session import Device, Gauge
from kit.show.wording.draining import fastest_phase, least_drained, standing_now
from tests.helpers.builders import make_session
from tests.helpers.fake_results import NAN, fake_results, rows
from tests.helpers.shown import plain


def rated(**rates: float) -> Any:
    """Return results in which each device has 10 pp/h browsing and the given rate streaming."""
    frame = rows(
        "phase_drain",
        [
            {"phase": phase, "device": device, "measurand": "displayed", "status": "measured",
             "rate_pp_per_h": r, "rate_pp_per_h_low": r - 0.8, "rate_pp_per_h_high": r + 0.8,
             "start_pct": start, "end_pct": start - r}
            for device, rate in rates.items()
            for phase, r, start in (("browse", 10.0, 55.0), ("stream", rate, 45.0))
        ],
    )  # fmt: skip
    return fake_results(phase_drain=frame)


def test_where_displays_fell_fastest_is_named_where_intervals_lie_apart() -> None:
    """12.0 − 0.8 = 11.2 > 10.0 + 0.8 = 10.8, 11.6 − 0.8 is not.

    Levels 55 to 45 and 45 to 33 %: the middles are 50 and 39 %, where a gauge that counts charge
    falls 0.5 % and 0.5 + 2.5 · 11/20 = 1.9 % faster than on average: 11.2/1.0188 = 10.99 is above
    10.8/1.005 = 10.75, so that does not explain it.
    """
    assert fastest_phase(rated(limpet=12.0, whelk=14.0), 1) == (
        "The displays fell fastest in “Streaming video”, at 12 to 14 percentage points an hour, "
        "even allowing for how displays behave near empty."
    )
    assert fastest_phase(rated(limpet=11.6, whelk=11.6), 1) == ""
    assert fastest_phase(rated(limpet=12.0), 1).startswith(
        "The display of limpet fell fastest in “Streaming video”, at about 12 percentage points"
    )


def constant_power(counts: Any = "unknown", shapes: tuple[float, ...] = (1.0, 1.0)) -> Any:
    """Return results of two devices at one power in two phases, first 95 → 85, then 20 → 8 %.

    Displays that count charge: at 90 % and at 14 % they fall 6.5 % slower and 5.4 % faster than on
    average, 9.35 and 10.54 pp/h where the energy would fall by 10; known to ± 0.3 pp/h.
    """
    session = make_session(
        devices=[
            Device(id=d, label=d, gauge=Gauge(counts=counts)) for d in ("a", "b")[: len(shapes)]
        ],
        phases={"p1": 60, "p2": 60},
    )
    frame = rows(
        "phase_drain",
        [
            {"phase": phase, "device": device.id, "measurand": "displayed", "status": "measured",
             "rate_pp_per_h": r, "rate_pp_per_h_low": r - 0.3, "rate_pp_per_h_high": r + 0.3,
             "start_pct": start, "end_pct": start - width}
            for device, work in zip(session.devices, shapes, strict=True)
            for phase, r, start, width in (
                ("p1", 9.35, 95.0, 10.0), ("p2", 10.54 * work, 20.0, 12.0),
            )
        ],
    )  # fmt: skip
    return fake_results(session, phase_drain=frame)


def test_a_phase_is_not_called_harder_for_what_the_gauge_does_by_itself() -> None:
    """10.24 > 9.65 by the display, but 10.24/1.054 = 9.72 < 9.65/0.935 = 10.32."""
    assert fastest_phase(constant_power(), 1) == (
        "The displays fell fastest in “p2”, at about 11 percentage points an hour. That need not "
        "be the work: some displays fall faster towards empty by themselves."
    )
    # half as much again: 15.51/1.054 = 14.7, more than that
    harder = fastest_phase(constant_power(shapes=(1.5, 1.5)), 1)
    assert harder.endswith("even allowing for how displays behave near empty.")
    # only one of them was given more to do
    mixed = fastest_phase(constant_power(shapes=(1.5, 1.0)), 1)
    assert "an hour. For b that need not be the work: some displays fall" in mixed


def test_a_gauge_stated_to_count_energy_has_no_such_shape() -> None:
    assert fastest_phase(constant_power("energy"), 1).endswith("displays behave near empty.")
    assert "need not be the work" in fastest_phase(constant_power("charge"), 1)


def test_no_sentence_calls_a_phase_the_hardest() -> None:
    for results in (rated(limpet=12.0, whelk=14.0), constant_power(), constant_power("energy")):
        assert "hard" not in fastest_phase(results, 1)


def test_the_fastest_phase_names_the_devices_for_which_it_is_open() -> None:
    assert fastest_phase(rated(limpet=12.0, whelk=12.0, dunlin=11.6), 1) == (
        "The displays fell fastest in “Streaming video”, at about 12 percentage points an hour "
        "(dunlin too close to call), even allowing for how displays behave near empty."
    )
    # one of two is not most of them
    assert fastest_phase(rated(limpet=12.0, dunlin=11.6), 1) == ""


def test_a_phase_cut_short_can_keep_another_from_being_the_fastest() -> None:
    results = rated(limpet=12.0)
    cut = results.phase_drain.assign(phase="empty", status="died")
    cut = cut[cut["rate_pp_per_h"] == 12.0]
    frame = pd.concat([results.phase_drain, cut], ignore_index=True)
    assert fastest_phase(results, 1) != ""
    assert fastest_phase(fake_results(phase_drain=frame), 1) == ""


def test_the_least_drained_device_must_beat_all_others() -> None:
    def results(verdict: str) -> Any:
        session = make_session(devices=("a", "b", "c"), phases={"p1": 60}, readings={})
        frame = rows(
            "drain_pairs",
            [
                {"phase": "p1", "device_a": a, "device_b": b, "measurand": "true_charge",
                 "verdict_table": v}
                for a, b, v in (("a", "b", "a"), ("a", "c", verdict), ("b", "c", "tie"))
            ],
        )  # fmt: skip
        return fake_results(session, drain_pairs=frame)

    assert least_drained(results("a"), 1) == (
        "Clearly used the smallest share of its charge, even allowing for errors of the "
        "percentages shown: a in “p1”."
    )
    assert least_drained(results("tie"), 1) == (
        "No device was clearly the most frugal in any phase."
    )
    nothing = fake_results(results("a").session, drain_pairs=rows("drain_pairs"))
    assert least_drained(nothing, 1) == ""


def test_the_standing_of_an_unfinished_session() -> None:
    results = fake_results()
    # after the third phase kelpfin shows 55 %, the next 41 %
    frame = results.standing.copy()
    third = frame["phase"] == "draw"
    frame.loc[third, "rank_best"] = [3, 2, 1, 4, NAN]
    assert plain(standing_now(fake_results(standing=frame), 1)) == (
        "kelpfin showed the most charge after “Drawing maps”: 55 %."
    )
    frame.loc[third, "rank_best"] = [1, 2, 1, 4, NAN]
    assert standing_now(fake_results(standing=frame), 1) == (
        "limpet and kelpfin were too close to call for the most charge after “Drawing maps”."
    )
