"""The setup file: what it may say, and every way in which it can be wrong."""

from datetime import date
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.read.conditions import CONDITIONS
from kit.read.setup_file import ClockTime, RunSetup, Setup, read_setup
from kit.read.toml_table import key_lines
from kit.session import Assumptions, Gauge


def good(text):
    setup, findings = read_setup(text.encode(), "session.toml")
    assert [f.sentence for f in findings] == []
    return setup


def faults(text):
    _, findings = read_setup(text.encode(), "session.toml")
    return findings


def fault(text):
    """Return the one finding; line 1 of ``text`` is line 1 of the file."""
    findings = faults(text)
    assert len(findings) == 1, "\n".join(f.sentence for f in findings)
    assert findings[0].file == "session.toml"
    assert findings[0].remedy.endswith((".", "?"))
    return findings[0]


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


@pytest.mark.parametrize("name", [n for n, c in CONDITIONS.items() if c.kind == "number"])
def test_a_condition_that_is_a_number_refuses_a_text(name):
    found = fault(f'[conditions]\n{name} = "much"\n')
    assert (found.rule, found.line, found.column) == ("setup-value", 2, f"conditions.{name}")
    assert CONDITIONS[name].unit in found.expected


@pytest.mark.parametrize(
    ("text", "rule", "line", "key", "words"),
    [
        ('[session]\nstrat = "08:00"\n', "setup-key", 2, "session.strat", "Did you mean 'start'?"),
        ("[sesion]\n", "setup-key", 1, "sesion", "Did you mean 'session'?"),
        ("[session]\nid = 5\n", "setup-value", 2, "session.id", "quotation marks"),
        ("[session]\nrevision = 0\n", "setup-value", 2, "session.revision", "whole number from 1"),
        ("[session]\nrevision = true\n", "setup-value", 2, "session.revision", "true"),
        ('[session]\ndate = "5/16/2026"\n', "setup-value", 2, "session.date", "year-month-day"),
        ("[session]\ndate = 5\n", "setup-value", 2, "session.date", "year-month-day"),
        ('[session]\nstart = "8 am"\n', "setup-value", 2, "session.start", '"08:00"'),
        ("[session]\nstart = 8\n", "setup-value", 2, "session.start", '"08:00"'),
        ('[session]\nstart = ""\n', "setup-value", 2, "session.start", '"08:00"'),
        ("[session]\nstated_elapsed = 550\n", "setup-value", 2, "session.stated_elapsed", '"9:10"'),
        ('[session]\nstated_elapsed = "-1:00"\n',
         "setup-value", 2, "session.stated_elapsed", "9:10"),
        ('[session]\ntimezone = "Europe/Lisbom"\n', "setup-value", 2, "session.timezone",
         "Did you mean 'Europe/Lisbon'?"),
        ('[session]\ntimezone = "../etc"\n', "setup-value", 2, "session.timezone", "area/city"),
        ('[session]\nstop = "18:00"\n', "setup-run", 2, "session.stop", "state the start"),
        ("session = 5\n", "setup-value", 1, "session", "[session]"),
        ("[devices]\n", "setup-value", 1, "devices", "[[devices]]"),
        ("[[devices]]\nlabel = 'x'\n", "setup-id", 1, "devices[1].id", "id ="),
        ('[[devices]]\nid = "a"\n[[devices]]\nid = "a"\n',
         "setup-twice", 4, "devices[2].id", "of its own"),
        ('[[devices]]\nid = "a"\nposition = 1\n[[devices]]\nid = "b"\nposition = 1\n',
         "setup-twice", 6,
         "devices[2].position", "1, 2, 3"),
        ('[[devices]]\nid = "a"\ndisplay_px = [2160]\n',
         "setup-value", 3, "devices[1].display_px", "[2560, 1600]"),
        ('[[devices]]\nid = "a"\nhealth_pct = 500\n', "setup-value", 3, "devices[1].health_pct",
         "from 1 to 150 (%)"),
        ('[[devices]]\nid = "a"\nrated_energy_wh = "30 Wh"\n', "setup-value", 3,
         "devices[1].rated_energy_wh", "without unit"),
        ('[[devices]]\nid = "a"\nrated_energy_wh = nan\n', "setup-value", 3,
         "devices[1].rated_energy_wh", "without unit"),
        ('[[devices]]\nid = "a"\ngroups = "x"\n',
         "setup-value", 3, "devices[1].groups", "list of texts"),
        ('[[devices]]\nid = "a"\ngauge = "x"\n', "setup-value", 3, "devices[1].gauge", "a table"),
        ('[[devices]]\nid = "a"\ngauge.rounding = "truncate"\n', "setup-value", 3,
         "devices[1].gauge.rounding", "Did you mean 'truncated'?"),
        ('[[devices]]\nid = "a"\ngauge.rounding = 5\n', "setup-value", 3,
         "devices[1].gauge.rounding", "one of these words"),
        ('[[devices]]\nid = "a"\n[devices.gauge]\nsteps = 5\n', "setup-key", 4,
         "devices[1].gauge.steps", "Did you mean 'step_pct'?"),
        ('[[phases]]\nid = "p"\n[[phases]]\nid = "p"\n',
         "setup-twice", 4, "phases[2].id", "of its own"),
        ('[[phases]]\nid = "p"\nkind = "until empty"\n', "setup-value", 3, "phases[1].kind",
         "Did you mean 'until_empty'?"),
        ('[[phases]]\nid = "p"\nplanned_min = "60 min"\n',
         "setup-value", 3, "phases[1].planned_min", '"unknown"'),
        ('[[phases]]\nid = "p"\nplanned_min = 0\n',
         "setup-value", 3, "phases[1].planned_min", "above 0"),
        ('[[phases]]\nid = "p"\nscreen_on = "yes"\n',
         "setup-value", 3, "phases[1].screen_on", "true or"),
        ('[[phases]]\nid = "p"\nkind = "rotation"\n',
         "setup-split", 1, "phases[1].parts", "parts ="),
        ('[[phases]]\nid = "p"\nparts = ["a", "a"]\n',
         "setup-split", 3, "phases[1].parts", "parts ="),
        ('[[phases]]\nid = "p"\nkind = "crossover"\nparts = ["a", "b"]\n', "setup-split", 1,
         "phases[1].first_half", "first_half ="),
        ('[[devices]]\nid = "limpet"\n[[phases]]\nid = "p"\nkind = "crossover"\n'
         'parts = ["a", "b"]\nfirst_half = ["limpit"]\n', "setup-device", 7, "phases[1].first_half",
         "Did you mean 'limpet'?"),
        ('[[phases]]\nid = "p"\nstart = "8"\n', "setup-value", 3, "phases[1].start", '"08:00"'),
        ("[conditions]\nnetwork = 5\n", "setup-value", 2, "conditions.network", "not recorded"),
        ("[conditions]\nauto_brightness = 5\n",
         "setup-value", 2, "conditions.auto_brightness", '"on"'),
        ("[conditions]\nbrightness_pct = 101\n",
         "setup-value", 2, "conditions.brightness_pct", "(%)"),
        ("[conditions]\nx = { y = 1 }\n", "setup-value", 2, "conditions.x", "a key of its own"),
        ("[conditions]\nbrightnes_pct = 60\n", "setup-free-key", 2, "conditions.brightnes_pct",
         "'brightness_pct'"),
        ("[assumptions]\nreading_delay = 1\n", "setup-key", 2, "assumptions.reading_delay",
         "Did you mean 'reading_delay_min'?"),
        ("[assumptions]\nreading_delay_min = -1\n",
         "setup-value", 2, "assumptions.reading_delay_min",
         "from 0"),
        ('[assumptions]\nclock_rounding = "up"\n',
         "setup-value", 2, "assumptions.clock_rounding", "floor"),
        ("[mixes.day]\nmap = 0\n", "setup-value", 1, "mixes.day", "above 0"),
        ("[mixes.day]\nmap = -1\nsea = 1\n", "setup-value", 2, "mixes.day.map", "from 0"),
        ('[mixes.day]\nmpa = 1\n[[phases]]\nid = "p"\nactivity = "map"\n', "setup-activity", 2,
         "mixes.day.mpa", "Did you mean 'map'?"),
        ('[claims]\ndeclared_comparison = ["a"]\n', "setup-value", 2, "claims.declared_comparison",
         "two devices"),
        ('[claims]\ndeclared_comparison = ["a", "a"]\n', "setup-value", 2,
         "claims.declared_comparison", "two devices"),
        ('[claims]\ndeclared_comparison = ["a", "lmpet"]\n[[devices]]\nid = "a"\n[[devices]]\n'
         'id = "limpet"\n', "setup-device", 2, "claims.declared_comparison",
         "Did you mean 'limpet'?"),
        ('[session]\nstart = "08:00"\n[[runs]]\nnumber = 1\n',
         "setup-run", 2, "session.start", "the run"),
        ("[[runs]]\nnumber = 1\n[[runs]]\nnumber = 1\n",
         "setup-run", 4, "runs[2].number", "1, 2, 3"),
        ("[[runs]]\nnumbr = 1\n", "setup-key", 2, "runs[1].numbr", "Did you mean 'number'?"),
        ('[[runs]]\n[[runs]]\n[[phases]]\nid = "p"\nstart = "08:00"\n', "setup-run", None, "phases",
         "phase_start"),
    ],
)  # fmt: skip
def test_every_fault_names_its_line_its_key_and_how_to_mend_it(text, rule, line, key, words):
    found = fault(text)
    assert (found.rule, found.line, found.column) == (rule, line, key)
    assert words in f"{found.found} {found.expected} {found.remedy}"


