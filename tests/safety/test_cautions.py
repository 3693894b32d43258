"""Cautions on heat and charging: from the record, and always."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from types import SimpleNamespace
from typing import Any, cast

import pytest

from kit.display import Prose, Table
from kit.results import Results
from kit.safety.advice import ALWAYS, SOURCES
from kit.safety.cautions import (
    Cautions,
    cautions,
    session_cautions,
)
from kit.safety.temperatures import CHARGE_HIGH_C, CHARGE_LOW_C
from kit.safety.touch_limits import TOUCH_LIMITS
from kit.session import Device, Session
from tests.helpers.builders import join_runs, make_session

DEVICES = (
    Device(id="a", label="Limpet 10"),
    Device(id="b", label="Dunlin 9"),
)


def session(**changes: Any) -> Session:
    return make_session(
        **{
            "devices": DEVICES,
            "phases": {"p1": 60},
            "readings": {"a": [100, 90], "b": [100, 88]},
            **changes,
        }
    )


def surfaces(*rows: tuple[str, float, float], **changes: Any) -> Cautions:
    """Return the cautions of a session with (device, minute, °C) recorded."""
    temperatures = [{"device": d, "t_min": t, "temperature_c": c} for d, t, c in rows]
    return session_cautions(session(temperatures=temperatures, **changes))


def reached(found: Cautions, device: str) -> list[str]:
    return [row.limit.contact for row in found.limits if device in row.reached_by]


def shown(of: Session) -> tuple[Prose | Table, ...]:
    return cautions(cast("Results", SimpleNamespace(session=of)))


def test_nothing_recorded_is_said_and_the_usual_advice_stands() -> None:
    found = session_cautions(session())
    assert found.urgent == ()
    surface, room = found.record
    assert surface.startswith("Surface temperatures were not recorded")
    assert "nothing here says that they stayed cool" in surface
    assert room.startswith("The temperature of the room was not recorded.")
    assert "Charge only between 0 and 40 °C" in room
    assert found.always == ALWAYS
    assert not found.measured
    assert all(row.reached_by == () for row in found.limits)


@pytest.mark.parametrize(
    "words",
    [
        "with somebody in the room and awake",
        "hard, flat, stable surface that does not burn",
        "charger and the cable that came with the device or that its maker names",
        "leave space between them, let the air of the room pass, never stack or cover",
        "let a warm device cool",
        "swelling, a smell, a change of colour, leaking, hissing",
        "smoke",
        "Only if it is safe",
        "local emergency number",
        "Do not use or charge again a device that is swollen",
        "do not go into household waste",
        "maker's instructions come first, then local codes, and the judgement of qualified people",
    ],
)
def test_the_usual_points_are_always_there(words: str) -> None:
    assert any(words in advice.text for advice in ALWAYS)


def test_deference_comes_first_and_every_source_is_known() -> None:
    assert "maker's instructions come first" in ALWAYS[0].text
    assert {key for advice in ALWAYS for key in advice.sources} == set(SOURCES)


def test_a_cool_device_is_below_all_limits() -> None:
    found = surfaces(("a", 30, 35.2), ("b", 31, 40.1), ("b", 50, 38.0))
    assert found.urgent == ()
    assert found.record[0] == (
        "The warmest surface recorded was 40.1 °C, on Dunlin 9 at 08:31. It is below every value "
        "in the table of published limits. A spot that was not measured may have been hotter."
    )
    assert reached(found, "b") == []


def test_a_warm_device_reaches_the_threshold_of_long_contact_only() -> None:
    found = surfaces(("b", 31, 43.0))
    assert found.urgent == ()
    assert "reaches 43 °C, the threshold for contact of 8 h and longer" in found.record[0]
    assert "None was recorded of Limpet 10." in found.record[0]
    assert reached(found, "b") == ["8 h and longer"]


def test_a_hot_device_is_urgent_and_told_with_what_it_reaches() -> None:
    found = surfaces(("a", 20, 48.0), ("b", 31, 52.3))
    # 48: both 48s and 43; 52.3 besides both rows that begin at 51 (metal)
    assert reached(found, "a") == ["longer than 1 min", "8 h and longer", "10 min"]
    assert reached(found, "b") == [
        "longer than 1 min", "10 s to 1 min", "8 h and longer", "10 min", "1 min",
    ]  # fmt: skip
    (hot,) = found.urgent
    assert "Dunlin 9 52.3 °C at 08:31 and Limpet 10 48 °C at 08:20" in hot
    assert "Do not hold such a device" in hot


def test_no_value_is_called_safe_and_memory_is_said() -> None:
    for part in shown(session()):
        text = part.text if isinstance(part, Prose) else repr(part)
        assert "safe limit" not in text.replace("None of these is a safe limit", "")
    from_memory = [row for row in TOUCH_LIMITS if "from memory" in row.status]
    assert len(from_memory) == len(TOUCH_LIMITS)
    assert all(row.status.startswith("see the standard") for row in TOUCH_LIMITS)
    # quoted elsewhere: 48, 77 and 94 °C, in one row each
    quoted = [row for row in TOUCH_LIMITS if "quoted" in row.status]
    assert [(row.contact, row.plastic) for row in quoted] == [
        ("longer than 1 min", 48.0), ("1 s to 10 s", 77.0), ("shorter than 1 s", 94.0),
    ]  # fmt: skip


def test_limits_fall_with_the_time_of_contact_and_metal_is_worst() -> None:
    for document in {row.document for row in TOUCH_LIMITS}:
        rows = [row for row in TOUCH_LIMITS if row.document == document]
        for longer, shorter in pairwise(rows):
            assert longer.lowest <= shorter.lowest
        for row in rows:
            assert row.metal <= row.glass <= row.plastic


def test_the_charge_window_is_0_to_40_and_105_fahrenheit_is_not_40() -> None:
    assert (CHARGE_LOW_C, CHARGE_HIGH_C) == (0.0, 40.0)
    # (105 − 32) · 5/9 = 40.56: the page prints 40; the lower is used
    assert round((105 - 32) * 5 / 9, 1) == 40.6
    assert CHARGE_HIGH_C < (105 - 32) * 5 / 9
    assert CHARGE_LOW_C == (32 - 32) * 5 / 9
    between = session_cautions(session(conditions={"room_end_c": 40.3}))
    assert "The room was at 40.3 °C, outside 0 to 40 °C." in between.urgent[0]


def test_an_ordinary_room() -> None:
    rows = [{"device": "", "t_min": 30, "temperature_c": 23.0}]
    found = session_cautions(session(conditions={"room_start_c": "20,5"}, temperatures=rows))
    assert found.urgent == ()
    assert found.record[1].startswith("The room was between 20.5 °C and 23 °C, within the usual")
    assert "25 °C" not in found.record[1]
    assert "the maker's window holds" in found.record[1]


@pytest.mark.parametrize(
    ("room", "urgent"), [(-1.0, True), (0.0, False), (40.0, False), (41.0, True)]
)
def test_a_room_outside_the_charge_window(room: float, urgent: bool) -> None:
    found = session_cautions(session(conditions={"room_start_c": room}))
    assert bool(found.urgent) is urgent
    if urgent:
        assert "Do not charge there" in found.urgent[0]
        assert "outside the usual window" in found.record[1]


def test_a_room_above_25_moves_the_touch_limits() -> None:
    found = session_cautions(session(conditions={"room_start_c": 24, "room_end_c": 27}))
    assert "above the 25 °C at which the touch limits hold; they are not scaled" in found.record[1]


def test_a_charge_between_phases_and_a_warm_device_before_it() -> None:
    charge = {"device": "b", "start_min": 70, "end_min": 100}
    found = surfaces(("b", 60, 42.0), ("b", 90, 30.0), charges=[charge])
    (told,) = found.urgent
    assert told == (
        "Dunlin 9 was charged during the session at 09:10, taken off at 09:40. Its last surface "
        "temperature before that was 42 °C, too warm to begin a charge. A device that has just "
        "worked is warmer inside than outside: let it cool first, and stay with it while it "
        "charges."
    )
    cool = surfaces(("b", 60, 33.0), charges=[charge])
    assert "too warm" not in cool.urgent[0]
    bare = session_cautions(session(charges=[{"device": "b"}]))
    assert bare.urgent[0].startswith("Dunlin 9 was charged during the session. A device")


def test_swelling() -> None:
    rows = [{"device": "a", "t_min": 45, "cause": "swelling"}]
    (told,) = session_cautions(session(incidents=rows)).urgent
    assert told.startswith("Swelling was recorded on Limpet 10 at 08:45. Do not use, charge")
    assert "its maker or a qualified person" in told
    assert "emergency number" in told


@pytest.mark.parametrize(
    ("cause", "start"),
    [
        ("heat_shutdown", "Limpet 10 shut down by heat"),
        ("too hot to hold", "Limpet 10 shut down by heat"),
        ("a smell of solvent", "An incident (“a smell of solvent”) was recorded on Limpet 10"),
        ("Smoke", "An incident (“Smoke”) was recorded"),
    ],
)
def test_other_incidents(cause: str, start: str) -> None:
    rows = [{"device": "a", "cause": cause}]
    (told,) = session_cautions(session(incidents=rows)).urgent
    assert told.startswith(start)


@pytest.mark.parametrize("cause", ["photo app crashed", "prevented by a pop-up", "wheat", ""])
def test_harmless_incidents_call_for_no_caution(cause: str) -> None:
    rows = [{"device": "a", "cause": cause}]
    assert session_cautions(session(incidents=rows)).urgent == ()


def test_a_power_off_by_heat_is_told_once_beside_its_incident() -> None:
    offs = {"a": {"noted_min": 45, "cause": "heat"}}
    alone = session_cautions(session(power_offs=offs)).urgent
    assert alone[0].startswith("Limpet 10 shut down by heat at 08:45. Let it cool uncovered")
    both = session(
        power_offs=offs, incidents=[{"device": "a", "t_min": 45, "cause": "heat_shutdown"}]
    )
    assert session_cautions(both).urgent == alone


def test_an_incident_of_no_device() -> None:
    rows = [{"device": "", "cause": "smoke in the room"}]
    assert "on a device" in session_cautions(session(incidents=rows)).urgent[0]


def test_runs_and_elapsed_times_are_named() -> None:
    hot = session(temperatures=[{"device": "a", "t_min": 20, "temperature_c": 50}])
    two = join_runs(session(), hot)
    assert "at 08:20 in run 2" in session_cautions(two).record[0]
    elapsed = replace(hot, runs=(replace(hot.runs[0], start=None),))
    assert "50 °C, on Limpet 10 after 20 min" in session_cautions(elapsed).record[0]
    bare = session(temperatures=[{"device": "a", "temperature_c": 50}])
    assert "on Limpet 10. The table" in session_cautions(bare).record[0]


def test_what_the_report_shows() -> None:
    of = session(temperatures=[{"device": "a", "t_min": 20, "temperature_c": 52}])
    record, table, always = shown(of)
    assert isinstance(record, Prose)
    assert isinstance(table, Table)
    assert isinstance(always, Prose)
    assert [b.kind for b in record.blocks] == ["caution", "heading", "paragraph", "paragraph"]
    assert len(table.rows) == len(TOUCH_LIMITS)
    assert table.rows[0][:5] == ("longer than 1 min", "48", "48", "48", "Limpet 10")
    assert table.rows[2][4] == "none"
    assert [b.kind for b in always.blocks] == ["heading", *["bullet"] * len(ALWAYS), "paragraph"]
    assert "usfa.fema.gov" in always.blocks[-1].text
    empty = shown(session())[1]
    assert isinstance(empty, Table)
    assert {row[4] for row in empty.rows} == {"not recorded"}


def test_a_name_of_a_device_is_text_and_nothing_else() -> None:
    devices = (Device(id="a", label="<script>alert(1)</script>"), DEVICES[1])
    of = session(devices=devices, temperatures=[{"device": "a", "temperature_c": 52}])
    record = shown(of)[0]
    assert isinstance(record, Prose)
    assert "<script>" in record.text
    assert "<script>" not in record.html
