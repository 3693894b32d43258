"""Every way in which a setup file can be wrong, told with line, key and remedy."""

import pytest

from kit.read.conditions import CONDITIONS
from kit.read.setup_file import Setup, read_setup
from tests.helpers.setup_texts import fault, faults, good


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