def test_blanks_around_an_id_are_told_and_stripped():
    setup, findings = read_setup(b'[[devices]]\nid = " limpet "\n', "session.toml")
    assert setup.devices[0].id == "limpet"
    assert [(f.rule, f.severity, f.line) for f in findings] == [("setup-blanks", "note", 2)]
    assert "'limpet'" in findings[0].remedy


def test_all_faults_are_told_at_once():
    found = faults('[session]\nid = 1\nx = 2\n[[devices]]\n[[phases]]\nid = "p"\nkind = "y"\n')
    assert sorted(f.column for f in found) == [
        "devices[1].id", "phases[1].kind", "session.id", "session.x",
    ]  # fmt: skip


@pytest.mark.parametrize(
    "text",
    [
        "[[phases]]\nid = 'p'\nplanned_min = 1e30\n",
        "[[phases]]\nid = 'p'\nplanned_min = 99999999999999999999999\n",
        "[assumptions]\n\nreading_delay_min = 1e300\n",
        "[session]\n\nrevision = 99999999999\n",
        "[[devices]]\nid = 'a'\nrated_energy_wh = 1000001\n",
        "[conditions]\n\nheld_full_min = 1e9\n",
        "[mixes.day]\n\nvideo = 1e300\n",
    ],
)
def test_a_number_that_no_quantity_can_have_is_told_with_the_limit(text):
    found = faults(text)[0]
    assert found.line == 3
    assert found.expected.endswith("no larger than 1000000")


