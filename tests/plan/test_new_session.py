"""A session folder from a plan: complete or not there, readable, and never written over."""

import csv
import os
import tomllib
from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.errors import RecordError, RenderError, UsageError
from kit.plan.file import read_plan
from kit.plan.new_session import new_session
from kit.plan.outlook import outlook
from kit.plan.planned import Limit
from kit.read.record import read_record
from kit.read.setup_file import read_setup
from kit.session import Assumptions, Device, Gauge, Phase
from tests.helpers.files import PLAN
from tests.helpers.plans import make_plan

LECTURE = Phase(
    id="x", label="Lecture", kind="crossover", parts=("stream", "forms"), planned_min=61
)
CALL = Phase(
    id="r", label="Call", kind="rotation", parts=("call", "forms"), planned_min=40, turn_min=10
)
LAST = Phase(id="z", label="Rest", activity="map", kind="until_empty")


def rows(folder):
    with (folder / "log.csv").open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def fill(folder, lines):
    """Write a log as somebody would have filled it."""
    with (folder / "log.csv").open("a", encoding="utf-8") as file:
        file.write("\n".join(lines) + "\n")


def test_folder_of_the_sample_plan_can_be_recorded_and_read(tmp_path):
    plan, _ = read_plan(PLAN)
    folder = new_session(plan, tmp_path / "day")
    assert folder == tmp_path / "day"
    assert sorted(p.name for p in folder.iterdir()) == ["log.csv", "session.toml"]
    assert rows(folder) == []
    with pytest.raises(RecordError) as error:
        read_record(folder)
    assert {f.file for f in error.value.findings} == {"log.csv"}  # nothing but that it is empty
    blank = "," * 11
    fill(
        folder,
        [
            f"reading,warm,start,limpet,08:00,100{blank}",
            f"phase_start,warm,,,08:02,{blank}",
            f"phase_end,warm,,,08:22,{blank}",
            f"reading,warm,end,limpet,08:22,97{blank}",
        ],
    )
    session, findings = read_record(folder)
    assert not [f for f in findings if f.severity == "error"]
    assert session.id == plan.id
    assert session.title == plan.title
    assert session.date == date(2026, 6, 6)
    assert session.timezone == "Europe/London"
    assert plan.start is not None
    assert session.runs[0].start == plan.start + timedelta(minutes=2)  # after the first walk
    assert session.devices == plan.devices
    assert session.mixes == plan.mixes
    assert session.declared_comparison == plan.declared_comparison
    assert session.conditions == plan.conditions
    assert not session.phase("warm").evaluated
    assert session.phase("p1").script == plan.phase("p1").script
    lecture = session.phase("p3")
    # positions 1 4 5 against 2 3 6, as in the timetable
    assert lecture.first_half == ("limpet", "dunlin", "whelk")
    assert session.assumptions.reading_delay_min == 0
    assert session.assumptions.off_check_min is None  # nobody has looked yet
    assert session.assumptions.stated == {"reading_delay_min"}
    assert session.readings["soc_pct"].tolist() == [100, 97]


def test_setup_file_says_what_stands_where(tmp_path):
    plan = make_plan(
        phases=(CALL, LAST), limits=(Limit(activity="call", at_once=1),), notes='two\nlines "x"'
    )
    text = (new_session(plan, tmp_path / "day") / "session.toml").read_text(encoding="utf-8")
    assert "# Who does call, in minutes after the start of the phase" in text
    # four devices, ten minutes each, in the order of a Williams design of four
    assert "#      0 to 10   A" in text
    assert "#     30 to 40   D" in text
    assert 'notes = "two\\nlines \\"x\\""' in text
    assert tomllib.loads(text)["session"]["notes"] == 'two\nlines "x"'


def test_waves_become_a_rotation(tmp_path):
    # Four devices, one stream at a time: four waves of (61 - 3)/4 = 14 min.
    plan = make_plan(phases=(LECTURE, LAST), limits=(Limit(activity="stream", at_once=1),))
    text = (new_session(plan, tmp_path / "day") / "session.toml").read_text(encoding="utf-8")
    phase = tomllib.loads(text)["phases"][0]
    assert phase["kind"] == "rotation"
    assert phase["turn_min"] == 14
    assert "first_half" not in phase


