"""A session written as a log and read again is the same session."""

import tempfile
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.read.log_writer import log_text
from kit.read.record import read_record
from kit.session import FRAME_COLUMNS
from tests.helpers.files import SAMPLES
from tests.helpers.records import SETUP, read


def again(session, setup):
    """Write a session and read it with the same setup file."""
    return read(log_text(session).encode(), setup)[0]


def assert_same(first, second):
    """Equal but for the lines, the sources and the order of rows in a frame."""
    for name, columns in FRAME_COLUMNS.items():
        keys = [c for c in columns if c != "line"]
        one, two = (
            getattr(s, name)[keys].sort_values(keys, ignore_index=True) for s in (first, second)
        )
        pd.testing.assert_frame_equal(one, two, obj=name)
    for name in ("id", "date", "devices", "phases", "runs", "conditions", "assumptions"):
        assert getattr(first, name) == getattr(second, name), name


@pytest.mark.parametrize("name", ["full-day", "after-midnight", "minute-log", "replicates"])
def test_the_samples_come_back(name):
    session, _ = read_record(SAMPLES / name)
    setup = (SAMPLES / name / "session.toml").read_text(encoding="utf-8")
    assert_same(session, again(session, setup))


def test_a_scorecard_becomes_a_log():
    session, _ = read_record(SAMPLES / "scorecard")
    setup = (SAMPLES / "scorecard" / "session.toml").read_text(encoding="utf-8")
    back = again(session, setup.replace('log = "scorecard.csv"', ""))
    assert (session.form, back.form) == ("wide", "long")
    assert_same(session, back)


def test_what_is_written_is_what_a_person_would_have_written():
    session, _ = read(
        """
        event,phase,point,device,clock,elapsed_min,soc_pct,last_on,first_off,note
        power_off,photo,,dunlin,,,3,09:29,09:31,
        reading,map,end,limpet,09:01,,90.5,,,"a ""b"", c"
        reading,map,start,limpet,,,100,,,
        """
    )
    assert log_text(session) == (
        "event,run,phase,point,device,date,clock,soc_pct,last_on,first_off,note\n"
        "phase_start,1,map,,,2026-05-16,08:00,,,,\n"
        "reading,1,map,start,limpet,,,100,,,\n"
        'reading,1,map,end,limpet,2026-05-16,09:01,90.5,,,"a ""b"", c"\n'
        "power_off,1,photo,,dunlin,,,3,2026-05-16T09:29,2026-05-16T09:31,\n"
    )


def test_elapsed_times_keep_their_form():
    session, _ = read(
        """
        event,device,elapsed_min,soc_pct
        reading,limpet,90,95
        reading,limpet,1:35:30,94
        reading,limpet,97.25,93
        reading,limpet,-0:05,100
        reading,limpet,100,92
        """,
        setup=None,
    )
    assert [line.split(",")[3] for line in log_text(session).splitlines()[1:]] == [
        "-0:05", "1:30", "1:35:30", "97.25", "1:40",
    ]  # fmt: skip
    assert_same(session, again(session, None))


def test_charging_and_odd_times_come_back():
    setup = SETUP.replace('start = "08:00"\n', "")
    session, _ = read(
        """
        event,device,elapsed_min,soc_pct,last_on
        charge_start,limpet,10,40,
        charge_end,limpet,20.125,60,
        charge_end,dunlin,5,100,
        charge_start,dunlin,30,,
        power_off,limpet,,,7.123456
        """,
        setup,
    )
    text = log_text(session)
    assert "charge_end,1,limpet,20.125,60," in text
    assert "power_off,1,limpet,,,7.123456" in text
    assert_same(session, again(session, setup))


def test_a_time_that_no_decimals_of_its_resolution_say_is_written_in_full():
    session, _ = read("event,device,elapsed_min,soc_pct\nreading,limpet,1.5,90\n", setup=None)
    frame = session.readings.assign(t_min=[1 / 3], t_resolution_min=[0.1])
    text = log_text(replace(session, readings=frame))
    assert text.splitlines()[1] == f"reading,1,limpet,{1 / 3!r},90"


def test_a_time_in_the_repeated_hour_is_written_with_its_offset():
    setup = SETUP.replace(
        'date = 2026-05-16\nstart = "08:00"',
        'date = 2026-10-24\nstart = "22:00"\ntimezone = "Europe/Brussels"',
    )
    session, _ = read(
        "event,device,clock,soc_pct,first_off\nreading,limpet,02:50,80,\nreading,limpet,02:05,70,\n"
        "power_off,dunlin,,,2026-10-25T02:30+01:00\n",
        setup,
    )
    text = log_text(session)
    assert "2026-10-25T02:50+02:00" in text
    assert "2026-10-25T02:05+01:00" in text
    assert "2026-10-25T02:30+01:00" in text
    assert_same(session, again(session, setup))


