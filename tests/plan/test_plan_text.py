"""The plan on a terminal: every section, one hundred columns, no text that steers it."""

from dataclasses import replace

import pytest

from kit.labels import text_width
from kit.plan.file import read_plan
from kit.plan.lines import WIDTH, moment, short_time
from kit.plan.outlook import outlook
from kit.plan.planned import Limit, Person
from kit.plan.text import plan_text
from kit.session import Phase
from tests.helpers.files import PLAN
from tests.helpers.plans import make_plan

RATES = {d: {"map": 10.0 + i, "film": 12.0} for i, d in enumerate("abcd")}


@pytest.fixture(scope="module")
def sample():
    plan, _ = read_plan(PLAN)
    return plan, plan_text(plan)


def section(text, title):
    """Return the lines of one section."""
    lines = text.splitlines()
    start = lines.index(title.upper()) + 2
    rest = lines[start:]
    return rest[: rest.index("")] if "" in rest else rest


def test_the_sample_fits_one_hundred_columns(sample):
    _, text = sample
    assert max(map(text_width, text.splitlines())) <= WIDTH == 100
    assert text.endswith("\n")
    assert not any(line != line.rstrip() for line in text.splitlines())


def test_the_sample_has_every_section(sample):
    _, text = sample
    titles = [
        "Timetable", "Limited phases", "Expected course", "Near the end",
        "What this day can decide", "Advice, with its gain on this day",
    ]  # fmt: skip
    for title in titles:
        assert section(text, title)


def test_timetable_of_the_sample_by_hand(sample):
    # 5 x 12 + 20 = 80 s, so a walk is 2 min; 08:00 walk, 08:02 warm-up of 20, walk, 08:24 p1 ...
    _, text = sample
    lines = section(text, "Timetable")
    assert lines[0].split() == ["08:00", "–", "08:02", "read", "→", "Read", "the", "row:", "start",
                                "of", "Warm-up", "2", "min"]  # fmt: skip
    assert lines[3].startswith("  08:24 – 09:24    2      Map and tide table")
    assert any("stream: Limpet 10, Dunlin 9, Whelk 10 Plus" in line for line in lines)
    assert lines[-1] == "  19:30            stop   End of session"


def test_windows_stand_with_the_devices(sample):
    plan, text = sample
    lines = section(text, "Expected course")
    view = outlook(plan)
    for device, window in zip(plan.devices, view.windows, strict=True):
        (line,) = [x for x in lines if x.strip().startswith(device.label)]
        assert f"{moment(plan, window.low_min)} to {moment(plan, window.high_min)}" in line


def test_a_standby_of_twenty_minutes_is_called_too_short(sample):
    _, text = sample
    told = " ".join(section(text, "What this day can decide"))
    assert "Standby, 20 min" in told
    assert "cannot be told from no drain at all" in told


def test_more_time_is_asked_for_when_devices_would_outlast_the_day(sample):
    plan, text = sample
    assert "go on to" in text
    assert "go on to" not in plan_text(replace(plan, stop_min=None))


def test_limits_are_named_with_their_reason(sample):
    _, text = sample
    told = " ".join(line.strip() for line in section(text, "Limited phases"))
    assert "at most 5 at once do stream (the lecture service allows five streams" in told
    assert "Exposure: each device 1 h of stream and 1 h of forms; equal." in told


def test_without_rates_the_plan_says_what_is_missing():
    text = plan_text(make_plan(phases={"map": 60.0}))
    assert "No rates are known." in text
    assert "NEAR THE END" not in text
    assert "ADVICE" not in text
    one = plan_text(make_plan(phases={"map": 60.0}, rates={"a": {"map": 10.0}}))
    (line,) = [x for x in one.splitlines() if x.startswith("  B ")]
    assert line.endswith("no rates known")


def test_a_phase_of_unknown_rate_is_judged_by_the_rates_it_can_show():
    # Two whole percentages know a drain to ± 0.80 pp (docs/planning.md). In 20 min that is
    # 0.80 x 3 = 2.4 pp/h, for a quarter of the drain four times as much, 9.6 pp/h.
    plan = make_plan(phases={"map": 60.0, "doze": 20.0, "end": None}, rates={})
    text = plan_text(plan)
    line = " ".join(section(text, "What this day can decide"))
    assert (
        "doze, 20 min: no rate is known. Read to ± 0.8 pp, less than 2.4 pp/h cannot be told from "
        "no drain at all; ± 25 % needs 9.6 pp/h."
    ) in " ".join(line.replace("\xa0", " ").split())
    # known on two of four: what is guessed for the others is not shown as a drain
    known = make_plan(phases={"map": 60.0, "doze": 20.0}, rates={"a": RATES["a"], "b": {"doze": 1}})
    line = " ".join(section(plan_text(known), "What this day can decide"))
    words = " ".join(line.replace("\xa0", " ").split())
    assert "doze, 20 min: no rate is known of A, C and D." in words
    assert "cannot be told from no drain at all on B." in words


