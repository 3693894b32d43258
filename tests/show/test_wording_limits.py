"""Sentences on limits: display steps, units, brightness, gaps and what was not recorded."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from kit.session import Assumptions, Device, Gauge
from kit.show import wording
from kit.units import NO_BREAK
from tests.helpers.builders import make_session
from tests.helpers.fake_results import fake_results, field_day, rows
from tests.helpers.shown import plain


def test_what_displays_alone_make_wrong_is_one_step_each() -> None:
    """Steps as stated, else as shown: 1 for a, 5 for b (83 and 71 are read of a)."""
    session = make_session(
        devices=[
            Device(id="a", label="Limpet 10"),
            Device(id="b", label="Dunlin 9", gauge=Gauge(step_pct=5.0)),
            Device(id="c", label="Whelk 8"),
        ],
        phases={"p1": 60},
        readings={"a": [83, 71], "b": [85, 70], "c": [83, 71]},
    )
    text = " ".join(wording.limits(fake_results(session))).replace(NO_BREAK, " ")
    assert (
        "a drain between two readings is wrong by less than one step, 1 pp (5 pp for Dunlin 9), a "
        "difference of two drains by less than the steps of both." in text
    )
    coarse = replace(session, devices=(session.devices[1],))
    text = " ".join(wording.limits(fake_results(coarse))).replace(NO_BREAK, " ")
    assert "wrong by less than 5 pp, a difference of two drains by less than 10 pp." in text
    plain_one = replace(session, devices=(session.devices[0],))
    text = " ".join(wording.limits(fake_results(plain_one))).replace(NO_BREAK, " ")
    assert "wrong by less than 1 pp, a difference of two drains by less than 2 pp." in text


def test_a_supported_sentence_on_kinds_is_not_taken_back() -> None:
    session = make_session(devices=["a", "b"], phases={"p1": 60}, readings={})
    claim = {"run": 0, "priority": 1, "kind": "kind_of_device", "verdict": "supported"}
    told = fake_results(session, extra={"claims": rows("claims", [claim])})
    silent = fake_results(session, extra={"claims": rows("claims", [{**claim, "verdict": "tied"}])})
    assert "not what another unit would do" in plain(wording.units_and_runs(silent))
    said = plain(wording.units_and_runs(told))
    assert "how another unit" not in said
    # the default of run_unit_cv
    assert "takes them to differ by about 3 %" in said


def test_units_of_one_model_are_told_from_single_units() -> None:
    devices = [Device(id=k, label=k, model=m) for k, m in (("a", "M"), ("b", "M"), ("c", "N"))]
    results = fake_results(make_session(devices=devices, phases={"p1": 60}, readings={}))
    assert "several units" in wording.units_and_runs(results)


@pytest.mark.parametrize(
    ("conditions", "said"),
    [
        ({"brightness_pct": 60}, True),
        ({"brightness_pct": 60, "luminance_cd_m2": 180}, False),
        ({"luminance_cd_m2": 180}, False),
        ({"brightness_pct": "not recorded"}, False),
    ],
)
def test_equal_percent_of_brightness_is_a_limit(conditions: dict[str, Any], said: bool) -> None:
    results = fake_results(field_day(conditions=conditions))
    assert any("equal brightness" in s for s in wording.limits(results)) is said


def test_limits_carry_the_numbers_of_the_session() -> None:
    used = Assumptions(gauge_error_pp=2.5, stated=frozenset({"gauge_error_pp"}))
    session = field_day(
        assumptions=used, gaps={"stream": 12.0}, declared_comparison=("limpet", "whelk")
    )
    limits = [plain(s) for s in wording.limits(fake_results(session))]
    gauge = next(s for s in limits if s.startswith("Statements between devices"))
    assert "2.5 pp" in gauge
    assert "stated in the setup file" in gauge
    assert any("Between the phases lie 12 min" in s for s in limits)
    assert any("only limpet and whelk, declared before the session" in s for s in limits)


def test_unaccounted_time_is_what_lies_between_the_phases() -> None:
    session = field_day(gaps={"stream": 12.0, "draw": 3.5})
    assert wording.unaccounted_min(fake_results(session), 1) == pytest.approx(15.5)


def test_a_known_rounding_is_no_limit() -> None:
    devices = [Device(id="a", label="a", gauge=Gauge(rounding="truncated"))]
    results = fake_results(make_session(devices=devices, phases={"p1": 60}, readings={}))
    assert not any("rounded was not recorded" in s for s in wording.limits(results))


def test_conditions_that_were_not_recorded_are_listed() -> None:
    limits = wording.limits(fake_results(field_day(conditions={"network": "Wi-Fi"})))
    listed = next(s for s in limits if s.startswith("Not recorded"))
    assert "volume" in listed
    assert "network" not in listed
    bare = wording.limits(fake_results(field_day(conditions={})))
    assert any(s.startswith("No condition of the session was recorded") for s in bare)