def test_assumptions_that_the_plan_states_are_kept(tmp_path):
    stated = Assumptions(
        reading_delay_min=3.0, off_check_min=5.0, clock_rounding="nearest",
        stated=frozenset({"reading_delay_min", "off_check_min", "clock_rounding"}),
    )  # fmt: skip
    plan = make_plan(phases={"p": 60}, assumptions=stated)
    text = (new_session(plan, tmp_path / "day") / "session.toml").read_text(encoding="utf-8")
    assert tomllib.loads(text)["assumptions"] == {
        "reading_delay_min": 3, "off_check_min": 5, "clock_rounding": "nearest",
    }  # fmt: skip


def test_reading_at_once_states_the_walk_as_delay(tmp_path):
    # four devices at 40 s: 2 min 40 s, in whole minutes 3
    plan = make_plan(phases={"p": 60, "q": 30}, next_phase="at_once", seconds=40)
    text = (new_session(plan, tmp_path / "day") / "session.toml").read_text(encoding="utf-8")
    assert tomllib.loads(text)["assumptions"]["reading_delay_min"] == 3


def starts(folder):
    text = (folder / "session.toml").read_text(encoding="utf-8")
    return {p["id"]: p.get("start_read_after_min") for p in tomllib.loads(text)["phases"]}


def test_planned_readings_of_starts_are_handed_on(tmp_path):
    day, _ = read_plan(PLAN)
    # 5 min to prepare the photographs; 40 min of meal and 5 to prepare the guide
    found = starts(new_session(day, tmp_path / "day"))
    assert found == {
        "warm": None, "p1": None, "p2": 5, "p3": None, "p4": 45, "p5": None, "p6": None,
        "standby": None, "p8": None,
    }  # fmt: skip
    setup, findings = read_setup((tmp_path / "day" / "session.toml").read_bytes(), "session.toml")
    assert not [f for f in findings if f.severity == "error"]
    assert [p.start_read_after_min for p in setup.phases] == list(found.values())


def test_a_plan_that_reads_ends_alone_says_so(tmp_path):
    found = starts(new_session(replace(read_plan(PLAN)[0], read_at="end"), tmp_path / "day"))
    # the very first start is read always
    assert found.pop("warm") is None
    assert set(found.values()) == {"never"}


@pytest.mark.parametrize("value", ['"soon"', "-1", "1e9", "true"])
def test_a_wrong_reading_of_a_start_is_told(value):
    text = f'[[phases]]\nid = "p"\nstart_read_after_min = {value}\n'
    _, findings = read_setup(text.encode(), "session.toml")
    assert [(f.line, f.column) for f in findings if f.severity == "error"] == [
        (3, "phases[1].start_read_after_min")
    ]


def test_gauge_and_exceptions_of_a_device_are_written(tmp_path):
    device = Device(
        id="a b", label="A", position=1, gauge=Gauge(rounding="nearest", step_pct=5.0),
        conditions={"power_saver": "on", "my key": [1, 2]}, display_px=(800, 600),
    )  # fmt: skip
    plan = replace(make_plan(devices=("x",), phases={"p": 60}), devices=(device,))
    text = (new_session(plan, tmp_path / "day") / "session.toml").read_text(encoding="utf-8")
    found = tomllib.loads(text)["devices"][0]
    assert found["gauge"] == {"rounding": "nearest", "step_pct": 5}
    assert found["conditions"] == {"power_saver": "on", "my key": [1, 2]}
    assert found["display_px"] == [800, 600]


def test_planned_rows_wait_to_be_filled(tmp_path):
    plan = make_plan(
        phases=(LECTURE, CALL, LAST),
        limits=(Limit(activity="stream", at_once=2), Limit(activity="call", at_once=1)),
    )
    found = rows(new_session(plan, tmp_path / "day", rows="planned"))
    events = [(r["event"], r["phase"], r["point"]) for r in found]
    # start of x, its turns (both parts of each half), the swap, the other half, end of x
    assert events[:4] == [("reading", "x", "start")] * 4
    assert events[4] == ("phase_start", "x", "")
    assert events[5:9] == [("turn", "x", "")] * 4
    assert events[9:13] == [("reading", "x", "inside")] * 4
    assert events[13:17] == [("turn", "x", "")] * 4
    assert events[17] == ("phase_end", "x", "")
    first = {r["device"]: r["part"] for r in found[5:9]}
    assert first == {"a": "stream", "b": "forms", "c": "forms", "d": "stream"}
    # in a rotation the limited part alone
    turns = [(r["device"], r["part"]) for r in found if r["event"] == "turn" and r["phase"] == "r"]
    assert turns == [("a", "call"), ("b", "call"), ("c", "call"), ("d", "call")]
    assert [r["event"] for r in found].count("phase_start") == 3
    assert [r["event"] for r in found].count("phase_end") == 2
    # the walk back has the order reversed
    back = [r["device"] for r in found if r["point"] == "inside"]
    assert back == ["d", "c", "b", "a"]
    assert [r["device"] for r in found if r["event"] == "power_off"] == ["a", "b", "c", "d"]


