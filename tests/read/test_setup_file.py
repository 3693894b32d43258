"""The setup file: what it may say, and what becomes of it."""

from datetime import date
from zoneinfo import ZoneInfo

import pytest

from kit.read.setup_file import ClockTime, RunSetup, Setup, read_setup
from kit.read.toml_table import key_lines
from kit.session import Assumptions, Gauge
from tests.helpers.setup_texts import good


def test_an_empty_file_says_nothing():
    assert good("") == Setup()


def test_the_session():
    setup = good(
        """
[session]
id = "day1"
title = " Five tablets "
date = 2026-05-16
timezone = "Europe/Lisbon"
start = "08:00"
stop = 18:00:00
stated_elapsed = "9:10"
operator = "Wren"
revision = 3
notes = "x"
log = "log.csv"
"""
    )
    assert (setup.id, setup.title, setup.date) == ("day1", "Five tablets", date(2026, 5, 16))
    assert (setup.timezone, setup.operator, setup.revision) == ("Europe/Lisbon", "Wren", 3)
    assert (setup.notes, setup.log, setup.numbered_runs) == ("x", "log.csv", False)
    assert setup.runs == (
        RunSetup(
            start=ClockTime(second=28800.0, resolution_min=1.0),
            stop=ClockTime(second=64800.0, resolution_min=1 / 60),
            stated_elapsed_min=550.0,
        ),
    )


@pytest.mark.parametrize(
    "text", ['"2026-05-16"', '"16.05.2026"', "2026-05-16", "2026-05-16T08:00:00"]
)
def test_a_date_may_be_a_text_or_a_date(text):
    assert good(f"[session]\ndate = {text}\n").date == date(2026, 5, 16)


def test_a_start_may_have_a_date_and_an_offset():
    start = good('[session]\nstart = "2026-05-16T08:00+01:00"\n').runs[0].start
    assert start == ClockTime(
        second=28800.0, resolution_min=1.0, day=date(2026, 5, 16).toordinal(), offset_s=3600.0
    )
    assert good("[session]\nstart = 2026-05-16T08:00:00+01:00\n").runs[0].start.offset_s == 3600.0


def test_not_recorded_is_a_value_everywhere():
    setup = good(
        """
[session]
date = "not recorded"
start = "not recorded"
timezone = "not recorded"
stated_elapsed = "not recorded"
operator = "not recorded"
[conditions]
luminance_cd_m2 = "not recorded"
case = "not recorded"
[[devices]]
id = "a"
rated_energy_wh = "not recorded"
display_px = "not recorded"
software = "not recorded"
[[phases]]
id = "p"
planned_min = "not recorded"
screen_on = "not recorded"
"""
    )
    assert setup.date is None
    assert setup.runs == (RunSetup(),)
    assert (setup.timezone, setup.operator) == ("", "")
    assert setup.conditions == {"case": "not recorded"}  # a free key has no row of its own else
    assert setup.devices[0].rated_energy_wh is None
    assert setup.devices[0].software == ""
    assert setup.phases[0].screen_on is None


def test_devices():
    setup = good(
        """
[[devices]]
id = "limpet"
label = "Limpet 10"
position = 1
model = "Limpet"
groups = ["ten-inch", "new"]
display_diagonal_in = 10.2
display_px = [2160, 1620]
rated_energy_wh = 30
rated_energy_tol_pct = 3
rated_capacity_mah = 7900
nominal_voltage_v = 3.82
health_pct = 97
health_u_pct = 2
software = "5.1"
notes = "n"
gauge = { rounding = "truncated", counts = "charge", step_pct = 5, reading_wakes_device = true }
conditions = { power_saver = "on", case = "rubber" }
[[devices]]
id = "dunlin"
"""
    )
    limpet, dunlin = setup.devices
    assert (limpet.label, limpet.position, limpet.model) == ("Limpet 10", 1, "Limpet")
    assert limpet.groups == ("ten-inch", "new")
    assert limpet.display_px == (2160, 1620)
    assert (limpet.rated_energy_wh, limpet.rated_energy_tol_pct) == (30.0, 3.0)
    assert (limpet.rated_capacity_mah, limpet.nominal_voltage_v) == (7900.0, 3.82)
    assert (limpet.health_pct, limpet.health_u_pct, limpet.display_diagonal_in) == (97, 2, 10.2)
    assert limpet.gauge == Gauge(
        rounding="truncated", counts="charge", step_pct=5.0, reading_wakes_device=True
    )
    assert limpet.conditions == {"power_saver": "on", "case": "rubber"}
    assert (dunlin.label, dunlin.position, dunlin.gauge) == ("dunlin", None, Gauge())


