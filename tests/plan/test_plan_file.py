"""Reading a plan file: everything wrong is told at once, with key, line and remedy."""

from datetime import datetime
from textwrap import dedent
from zoneinfo import ZoneInfo

import pytest

from kit.errors import RecordError, UsageError
from kit.plan.file import PLAN_KEYS, parse_plan, read_plan
from kit.plan.planned import Break, Limit, Person
from kit.plan.text import plan_text
from tests.helpers.files import PLAN

GOOD = """
[session]
id = "day"
date = 2026-06-06
start = "08:00"

[[devices]]
id = "a"
rated_energy_wh = 30
[[devices]]
id = "b"
[[devices]]
id = "c"

[[phases]]
id = "p"
activity = "photo"
planned_min = 60
[[phases]]
id = "q"
kind = "until_empty"
activity = "map"
"""


def parse(text):
    return parse_plan(dedent(text).encode(), "plan.toml")


def errors(text):
    plan, findings = parse(text)
    assert plan is None
    return [f for f in findings if f.severity == "error"]


def only(text):
    found = errors(text)
    assert len(found) == 1, [f.sentence for f in found]
    return found[0]


def test_a_short_plan_has_the_defaults():
    plan, findings = parse(GOOD)
    assert findings == ()
    assert [d.id for d in plan.devices] == ["a", "b", "c"]
    assert plan.start == datetime(2026, 6, 6, 8, 0)
    assert plan.reading_seconds == {"a": 10, "b": 10, "c": 10}
    assert (plan.read_at, plan.next_phase, plan.alternate) == ("start_and_end", "after_walk", True)
    assert (plan.known_to_min, plan.coverage, plan.resolve_to_pct) == (3, 0.9, 25)
    assert plan.stop_min is None
    assert plan.phase_plan("p").setup_min == 0


def test_every_key_of_a_plan_is_read():
    plan, findings = parse(
        """
        [session]
        id = "day"
        date = 2026-06-06
        timezone = "Europe/London"
        start = "20:00"
        stop = "02:30"
        [plan]
        reading_seconds = 12
        read_at = "end"
        next_phase = "at_once"
        alternate = false
        between = "rest"
        known_to_min = 5
        coverage = 0.8
        resolve_to_pct = 10
        [[limits]]
        activity = "stream"
        at_once = 1
        reason = "one account"
        [[breaks]]
        after = "x"
        minutes = 15
        label = "Tea"
        activity = "standby"
        [[people]]
        name = "Wren"
        from = "19:30"
        to = "01:00"
        task = "reads"
        [[devices]]
        id = "b"
        position = 2
        reading_seconds = 30
        [[devices]]
        id = "a"
        position = 1
        rated_energy_wh = 20
        [devices.forecast]
        rates_pp_per_h = { map = 9.5, rest = 4, standby = 1 }
        rates_u_pct = 7
        rates_runs = 3
        power_w = { stream = 3 }
        power_u_pct = 20
        [[phases]]
        id = "x"
        kind = "crossover"
        parts = ["stream", "forms"]
        planned_min = 60
        setup_min = 4
        change_min = 2
        assignment = "random"
        seed = 7
        first = ["b"]
        [[phases]]
        id = "q"
        activity = "map"
        kind = "until_empty"
        """
    )
    assert [f.sentence for f in findings] == []
    assert [d.id for d in plan.devices] == ["a", "b"]  # by position
    assert plan.start == datetime(2026, 6, 6, 20, 0, tzinfo=ZoneInfo("Europe/London"))
    assert plan.stop_min == 390  # 20:00 to 02:30
    assert plan.reading_seconds == {"a": 12, "b": 30}
    assert (plan.read_at, plan.next_phase, plan.alternate) == ("end", "at_once", False)
    assert (plan.between, plan.known_to_min, plan.coverage) == ("rest", 5, 0.8)
    assert plan.resolve_to_pct == 10
    assert plan.limits == (Limit(activity="stream", at_once=1, reason="one account"),)
    assert plan.breaks == (Break(after="x", minutes=15, label="Tea", activity="standby"),)
    # Wren comes half an hour before the start and leaves at 01:00, five hours after it
    assert plan.people == (Person(name="Wren", from_min=-30, to_min=300, task="reads"),)
    forecast = plan.forecasts["a"]
    assert forecast.rates_pp_per_h == {"map": 9.5, "rest": 4, "standby": 1}
    assert (forecast.rates_u_pct, forecast.rates_runs, forecast.power_u_pct) == (7, 3, 20)
    assert forecast.power_w == {"stream": 3}
    extra = plan.phase_plan("x")
    assert (extra.setup_min, extra.change_min, extra.assignment) == (4, 2, "random")
    assert (extra.seed, extra.first) == (7, ("b",))
    assert plan.phase("x").first_half == ()  # formed by the plan, not read


