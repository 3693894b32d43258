"""Scorecards: one row for each checkpoint, one column for each device, as people keep them."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.helpers.records import SETUP, errors, one_error, read

CARD = """
checkpoint;clock;Limpet 10;Dunlin 9
start;08:00;100;100 %
after Map and tide table;09:01;90;88,5%
photo;09:35;-;81
power off;;10:40;
last seen on;;10:38;
still on;;;yes
"""


def rows_of(session):
    frame = session.readings
    return list(zip(frame["device"], frame["phase"], frame["point"], frame["soc_pct"], strict=True))


def test_a_scorecard_with_a_setup_file():
    session, findings = read(CARD)
    assert session.form == "wide"
    assert rows_of(session) == [
        ("limpet", "map", "start", 100.0),
        ("dunlin", "map", "start", 100.0),
        ("limpet", "map", "end", 90.0),
        ("dunlin", "map", "end", 88.5),
        ("dunlin", "photo", "end", 81.0),
    ]
    assert session.readings["t_min"].tolist() == [0.0, 0.0, 61.0, 61.0, 95.0]
    assert session.readings["line"].tolist() == [2, 2, 3, 3, 4]
    offs = session.power_offs
    assert offs["device"].tolist() == ["limpet", "dunlin"]
    assert offs["noted_min"].tolist()[0] == 160.0
    assert offs["last_on_min"].tolist()[0] == 158.0
    assert offs["still_on"].tolist() == [False, True]
    assert [(f.rule, f.line, f.column, f.found) for f in findings] == [
        ("reading-missing", 4, "Limpet 10", "'-'")
    ]


def test_a_scorecard_alone_names_its_devices_and_phases():
    session, findings = read(
        """
        ;Limpet 10 (%);Dunlin 9
        start;100;100
        After Map;90;88
        Streamed lecture;80;79
        """,
        setup=None,
    )
    assert [d.id for d in session.devices] == ["Limpet 10", "Dunlin 9"]
    assert [d.position for d in session.devices] == [None, None]
    assert [p.id for p in session.phases] == ["Map", "Streamed lecture"]
    assert rows_of(session)[0] == ("Limpet 10", "Map", "start", 100.0)
    assert rows_of(session)[-1] == ("Dunlin 9", "Streamed lecture", "end", 79.0)
    assert np.isnan(session.readings["t_min"]).all()
    assert findings == ()


@pytest.mark.parametrize(
    ("name", "place"),
    [
        ("start", ("map", "start")),
        ("Start:", ("map", "start")),
        ("begin", ("map", "start")),
        ("start of photo", ("photo", "start")),
        ("before Quadrat photographs", ("photo", "start")),
        ("photo start", ("photo", "start")),
        ("photo", ("photo", "end")),
        ("PHOTO", ("photo", "end")),
        ("Quadrat-photographs", ("photo", "end")),
        ("snap", ("photo", "end")),
        ("after photo", ("photo", "end")),
        ("end of photo", ("photo", "end")),
        ("photo end", ("photo", "end")),
        ("end", ("photo", "end")),
        ("during photo", ("photo", "inside")),
        ("half-way through photo", ("photo", "inside")),
        ("photo middle", ("photo", "inside")),
    ],
)
def test_names_of_checkpoints(name, place):
    setup = SETUP.replace(
        'label = "Quadrat photographs"', 'label = "Quadrat photographs"\nactivity = "snap"'
    )
    session, _ = read(f"checkpoint,limpet\n{name},90\n", setup)
    assert rows_of(session) == [("limpet", *place, 90.0)]


def test_an_activity_of_two_phases_names_neither():
    setup = SETUP.replace("planned_min", 'activity = "same"\nplanned_min')
    error = one_error("checkpoint,limpet\nsame,90\n", setup)
    assert (error.rule, error.line, error.column, error.found) == (
        "checkpoint-unknown", 2, "checkpoint", "'same'",
    )  # fmt: skip


def test_a_column_phase_says_it_all():
    session, _ = read(
        "checkpoint,phase,limpet\nfirst look,map,100\nstart,photo,90\n"
        "half-way,photo,85\n,photo,80\n"
    )
    assert [r[1:3] for r in rows_of(session)] == [
        ("map", "end"), ("photo", "start"), ("photo", "inside"), ("photo", "end"),
    ]  # fmt: skip
    error = one_error("checkpoint,phase,limpet\nend,mpa,90\n")
    assert (error.rule, error.line, error.column) == ("checkpoint-unknown", 2, "phase")
    assert error.remedy.endswith("Did you mean 'map'?")


def test_a_table_of_times_needs_no_checkpoints():
    session, _ = read("elapsed_min;Limpet 10;Dunlin 9\n0;100;100\n30;95;94,5\n90;85;\n")
    assert rows_of(session) == [
        ("limpet", "map", "inside", 100.0),
        ("dunlin", "map", "inside", 100.0),
        ("limpet", "map", "inside", 95.0),
        ("dunlin", "map", "inside", 94.5),
        ("limpet", "photo", "inside", 85.0),
    ]
    assert session.readings["t_min"].tolist() == [0.0, 0.0, 30.0, 30.0, 90.0]


def test_notes_readers_and_runs_of_a_row_belong_to_its_readings():
    session, _ = read(
        "checkpoint,run,by,note,evidence,limpet\nstart,1,Wren,fog,cam 1,100\nstart,2,Teal,,,99\n"
    )
    assert session.readings["run"].tolist() == [1, 2]
    assert session.readings["by"].tolist() == ["Wren", "Teal"]
    assert session.readings["note"].tolist() == ["fog", ""]
    assert [r.number for r in session.runs] == [1, 2]


@pytest.mark.parametrize("word", ["off", "dead", "Dead", "power off", "empty"])
def test_found_off_at_a_checkpoint_is_when_it_was_first_seen_off(word):
    session, findings = read(
        f"checkpoint,clock,limpet\nstart,08:00,100\nmap,09:00,{word}\nphoto,09:30,{word}\n"
    )
    (off,) = session.power_offs.to_dict("records")
    assert (off["device"], off["phase"], off["first_off_min"]) == ("limpet", "map", 60.0)
    assert math.isnan(off["noted_min"])
    assert off["note"] == f"{word} at map"
    assert findings == ()
    session, _ = read(f"checkpoint,elapsed_min,limpet\nstart,0,100\nmap,1:05,{word}\n")
    assert session.power_offs["first_off_min"].tolist() == [65.0]
    session, _ = read(f"checkpoint,limpet\nstart,100\nmap,{word}\n")
    assert np.isnan(session.power_offs["first_off_min"]).all()


def test_times_in_rows_of_their_own_go_before_a_word_in_the_table():
    session, _ = read(
        "checkpoint,clock,limpet\nstart,08:00,100\nmap,09:00,dead\nfirst seen off,,08:57\n"
    )
    (off,) = session.power_offs.to_dict("records")
    assert (off["first_off_min"], off["phase"]) == (57.0, "")


def test_rows_with_what_is_known_of_the_end():
    session, _ = read(
        """
        checkpoint,phase,note,limpet,dunlin
        start,map,,100,100
        runtime,photo,,1:35,
        last seen %,,,3 %,
        still on,,at the stop,,09:40
        """
    )
    off, on = session.power_offs.to_dict("records")
    assert (off["noted_min"], off["soc_pct"], off["phase"]) == (95.0, 3.0, "photo")
    assert (on["still_on"], on["last_on_min"], on["note"]) == (True, 100.0, "at the stop")
    session, _ = read("checkpoint,limpet,dunlin\nstart,100,100\nstill on,no,x\npower off,95,\n")
    # in the order in which the card speaks of them
    assert session.power_offs["device"].tolist() == ["dunlin", "limpet"]
    assert session.power_offs["still_on"].tolist() == [True, False]
    assert session.power_offs["noted_min"].tolist()[1] == 95.0


def test_a_power_off_is_placed_after_the_last_reading_of_its_device():
    """23:00 to 13:00 next day: the row of power-offs comes last, yet 02:10 is in the night."""
    setup = SETUP.replace("08:00", "23:00")
    session, _ = read(
        "checkpoint,clock,limpet,dunlin\nstart,23:00,100,100\nmap,02:00,50,60\nphoto,08:00,,30\n"
        "end,13:00,,10\npower off,,02:10,\n",
        setup.replace('id = "photo"', 'id = "photo"\n[[phases]]\nid = "end"'),
    )
    assert session.power_offs["noted_min"].tolist() == [190.0]


def test_a_reading_missed_between_others_is_noted_but_not_the_blanks_after_the_last():
    _, findings = read("checkpoint,limpet,dunlin\nstart,100,100\nmap,,80\nphoto,70,\n")
    assert [(f.rule, f.line, f.column, f.found) for f in findings] == [
        ("reading-missing", 3, "limpet", "an empty cell")
    ]


@pytest.mark.parametrize(
    ("text", "rule", "line", "column", "found", "remedy"),
    [
        ("checkpoint,limpet\nmpa,90\n", "checkpoint-unknown", 2, "checkpoint", "'mpa'", "'map'?"),
        ("checkpoint,limpet\nmap,107\n", "cell-maximum", 2, "limpet", "'107'", "Correct the"),
        ("checkpoint,limpet\nmap,1.2.3\n", "cell-type", 2, "limpet", "'1.2.3'", "Correct the"),
        ("checkpoint,limpet\nmap,lots\n", "cell-type", 2, "limpet", "'lots'", "name it phase"),
        ("checkpoint,limpet\nmap,9O%\n", "cell-type", 2, "limpet", "'9O'", "Correct the"),
        ("checkpoint,limpit\nmap,90\n", "device-unknown", 1, "limpit", "'limpit'", "Did you mean"),
        ("checkpoint,limpet,Limpet 10\nmap,90,90\n", "column-twice", 1, "Limpet 10",
         "a second column for the device 'limpet'", "rename"),
        ("checkpoint,limpet\nmap,90\npower off,soon\n", "cell-time", 3, "limpet", "'soon'", "time"),
        ("checkpoint,limpet\nmap,90\nruntime,soon\n", "cell-time", 3, "limpet", "'soon'",
         "minutes"),
        ("checkpoint,limpet\nmap,90\nlast seen on,10:41\nfirst seen off,10:40\n", "off-order", 3,
         "limpet", "'10:41'", "one of the two"),
        ("checkpoint,clock,limpet\nmap,9 am,90\n", "cell-pattern", 2, "clock", "'9 am'", "colon"),
        ("checkpoint,run,limpet\nmap,one,90\n", "cell-type", 2, "run", "'one'", "Number the runs"),
        ("checkpoint,limpet\nmap,90\nmap,89\n", "reading-twice", 3, "limpet", "a second reading",
         "'inside'"),
        ("checkpoint,limpet\nstart,1\nmap,0.9\nphoto,0.8\n", "soc-fraction", 3, "limpet", "'0.9'",
         "not fractions of one"),
        ("checkpoint\nmap\n", "scorecard-columns", 1, "", "'checkpoint'", "separator"),
    ],
)  # fmt: skip
def test_every_fault_names_the_line_and_column_of_the_scorecard(
    text, rule, line, column, found, remedy
):
    error = one_error(text)
    assert (error.rule, error.line, error.column) == (rule, line, column)
    assert found in error.found
    assert remedy in error.remedy


def test_one_wrong_clock_time_is_told_once_not_for_every_device():
    setup = SETUP.replace('start = "08:00"\n', "")
    error = one_error("checkpoint,clock,limpet,dunlin\nmap,09:00,90,91\n", setup)
    assert (error.rule, error.line, error.column) == ("clock-no-start", 2, "clock")
    told = errors(
        "checkpoint,clock,limpet,dunlin\nmap,13:00,90,91\n,18:00,80,81\n,22:30,70,71\n,08:10,60,61\n"
    )
    assert [(e.rule, e.line, e.column) for e in told] == [("clock-which-day", 5, "clock")]


def test_a_heading_event_above_checkpoints_is_a_scorecard():
    session, _ = read("event,Limpet 10,Dunlin 9\nstart,100,100\n")
    assert session.form == "wide"


def test_a_scorecard_without_readings_is_empty():
    assert [e.rule for e in errors("checkpoint,limpet\nstart,\n")] == ["log-empty"]


NAMES = ["start", "map", "after photo", "power off", "last seen on", "first seen off", "still on",
         "runtime", "last %", "", "what", "photo end"]  # fmt: skip
CELL = st.sampled_from(
    ["", "-", "dead", "off", "90", "87 %", "87,5", "1.5", "09:00", "x", "yes", "no"]
)


@settings(max_examples=150, deadline=None)
@given(
    st.lists(st.tuples(st.sampled_from(NAMES), CELL, CELL, CELL), min_size=1, max_size=8),
    st.sampled_from([None, SETUP]),
    st.sampled_from(["clock", "elapsed_min", "phase", "dunlin"]),
)
def test_any_scorecard_is_read_or_told(rows, setup, second):
    text = f"checkpoint;{second};limpet;Dunlin 9\n" + "".join(";".join(r) + "\n" for r in rows)
    told = errors(text, setup)
    assert all(f.file == "log.csv" and f.remedy for f in told)
    if not told:
        session, _ = read(text, setup)
        assert set(session.readings["line"]) <= set(range(2, len(rows) + 2))


def test_a_phase_that_no_checkpoint_names_is_told_without_naming_a_file_that_is_not_there():
    card = "checkpoint;phase;Limpet 10\nstart;map;100\nafter map;map;90\npower off;photo;10:40\n"
    finding = one_error(card, None)
    assert finding.rule == "phase-unknown"
    assert finding.expected == "one of the phases: map"
    assert finding.remedy.startswith("Correct the id, or add it to [[phases]] of a setup file.")