def test_phases():
    setup = good(
        """
[[devices]]
id = "a"
[[devices]]
id = "b"
[[phases]]
id = "p1"
label = "Map"
activity = "map"
planned_min = 60
content = "c"
script = ["one", "two"]
screen_on = true
evaluated = false
start = "08:00"
end = "09:00"
notes = "n"
[[phases]]
id = "p2"
kind = "crossover"
parts = ["stream", "forms"]
first_half = ["a"]
planned_min = "unknown"
[[phases]]
id = "p3"
kind = "rotation"
parts = ["call", "guide"]
turn_min = 10
[[phases]]
id = "p4"
kind = "until_empty"
"""
    )
    first, cross, rotation, last = setup.phases
    assert (first.label, first.activity, first.planned_min) == ("Map", "map", 60.0)
    assert (first.script, first.screen_on, first.evaluated) == (("one", "two"), True, False)
    assert (cross.label, cross.kind, cross.parts) == ("p2", "crossover", ("stream", "forms"))
    assert (cross.first_half, cross.planned_min) == (("a",), None)
    assert (rotation.turn_min, rotation.evaluated, last.kind) == (10.0, True, "until_empty")
    assert [t and t.second for t in setup.phase_times["p1"]] == [28800.0, 32400.0]
    assert setup.phase_times["p2"] == (None, None)


def test_runs_mixes_claims_and_assumptions():
    setup = good(
        """
[[runs]]
date = 2026-04-18
start = "10:00"
[[runs]]
number = 3
stated_elapsed = "5:30"
[mixes.day]
map = 3
stream = 1
[claims]
declared_comparison = ["a", "b"]
[assumptions]
reading_delay_min = 0
clock_rounding = "nearest"
[[devices]]
id = "a"
[[devices]]
id = "b"
[[phases]]
id = "p"
activity = "map"
[[phases]]
id = "q"
kind = "rotation"
parts = ["stream", "idle"]
"""
    )
    assert setup.numbered_runs
    assert [r.number for r in setup.runs] == [1, 3]
    assert setup.runs[0].date == date(2026, 4, 18)
    assert setup.runs[1].stated_elapsed_min == 330.0
    assert setup.mixes == {"day": {"map": 3.0, "stream": 1.0}}
    assert setup.declared_comparison == ("a", "b")
    assert setup.assumptions == Assumptions(
        reading_delay_min=0.0,
        clock_rounding="nearest",
        stated=frozenset({"reading_delay_min", "clock_rounding"}),
    )


def test_conditions_keep_their_order_and_kind():
    setup = good(
        """
[conditions]
volume = 40
network = "Wi-Fi"
auto_brightness = false
brightness_pct = 60
refresh_rate_hz = "adaptive"
table_top = ["oak", 2]
"""
    )
    assert list(setup.conditions.items()) == [
        ("volume", 40), ("network", "Wi-Fi"), ("auto_brightness", False), ("brightness_pct", 60),
        ("refresh_rate_hz", "adaptive"), ("table_top", ["oak", 2]),
    ]  # fmt: skip


def test_a_byte_order_mark_and_windows_line_ends_are_fine():
    setup, findings = read_setup(b'\xef\xbb\xbf[session]\r\nid = "a"\r\n', "session.toml")
    assert (setup.id, findings) == ("a", ())


def test_lines_of_keys_are_not_led_astray_by_texts_of_several_lines():
    text = '[session]\nnotes = """\n[[devices]]\nid = "no"\n"""\n[[devices]]\nid = "a" # = b\n'
    assert key_lines(text) == {
        "session": 1, "session.notes": 2, "devices[1]": 6, "devices[1].id": 7,
    }  # fmt: skip


def test_hostile_texts_are_kept():
    hostile = "<script>alert(1)</script> =HYPERLINK(1) **x** \u202eabc 🦀 " + "y" * 300
    setup = good(f'[[devices]]\nid = "a"\nlabel = "{hostile}"\n')
    assert setup.devices[0].label == hostile


def test_the_zone_is_one_of_the_system():
    assert ZoneInfo(good('[session]\ntimezone = "Asia/Kathmandu"\n').timezone)
