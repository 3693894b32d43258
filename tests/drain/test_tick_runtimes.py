"""Noted changes of the display as looks at a device: named as such, and what they gain."""

from __future__ import annotations

import math

import pytest

from kit import report
from kit.analyse import analyse
from kit.drain.off_times import off_times
from kit.drain.tick_runtimes import runtime_tick_gain
from kit.results import RESULT_COLUMNS, Settings
from kit.session import Session
from kit.show import wording
from tests.helpers.builders import make_session

FEW = Settings(draws=10_000)


def tick(device: str, t: float, soc: float, kind: str = "tick") -> dict[str, object]:
    return {
        "device": device, "kind": kind, "t_min": t, "soc_pct": soc, "t_resolution_min": 1.0,
        "point": "" if kind == "tick" else "inside",
    }  # fmt: skip


def record(*more: dict[str, object], **given: object) -> Session:
    """Return a and b, read at 0 and 60 min, noted off at 95 and 100."""
    return make_session(
        **{
            "phases": {"p": 60, "q": None},
            "readings": {"a": [100, 40], "b": [100, 42]},
            "power_offs": {"a": 95.0, "b": 100.0},
            "more_readings": more,
            **given,
        }  # type: ignore[arg-type]  # by name
    )


def test_basis_names_what_the_device_was_seen_on_by() -> None:
    (offs,) = off_times(record(tick("a", 90.0, 3.0), tick("b", 90.0, 5.0, kind="reading")))
    assert offs.basis == (
        "last change of the display; minute noted off",
        "last reading; minute noted off",
    )
    assert offs.low.tolist() == [90.0, 90.0]


def test_a_reading_of_the_same_minute_goes_before_a_change() -> None:
    (offs,) = off_times(record(tick("a", 60.0, 39.0)))
    assert offs.basis[0] == "last reading; minute noted off"


def test_a_device_not_seen_off_is_on_at_its_last_change() -> None:
    (offs,) = off_times(record(tick("a", 90.0, 3.0), power_offs={}))
    assert offs.basis == (
        "no power-off recorded; on at the last change of the display",
        "no power-off recorded; on at the last reading",
    )


def test_gain_by_hand() -> None:
    """A digital clock: noted off in minute 95, so before 96; on at 60, or at 90 by the change.

    a: [60, 96) and [90, 96): 36 and 6 min. b: [60, 101), and with a change at 97: [97, 101),
    4 min in place of 41, which also lies after a's window: the order is known only by that.
    """
    session = record(tick("a", 90.0, 3.0), tick("b", 97.0, 1.0))
    frame = runtime_tick_gain(session)
    assert tuple(frame.columns) == RESULT_COLUMNS["runtime_tick_gain"]
    a, b = frame.to_dict("records")
    assert (a["on_until_without_min"], a["on_until_min"]) == (60.0, 90.0)
    assert (a["window_without_min"], a["window_min"], a["longer_than"]) == (36.0, 6.0, 0)
    assert (b["window_without_min"], b["window_min"], b["longer_than"]) == (41.0, 4.0, 1)


def test_a_change_that_is_not_the_last_look_gains_nothing() -> None:
    seen_later = {"a": {"last_on_min": 93.0, "first_off_min": 95.0}, "b": 100.0}
    assert runtime_tick_gain(record(tick("a", 90.0, 3.0), power_offs=seen_later)).empty
    assert runtime_tick_gain(record(tick("a", 30.0, 80.0))).empty
    assert runtime_tick_gain(record()).empty


def test_a_device_not_seen_off_gains_a_later_bound() -> None:
    row = runtime_tick_gain(record(tick("a", 90.0, 3.0), power_offs={"b": 80.0})).iloc[0]
    assert (row["device"], row["on_until_without_min"], row["on_until_min"]) == ("a", 60.0, 90.0)
    assert math.isnan(row["window_min"])
    # on at 90 by the change, and b off before 81: only so is it known which ran longer
    assert row["longer_than"] == 1


@pytest.mark.parametrize("shown", ["sentence", "section"])
def test_report_says_what_runtimes_gained(shown: str) -> None:
    """Windows 36 → 6 and 41 → 4 min: in the middle 38.5 (rounded to 38, halves to even) → 5."""
    results = analyse(record(tick("a", 90.0, 3.0), tick("b", 97.0, 1.0)), (), FEW)
    text = wording.runtime_ticks_gained(results).replace("\N{NO-BREAK SPACE}", " ")
    if shown == "sentence":
        assert text == (
            "A noted change of the display shows that the device was on. By changes that were "
            "noted after the last reading, the window of two power-offs is narrower, in the "
            "middle 5 min in place of 38; the order of one pair stands only by them."
        )
        without = analyse(record(), (), FEW)
        assert wording.runtime_ticks_gained(without) == ""
    else:
        prose = [b.text for item in report.runtimes(results) for b in getattr(item, "blocks", ())]
        assert wording.runtime_ticks_gained(results) in prose