def test_an_assumption_that_something_is_divided_by_is_never_zero():
    text = "[assumptions]\ngauge_correlation_pp = 0\n"
    assert fault(text).expected == "a number from 0.001"


def test_the_largest_number_is_still_one():
    assert good("[[devices]]\nid = 'a'\nrated_energy_wh = 1000000\n").devices[0].rated_energy_wh


@pytest.mark.parametrize("label", ["Limpet 10", " limpet  10", "Limpet\u200b 10"])
def test_two_devices_that_read_the_same_are_told(label):
    found = fault(f"[[devices]]\nid = 'a'\nlabel = 'Limpet 10'\n[[devices]]\nid = 'b'\n"
                  f"label = '{label}'\n")  # fmt: skip
    assert (found.line, found.column, found.rule) == (6, "devices[2].label", "setup-alike")
    assert found.severity == "caution"
    assert "'a' has the same" in found.expected


def test_an_id_that_reads_like_the_label_of_another_is_told():
    found = fault("[[devices]]\nid = 'a'\nlabel = 'b'\n[[devices]]\nid = 'b'\n")
    assert (found.line, found.column) == (5, "devices[2].id")


@pytest.mark.parametrize("day", ["0001-01-01", '"0026-05-16"', '"16.05.3026"', "9999-12-31"])
def test_a_day_on_which_no_session_can_have_been(day):
    assert fault(f"[session]\ndate = {day}\n").expected == "a date such as 2026-05-16"


@pytest.mark.parametrize(
    ("data", "rule", "line"),
    [
        (b"[session]\nid = day1\n", "setup-syntax", 2),
        (b"[session]\nid = 'a'\nid = 'b'\n", "setup-syntax", 3),
        (b'[session]\ntitle = "caf\xe9"\n', "setup-encoding", 2),
        (b"x = [", "setup-syntax", None),
    ],
)
def test_a_file_that_is_no_toml(data, rule, line):
    setup, findings = read_setup(data, "session.toml")
    assert setup == Setup()
    assert len(findings) == 1
    assert (findings[0].rule, findings[0].severity) == (rule, "error")
    if line:
        assert findings[0].line == line


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


@given(st.binary(max_size=200))
def test_any_bytes_are_a_setup_or_findings(data):
    setup, findings = read_setup(data, "session.toml")
    assert isinstance(setup, Setup)
    assert (
        findings
        or data.strip() == b""
        or b"#" in data
        or setup.lines
        or not data.strip(b"\xef\xbb\xbf\r\n\t ")
    )


KEYS = st.sampled_from(
    ["session", "runs", "devices", "phases", "conditions", "assumptions", "claims", "mixes", "id",
     "start", "date", "timezone", "gauge", "parts", "planned_min", "display_px", "kind", "number"]
)  # fmt: skip
VALUES = st.recursive(
    st.one_of(st.integers(-5, 5), st.booleans(), st.floats(), st.sampled_from(["", "08:00", "a"])),
    lambda inner: st.one_of(st.lists(inner, max_size=2), st.dictionaries(KEYS, inner, max_size=2)),
    max_leaves=6,
)


def as_toml(value):
    if isinstance(value, dict):
        return "{" + ", ".join(f"{k} = {as_toml(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(as_toml, value)) + "]"
    if isinstance(value, bool):
        return str(value).lower()
    return f'"{value}"' if isinstance(value, str) else repr(value)


@given(st.dictionaries(KEYS, VALUES, max_size=5))
def test_known_keys_with_any_values_never_break_the_reader(content):
    text = "".join(f"{k} = {as_toml(v)}\n" for k, v in content.items())
    setup, _ = read_setup(text.encode(), "session.toml")
    assert isinstance(setup, Setup)