def test_halves_that_the_file_names_are_kept():
    plan, _ = parse(
        GOOD
        + """
        """.replace("        ", "")
    )
    assert plan.phase("p").first_half == ()
    named = GOOD.replace(
        'activity = "photo"\nplanned_min = 60',
        'kind = "crossover"\nparts = ["s", "f"]\nplanned_min = 60\nfirst_half = ["c"]',
    )
    plan, _ = parse(named)
    assert plan.phase("p").first_half == ("c",)


def test_sample_plan_reads_without_a_finding():
    plan, findings = read_plan(PLAN)
    assert findings == ()
    assert len(plan.devices) == 6
    assert plan.stop_min == 690  # 08:00 to 19:30


def test_all_faults_are_told_at_once_with_their_lines():
    found = errors(
        """\
        [session]
        id = "day"
        [plan]
        reading_secnds = 12
        read_at = "never"
        [[devices]]
        id = "a"
        reading_seconds = "quick"
        colour = "red"
        [[phases]]
        id = "p"
        planned_min = 60
        setup_min = -1
        """
    )
    told = {(f.line, f.column, f.remedy) for f in found}
    assert {(line, column) for line, column, _ in told} == {
        (4, "plan.reading_secnds"),
        (5, "plan.read_at"),
        (8, "devices[1].reading_seconds"),
        (9, "devices[1].colour"),
        (13, "phases[1].setup_min"),
    }
    remedies = {column: remedy for _, column, remedy in told}
    assert "Did you mean 'reading_seconds'?" in remedies["plan.reading_secnds"]
    assert all(f.found and f.expected for f in found)


def test_keys_of_the_plan_are_known_beside_those_of_the_setup_file():
    found = only(GOOD.replace('id = "b"', 'id = "b"\nforecasts = 1'))
    assert "forecast" in found.expected
    assert "rated_energy_wh" in found.expected
    assert "Did you mean 'forecast'?" in found.remedy
    assert set(PLAN_KEYS) == {"", "devices", "phases"}