def test_everybody_in_a_turn_is_named_however_many_they_are():
    names = [f"tablet-{i}" for i in range(1, 25)]
    call = Phase(id="c", label="C", kind="rotation", parts=("call", "map"), planned_min=30,
                 turn_min=10)  # fmt: skip
    plan = make_plan(
        devices=tuple(names), phases=(call,), rates={}, limits=(Limit(activity="call", at_once=8),)
    )
    plan = replace(
        plan,
        devices=tuple(replace(d, label=f"Tablet {n}") for n, d in enumerate(plan.devices, 1)),
    )
    lines = section(plan_text(plan), "Timetable")
    said = " ".join(" ".join(lines).split())
    assert all(said.count(f"Tablet {n},") + said.count(f"Tablet {n} ") == 1 for n in range(1, 25))
    assert not any(line.endswith("Tablet") for line in lines)  # a name stays on one line
    assert max(map(text_width, lines)) <= WIDTH


def test_a_number_stays_with_its_unit_at_the_end_of_a_line(sample):
    _, text = sample
    assert not any(line.split() and line.split()[0] in ("%", "pp", "h", "min", "s")
                   for line in text.splitlines())  # fmt: skip


def test_all_long_enough_is_said_too():
    text = plan_text(make_plan(phases={"map": 60.0, "film": 60.0}, rates=RATES))
    assert "Every evaluated phase is long enough to know each drain to ± 25 %." in text


def test_a_phase_that_is_only_coarse_names_its_devices():
    text = " ".join(plan_text(make_plan(phases={"map": 12.0, "film": 60.0}, rates=RATES)).split())
    # 12 min at 10 and 11 pp/h: 2.0 and 2.2 pp, from full to ± 1.0; at 13 pp/h 2.6 pp, 38 %
    assert "map, 12 min: a drain from 2.0 pp on, read to ± 1.0 pp, is known to worse than" in text


def test_declared_comparison_has_its_lengths():
    plan = make_plan(phases={"map": 60.0}, rates=RATES, declared_comparison=("a", "c"), mixes={})
    text = plan_text(plan)
    assert "A and C: which drains less" in text
    # One phase: two drains and a standing, three comparisons. 10 against 12 pp/h: X = 1.34,
    # (1.5 + 0.8416 x 0.577)/2 h = 60 min by the displays. By charge the margin tends to
    # sqrt(1.34² + 2.39² x 12) = 8.4: (8.5 + 0.8416 x sqrt(12.33))/2 = 5.7 h
    (line,) = [x for x in text.splitlines() if x.startswith("  map ")]
    assert " ".join(line.split()) == "map 1 h 1 h 5 h 44 min"
    assert "which drains less" not in plan_text(replace(plan, forecasts={}))


def test_nobody_present_is_told():
    people = (Person(name="Wren", from_min=0, to_min=30),)
    text = plan_text(make_plan(phases={"map": 60.0}, people=people))
    assert "! Nobody is with the devices from 08:30 to 09:02." in text


def test_early_power_off_in_a_limited_phase_is_told():
    call = Phase(id="r", label="Call", kind="rotation", parts=("map", "film"), planned_min=400,
                 turn_min=100)  # fmt: skip
    plan = make_plan(
        phases=(Phase(id="p", label="p", activity="map", planned_min=300), call),
        rates=RATES, limits=(Limit(activity="map", at_once=1),), devices=tuple("abcd"),
    )  # fmt: skip
    plan = replace(plan, phases=(replace(plan.phases[0], activity="film"), call))
    text = " ".join(plan_text(plan).split())
    assert "! A powers off in this phase with a chance of" in text
    assert "leave its place empty and every other turn where it is; the others keep" in text
    assert "it has had" in text
    assert "Name it in `first` to give it an early turn" in text


HOSTILE = "\x1b[31mred\u202e\n\t" + "x" * 300 + "漢字🐚"


def test_hostile_text_neither_steers_the_terminal_nor_breaks_the_width():
    plan = make_plan(phases={"map": 60.0, "film": 60.0}, rates=RATES, title=HOSTILE)
    devices = tuple(replace(d, label=HOSTILE) for d in plan.devices)
    phases = tuple(replace(p, label=HOSTILE, content=HOSTILE) for p in plan.phases)
    text = plan_text(replace(plan, devices=devices, phases=phases, declared_comparison=("a", "b")))
    assert max(map(text_width, text.splitlines())) <= WIDTH
    assert "\x1b" not in text
    assert "\u202e" not in text
    assert "\t" not in text


def test_times_without_a_clock_count_from_zero():
    plan = make_plan(phases={"map": 60.0}, start=None)
    assert moment(plan, 75) == "1:15"
    assert moment(plan, None) == "–"
    assert moment(plan, float("inf")) == "–"
    assert "starts 0:00" in plan_text(plan)


def test_looks_that_cannot_be_kept_are_told():
    # four devices at 60 s: a pass of 4 min, wished for 3 min
    text = " ".join(plan_text(make_plan(phases={"map": 60.0}, rates=RATES, seconds=60.0)).split())
    assert "Look along the row every 4 min: each power-off is then known to 5 min (wished" in text
    quick = make_plan(phases={"map": 60.0}, rates=RATES, seconds=5.0, known_to_min=0.5)
    assert "every 30 s, noting seconds: each power-off is then known to 31 s" in plan_text(quick)


def test_short_times():
    assert [short_time(m).replace("\N{NO-BREAK SPACE}", " ") for m in (0.5, 1.0, 1.5, 12.3)] == [
        "30 s", "1 min", "1 min 30 s", "12 min",
    ]  # fmt: skip