def test_a_start_without_a_date_is_written_with_clock_and_elapsed_time():
    setup = SETUP.replace("date = 2026-05-16\n", "")
    log = (
        "event,phase,device,clock,soc_pct,last_on\nphase_start,photo,,09:10,,\n"
        "reading,,limpet,09:20,80,\npower_off,,limpet,09:40,,09:38\n"
    )
    session, _ = read(log, setup)
    assert "reading,1,photo,inside,limpet,09:20,1:20,80," in log_text(session)
    assert_same(session, again(session, setup))


FREE = st.text(
    st.characters(exclude_categories=["Cs", "Cc"], exclude_characters="\ufeff"), max_size=8
)
RESOLVED = st.one_of(
    st.integers(-60, 600).map(lambda m: f"{'-' if m < 0 else ''}{abs(m) // 60}:{abs(m) % 60:02d}"),
    st.integers(0, 36_000).map(lambda s: f"{s // 3600}:{s // 60 % 60:02d}:{s % 60:02d}"),
)
CLOCKED = st.integers(0, 900).map(
    lambda m: f"2026-05-16T{(480 + m) // 60:02d}:{(480 + m) % 60:02d}"
)
SOC = st.one_of(st.integers(2, 100).map(str), st.integers(20, 1000).map(lambda i: f"{i / 10:.1f}"))


@st.composite
def logs(draw):
    """A log whose rows do not contradict each other: times noted one way, boundaries read once."""
    time = draw(st.sampled_from([("clock", CLOCKED), ("elapsed_min", RESOLVED)]))
    rows = []
    for phase in ("map", "photo"):
        for point in ("start", "end"):
            for device in ("limpet", "dunlin"):
                if draw(st.booleans()):
                    when = {time[0]: draw(time[1])} if draw(st.booleans()) else {}
                    rows.append({"event": "reading", "phase": phase, "point": point, **when,
                                 "device": device, "soc_pct": draw(SOC), "note": draw(FREE),
                                 "by": draw(FREE), "evidence": draw(FREE),
                                 "order": str(draw(st.integers(1, 9)))})  # fmt: skip
    more = {
        "tick": {"soc_pct": SOC},
        "incident": {"cause": FREE.map("x{}".format), "note": FREE},
        "temperature": {"temperature_c": st.just("35.5"), "note": FREE},
        "turn": {"part": st.just("call"), "duration_min": st.just("10"), "note": FREE},
    }
    for event in draw(st.lists(st.sampled_from(sorted(more)), max_size=4)):
        cells = {name: draw(values) for name, values in more[event].items()}
        rows.append(
            {"event": event, time[0]: draw(time[1]), "device": "limpet", "phase": "map", **cells}
        )
    for device in ("limpet", "dunlin"):
        kind = draw(st.sampled_from(["", "power_off", "still_on"]))
        if kind:
            rows.append({"event": kind, "device": device, time[0]: draw(time[1]), "phase": "photo",
                         "cause": draw(FREE) if kind == "power_off" else ""})  # fmt: skip
    rows.append(
        {"event": "charge_start", "device": "dunlin", time[0]: draw(time[1]), "soc_pct": "40"}
    )
    return rows


def text_of(rows):
    import csv
    import io

    names = list(dict.fromkeys(k for r in rows for k in r))
    stream = io.StringIO()
    writer = csv.DictWriter(stream, names, restval="")
    writer.writeheader()
    writer.writerows(rows)
    return stream.getvalue().encode()


@settings(max_examples=120, deadline=None)
@given(logs())
def test_any_session_comes_back_from_its_log(rows):
    session, _ = read(text_of(rows))
    assert_same(session, again(session, SETUP))


@settings(max_examples=40, deadline=None)
@given(logs())
def test_writing_twice_changes_nothing(rows):
    first = log_text(read(text_of(rows))[0])
    assert log_text(read(first.encode())[0]) == first


def test_a_log_may_be_written_without_a_setup_file(tmp_path):
    path = tmp_path / "x.csv"
    path.write_text("event,phase,point,device,elapsed_min,soc_pct\nreading,a,start,d,0:00,100\n")
    session, _ = read_record(path)
    with tempfile.TemporaryDirectory() as folder:
        other = Path(folder, "x.csv")
        other.write_text(log_text(session))
        assert_same(session, read_record(other)[0])