CASES = {
    "limit-of-nothing": (
        '[[limits]]\nactivity = "strem"\nat_once = 2\n',
        ("plan-name", "limits[1].activity", "one of photo, map", "Correct the name."),
    ),
    "limit-without-number": (
        '[[limits]]\nactivity = "map"\n',
        ("plan-limit", "limits[1].at_once", "how many devices", "Write at_once = 5."),
    ),
    "limit-too-narrow-for-a-plain-phase": (
        '[[limits]]\nactivity = "photo"\nat_once = 2\n',
        ("plan-limit", "phases[1].activity", "at most 2", 'parts = ["photo"'),
    ),
    "break-after-nothing": (
        '[[breaks]]\nafter = "q"\nminutes = 5\n',
        ("plan-name", "breaks[1].after", "not the last: one of p", "Correct the name."),
    ),
    "break-without-length": (
        '[[breaks]]\nafter = "p"\n',
        ("plan-break", "breaks[1].minutes", "length of the break", "Write minutes = 30."),
    ),
    "two-breaks-in-one-place": (
        '[[breaks]]\nafter = "p"\nminutes = 5\n[[breaks]]\nafter = "p"\nminutes = 9\n',
        ("plan-break", "breaks[2].after", "one break after a phase", "Join the two breaks."),
    ),
    "nameless": (
        '[[people]]\nfrom = "08:00"\nto = "09:00"\n',
        ("plan-people", "people[1].name", "a name or initials", "Write name"),
    ),
    "comes-and-never-goes": (
        '[[people]]\nname = "Teal"\nfrom = "08:00"\n',
        ("plan-people", "people[1].to", "a time of day", 'Write to = "08:00".'),
    ),
    "stop-too-early": (
        None,
        ("plan-stop", "session.stop", "after the start of the last phase", "Stop later"),
    ),
    "first-is-a-stranger": (
        None,
        ("plan-name", "phases[1].first", "ids of [[devices]]: a, b, c", "Correct the id."),
    ),
    "power-without-energy": (
        None,
        ("plan-forecast", "devices[2].forecast.power_w", "rated_energy_wh", "Give rated"),
    ),
    "no-length": (
        None,
        ("plan-length", "phases[1].planned_min", "a length (min)", "Write planned_min = 60"),
    ),
    "empties-before-the-end": (
        None,
        ("plan-length", "phases[1].kind", "as the last phase", "Move it to the end"),
    ),
    "turns-do-not-fit": (
        None,
        ("plan-schedule", "phases[1].planned_min", "one turn of every device", "Make the phase"),
    ),
    "other-part-limited-too": (
        None,
        ("plan-limit", "phases[1].parts", "at most 1, its own limit", "Choose another second"),
    ),
    "people-without-a-start": (
        None,
        ("plan-start", "people[1]", "session.start", "Give session.start"),
    ),
    "stop-without-a-start": (
        None,
        ("plan-start", "session.stop", "both or neither", "Give session.start too."),
    ),
}

CHANGED = {
    "stop-too-early": GOOD.replace('start = "08:00"', 'start = "08:00"\nstop = "09:00"'),
    "first-is-a-stranger": GOOD.replace("planned_min = 60", 'planned_min = 60\nfirst = ["z"]'),
    "power-without-energy": GOOD.replace(
        'id = "b"', 'id = "b"\nforecast = { power_w = { map = 2 } }'
    ),
    "no-length": GOOD.replace("planned_min = 60\n", ""),
    "empties-before-the-end": GOOD.replace("planned_min = 60", 'kind = "until_empty"'),
    "turns-do-not-fit": GOOD.replace(
        'activity = "photo"\nplanned_min = 60',
        'kind = "rotation"\nparts = ["s", "map"]\nturn_min = 30\nplanned_min = 60',
    ),
    "other-part-limited-too": GOOD.replace(
        'activity = "photo"\nplanned_min = 60',
        'kind = "rotation"\nparts = ["s", "f"]\nturn_min = 10\nplanned_min = 60',
    )
    + '[[limits]]\nactivity = "f"\nat_once = 1\n',
    "people-without-a-start": GOOD.replace('start = "08:00"\n', "")
    + '[[people]]\nname = "W"\nfrom = "08:00"\nto = "09:00"\n',
    "stop-without-a-start": GOOD.replace('start = "08:00"', 'stop = "18:00"'),
}


@pytest.mark.parametrize("case", list(CASES))
def test_each_fault_names_key_expected_and_remedy(case):
    added, (rule, column, expected, remedy) = CASES[case]
    text = CHANGED[case] if added is None else GOOD + added
    found = only(text)
    assert found.rule == rule
    assert found.column == column
    assert expected in found.expected
    assert remedy in found.remedy
    assert found.line is not None