def test_unfilled_rows_are_told_not_taken(tmp_path):
    folder = new_session(make_plan(phases=(LAST,)), tmp_path / "day", rows="planned")
    with pytest.raises(RecordError) as error:
        read_record(folder)
    assert {f.rule for f in error.value.findings if f.severity == "error"} == {"cell-missing"}


@pytest.mark.parametrize("make", ["file", "folder", "full", "dangling"])
def test_nothing_is_overwritten(tmp_path, make):
    target = tmp_path / "day"
    if make == "file":
        target.write_text("mine")
    elif make == "dangling":
        target.symlink_to(tmp_path / "nowhere")
    else:
        target.mkdir()
        if make == "full":
            (target / "log.csv").write_text("mine")
    before = sorted(str(p) for p in tmp_path.rglob("*"))
    with pytest.raises(UsageError, match="exists; nothing was written"):
        new_session(make_plan(phases={"p": 60}), target)
    assert sorted(str(p) for p in tmp_path.rglob("*")) == before


def test_missing_parent_is_told(tmp_path):
    with pytest.raises(UsageError, match="there is no folder"):
        new_session(make_plan(phases={"p": 60}), tmp_path / "no" / "day")


@pytest.mark.parametrize("step", ["fsync", "rename", "mkdtemp"])
def test_a_failure_leaves_nothing_behind(tmp_path, monkeypatch, step):
    def full(*_args, **_kwargs):
        raise OSError(28, "No space left on device")

    target = {"fsync": "os.fsync", "rename": "pathlib.Path.rename", "mkdtemp": "tempfile.mkdtemp"}
    monkeypatch.setattr(target[step], full)
    with pytest.raises(RenderError, match="No space left"):
        new_session(make_plan(phases={"p": 60}), tmp_path / "day")
    assert list(tmp_path.iterdir()) == []


def test_the_folder_has_the_usual_permissions(tmp_path):
    folder = new_session(make_plan(phases={"p": 60}), tmp_path / "day")
    plain = tmp_path / "plain"
    plain.mkdir()
    assert os.stat(folder).st_mode == os.stat(plain).st_mode  # noqa: PTH116 (both the same way)


@settings(max_examples=60, deadline=None)
@given(text=st.text(min_size=1, max_size=40), key=st.text(min_size=1, max_size=12))
def test_any_text_comes_back_as_it_was(tmp_path_factory, text, key):
    try:
        text.encode()
        key.encode()
    except UnicodeEncodeError:
        return
    plan = make_plan(phases={"p": 60}, title=text, conditions={key: text})
    folder = new_session(plan, tmp_path_factory.mktemp("any") / "day")
    data = tomllib.loads((folder / "session.toml").read_bytes().decode())
    assert data["session"]["title"] == text
    assert data["conditions"][key] == text


def test_text_of_a_device_cannot_break_out_of_a_comment(tmp_path):
    plan = make_plan(phases=(CALL,), limits=(Limit(activity="call", at_once=1),))
    evil = replace(plan.devices[0], label="A\n[session]\nid = 1")
    plan = replace(plan, devices=(evil, *plan.devices[1:]), title="t\n[session]")
    data = tomllib.loads((new_session(plan, tmp_path / "d") / "session.toml").read_text("utf-8"))
    assert data["session"]["id"] == "test-plan"
    assert data["devices"][0]["label"] == evil.label


def test_outlook_and_folder_agree_on_the_turns(tmp_path):
    plan, _ = read_plan(PLAN)
    text = (new_session(plan, tmp_path / "day") / "session.toml").read_text(encoding="utf-8")
    halves = tomllib.loads(text)["phases"][3]["first_half"]
    assert tuple(halves) == outlook(plan).table.schedules["p3"].first_half