@pytest.mark.parametrize("kind", ["crossover", "rotation"])
def test_a_split_phase_needs_two_devices(kind):
    text = """
        [[devices]]
        id = "a"
        [[phases]]
        id = "p"
        kind = "KIND"
        parts = ["s", "f"]
        planned_min = 60
        """
    found = only(text.replace("KIND", kind))
    assert (found.rule, found.column) == ("plan-split", "phases[1].kind")


@pytest.mark.parametrize("missing", ["devices", "phases"])
def test_a_plan_needs_devices_and_phases(missing):
    text = {
        "devices": '[[phases]]\nid = "p"\nplanned_min = 60\n',
        "phases": '[[devices]]\nid = "a"\n',
    }[missing]
    found = only(text)
    assert (found.rule, found.column) == ("plan-empty", missing)


def test_an_unplanned_activity_is_a_caution_with_a_hint():
    text = GOOD.replace(
        'id = "b"', 'id = "b"\nforecast = { rates_pp_per_h = { mpa = 9, map = 8 } }'
    )
    plan, findings = parse(text)
    assert plan.forecasts["b"].rates_pp_per_h == {"map": 8}
    assert [(f.severity, f.rule) for f in findings] == [("caution", "plan-activity")]
    assert findings[0].column.endswith("forecast.rates_pp_per_h.mpa")
    assert "Did you mean 'map'?" in findings[0].remedy


@pytest.mark.parametrize(
    ("data", "rule", "line"),
    [
        (b'[session]\nid = "a\n', "setup-syntax", 2),
        (b'[session]\nid = "a"\ntitle = "\xff"\n', "setup-encoding", 3),
    ],
)
def test_what_is_no_toml_or_no_text_is_told(data, rule, line):
    plan, findings = parse_plan(data, "plan.toml")
    assert plan is None
    assert (findings[0].rule, findings[0].line) == (rule, line)


def test_byte_order_mark_and_carriage_returns_are_accepted():
    plan, findings = parse_plan(b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode(), "p")
    assert findings == ()
    assert plan is not None


def test_file_that_cannot_be_read(tmp_path):
    with pytest.raises(UsageError, match="cannot be read"):
        read_plan(tmp_path / "none.toml")


def test_file_with_faults_raises_with_all_of_them(tmp_path):
    path = tmp_path / "plan.toml"
    path.write_text("[plan]\nread_at = 1\nnext_phase = 2\n")
    with pytest.raises(RecordError) as error:
        read_plan(path)
    assert {f.file for f in error.value.findings} == {"plan.toml"}
    assert len(error.value.findings) == 4  # and no device, no phase


def test_plan_without_a_start_counts_from_zero():
    plan, _ = parse(GOOD.replace('start = "08:00"\n', "").replace("date = 2026-06-06\n", ""))
    assert plan.start is None
    assert "  0:00 – 0:01      read   → Read the row: start of p" in plan_text(plan)


@pytest.mark.parametrize("broken", ["devices = 3", 'phases = ["p"]', "plan = 1", "limits = 1"])
def test_tables_of_another_kind_are_told_not_tripped_over(broken):
    plan, findings = parse(broken + '\n[session]\nid = "d"\n')
    assert plan is None
    assert any(f.column == broken.split(" ")[0] for f in findings)


def test_docs_name_every_key_of_a_plan():
    page = (PLAN.parent.parent / "docs" / "planning.md").read_text(encoding="utf-8")
    for name in (*PLAN_KEYS["devices"], *PLAN_KEYS["phases"]):
        assert f"`{name}`" in page or f"[devices.{name}]" in page, name
    for name in PLAN_KEYS[""]:
        assert f"[{name}]" in page, name
    plan, _ = parse(GOOD + "[plan]\nnot_a_key = 1\n")
    assert plan is None
    (found,) = errors(GOOD + "[plan]\nnot_a_key = 1\n")
    known = found.expected.rpartition(": ")[2].split(", ")
    assert len(known) == 9
    for name in known:
        assert f"`{name}`" in page, name
