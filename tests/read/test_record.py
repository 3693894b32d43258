"""Whole records: what they become, and everything that can be wrong with them, told at once."""

import math
import subprocess
import sys
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pandas as pd
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from kit.errors import RecordError, UsageError
from kit.read.record import read_record
from kit.session import FRAME_COLUMNS, empty_frames
from tests.helpers.files import ROOT
from tests.helpers.records import SETUP, errors, one_error, read, written

LOG = """
event,phase,point,device,clock,soc_pct,order,last_on,first_off,temperature_c,by,evidence,note
reading,map,start,limpet,08:00,100,1,,,,Wren,cam 00:10,
reading,map,start,dunlin,08:00,100,2,,,,Wren,cam 00:14,
phase_end,map,,,09:00,,,,,,,,
reading,map,end,limpet,09:01,90,2,,,,Wren,,
reading,map,end,dunlin,09:00,88.5,1,,,,Wren,,second look
phase_start,photo,,,09:05,,,,,,,,
temperature,,,,09:10,,,,,21.5,,,
temperature,photo,,limpet,09:20,,,,,35.2,,,
tick,photo,,limpet,09:22,84,,,,,,,
power_off,photo,,dunlin,09:31,3,,09:29,09:31,,Teal,cam 01:31,
still_on,photo,,limpet,09:40,70,,,,,,,
"""


def test_a_reading_on_a_boundary_that_does_not_say_so_is_told():
    """photo runs from 09:05 (65 min) to its planned end, 95 min; map ends at 09:00."""
    log = LOG + "".join(
        f"reading,{phase},,limpet,{clock},89,,,,,,,\n"
        for phase, clock in (("map", "09:00"), ("map", "08:59"), ("photo", "09:05"), ("", "09:35"))
    )
    session, findings = read(log)
    told = [(f.rule, f.line, f.phase, f.severity) for f in findings]
    assert told == [("point-open", 13, "map", "note"), ("point-open", 15, "photo", "note")]
    assert session.readings["point"].tolist()[-4:] == ["inside"] * 4


@pytest.mark.parametrize("setup", ['[session]\ntitle = "Mud\n', "[session]\ntitle = '\udcfc'\n"])
def test_a_setup_file_that_cannot_be_read_is_told_alone(tmp_path, setup):
    """What the log would lack stands in it, unread: faults of the log would only mislead."""
    (tmp_path / "log.csv").write_text(LOG.lstrip(), encoding="utf-8")
    (tmp_path / "session.toml").write_bytes(setup.encode("utf-8", "surrogateescape"))
    with pytest.raises(RecordError) as caught:
        read_record(tmp_path)
    assert [(f.file, f.line) for f in caught.value.findings] == [("session.toml", 2)]


def test_a_small_record():
    session, findings = read(LOG)
    assert findings == ()
    assert (session.id, session.title, session.form, session.has_setup) == (
        "day",
        "day",
        "long",
        True,
    )
    assert [d.label for d in session.devices] == ["Limpet 10", "Dunlin 9"]
    assert session.runs[0].start == datetime(2026, 5, 16, 8, 0)
    readings = session.readings
    assert readings["t_min"].tolist() == [0.0, 0.0, 61.0, 60.0, 82.0]
    assert readings["soc_pct"].tolist() == [100.0, 100.0, 90.0, 88.5, 84.0]
    assert readings["kind"].tolist() == ["reading"] * 4 + ["tick"]
    # the tick has no point: it has a time in a phase, hence it is inside
    assert readings["point"].tolist() == ["start", "start", "end", "end", "inside"]
    assert readings["order"].tolist() == [1, 2, 2, 1, 0]
    assert readings["line"].tolist() == [2, 3, 5, 6, 10]
    assert readings["note"].tolist() == ["", "", "", "second look", ""]
    spans = session.spans
    # map: 08:00 (the start of the session) to 09:00; photo: 09:05, planned 30 min
    assert spans["start_min"].tolist() == [0.0, 65.0]
    assert spans["end_min"].tolist() == [60.0, 95.0]
    assert spans["end_source"].tolist() == ["clock", "planned"]
    assert spans["line"].tolist() == [4, 7]
    offs = session.power_offs
    assert offs["device"].tolist() == ["dunlin", "limpet"]
    assert offs["still_on"].tolist() == [False, True]
    assert offs["noted_min"].tolist()[0] == 91.0
    assert math.isnan(offs["noted_min"].tolist()[1])
    assert offs["last_on_min"].tolist() == [89.0, 100.0]
    assert offs["first_off_min"].tolist()[0] == 91.0
    assert offs["soc_pct"].tolist() == [3.0, 70.0]
    assert session.temperatures["device"].tolist() == ["", "limpet"]
    assert session.temperatures["t_min"].tolist() == [70.0, 80.0]
    assert session.temperatures["temperature_c"].tolist() == [21.5, 35.2]


def test_all_frames_have_the_columns_and_types_of_the_contract():
    session, _ = read(LOG)
    for name, columns in FRAME_COLUMNS.items():
        frame = getattr(session, name)
        assert tuple(frame.columns) == columns
        assert frame.dtypes.to_dict() == empty_frames()[name].dtypes.to_dict(), name


def test_a_log_alone_gives_a_session_in_which_nothing_else_is_recorded():
    session, findings = read(LOG, setup=None, name="my day.csv")
    assert (session.id, session.has_setup, session.date) == ("my day", False, None)
    assert [d.id for d in session.devices] == ["limpet", "dunlin"]
    assert [p.id for p in session.phases] == ["map", "photo"]
    assert session.phases[0].planned_min is None
    assert session.conditions == {}
    assert session.runs[0].start == datetime(1, 1, 1, 8, 0)
    assert [f.rule for f in findings] == ["start-from-log"]
    assert findings[0].line == 2
    # photo began at 09:05 and its end was neither noted nor planned nor read
    assert session.spans["duration_min"].tolist()[0] == 60.0
    assert math.isnan(session.spans["duration_min"].tolist()[1])


def test_phases_of_a_log_alone_are_as_long_as_their_readings_are_apart():
    session, _ = read(
        """
        event,phase,point,device,elapsed_min,soc_pct
        reading,a,start,x,0,100
        reading,a,end,x,61,90
        reading,a,end,y,60,88
        reading,b,start,x,65,90
        reading,b,end,x,95,80
        """,
        setup=None,
    )
    assert session.spans["start_min"].tolist() == [0.0, 65.0]
    assert session.spans["end_min"].tolist() == [60.0, 95.0]
    assert session.spans["end_source"].tolist() == ["reading", "reading"]


def test_a_reading_without_phase_is_put_into_the_phase_that_went_on():
    session, _ = read(
        """
        event,device,phase,clock,elapsed_min,soc_pct
        phase_start,,photo,,70,
        reading,limpet,,,30,95
        reading,limpet,,,65,90
        reading,limpet,,,70,90
        reading,limpet,photo,,71,89
        reading,limpet,,,101,80
        """
    )
    # map 0 to 60 (planned), photo 70 to 100: 65 and 101 lie in none
    assert session.readings["phase"].tolist() == ["map", "", "photo", "photo", ""]
    assert session.readings["point"].tolist() == ["inside", "", "inside", "inside", ""]


def test_phase_times_may_stand_in_the_setup_file_and_the_log_goes_first():
    setup = SETUP.replace(
        "planned_min = 60\n", 'planned_min = 60\nstart = "08:02"\nend = "09:03"\n'
    )
    session, _ = read("event,phase,device,clock,soc_pct\nphase_end,map,,09:05,\n", setup)
    assert session.spans["start_min"].tolist()[0] == 2.0
    assert session.spans["end_min"].tolist()[0] == 65.0
    found = errors("event,note\nnote,x\n", setup.replace('start = "08:00"\n', ""))
    assert {(f.rule, f.file, f.column) for f in found} == {
        ("clock-no-start", "session.toml", "phases[1].start"),
        ("clock-no-start", "session.toml", "phases[1].end"),
    }
    assert [f.line for f in found] == [18, 19]


def test_runs_have_their_own_clocks():
    setup = SETUP.replace('start = "08:00"\n', "") + (
        '[[runs]]\nnumber = 1\ndate = 2026-05-16\nstart = "08:00"\n'
        '[[runs]]\nnumber = 2\ndate = 2026-05-17\nstart = "10:00"\nstop = "11:00"\n'
        'stated_elapsed = "1:00"\n'
    )
    session, _ = read(
        """
        event,run,phase,point,device,clock,soc_pct
        reading,1,map,start,limpet,08:00,100
        reading,1,map,end,limpet,09:00,90
        reading,2,map,start,limpet,10:00,100
        reading,2,map,end,limpet,11:00,91
        power_off,2,,,limpet,11:01,
        power_off,1,,,limpet,09:10,
        """,
        setup,
    )
    assert session.readings["run"].tolist() == [1, 1, 2, 2]
    assert session.readings["t_min"].tolist() == [0.0, 60.0, 0.0, 60.0]
    assert session.power_offs["noted_min"].tolist() == [61.0, 70.0]
    assert [r.start for r in session.runs] == [datetime(2026, 5, 16, 8), datetime(2026, 5, 17, 10)]
    assert (session.runs[1].stop_min, session.runs[1].stated_elapsed_min) == (60.0, 60.0)
    assert session.spans["run"].tolist() == [1, 1, 2, 2]


def test_through_midnight_and_a_change_of_the_clocks():
    setup = SETUP.replace(
        'date = 2026-05-16\nstart = "08:00"',
        'date = 2026-10-24\nstart = "22:00"\nstop = "04:30"\ntimezone = "Europe/Brussels"',
    )
    session, _ = read(
        """
        event,phase,device,clock,soc_pct,last_on,first_off
        reading,,limpet,23:30,95,,
        reading,,limpet,02:50,80,,
        reading,,limpet,02:05,70,,
        power_off,,dunlin,,,03:58,04:02
        power_off,,limpet,04:10,,03:59,
        """,
        setup,
    )
    # 1:30; 4:50; an hour later than it looks 5:05; 22:00 to 03:58 are 6:58 on the stopwatch
    assert session.readings["t_min"].tolist() == [90.0, 290.0, 305.0]
    assert session.power_offs["last_on_min"].tolist() == [418.0, 419.0]
    assert session.power_offs["first_off_min"].tolist()[0] == 422.0
    assert session.power_offs["noted_min"].tolist()[1] == 430.0
    assert session.runs[0].start == datetime(2026, 10, 24, 22, tzinfo=ZoneInfo("Europe/Brussels"))
    assert session.runs[0].stop_min == 450.0


def test_the_stop_is_that_after_the_last_row():
    setup = SETUP.replace('start = "08:00"', 'start = "08:00"\nstop = "10:00"')
    log = "event,device,elapsed_min,soc_pct\nreading,limpet,{},90\nstill_on,dunlin,,\n"
    session, _ = read(log.format(60), setup)
    assert session.runs[0].stop_min == 120.0
    assert session.power_offs["last_on_min"].tolist() == [120.0]
    session, _ = read(log.format(1500), setup)
    assert session.runs[0].stop_min == 1560.0


@pytest.mark.parametrize(
    ("start", "first", "begin"),
    [
        ("08:00", "2026-05-16T08:30", datetime(2026, 5, 16, 8)),
        ("23:00", "2026-05-16T00:10", datetime(2026, 5, 15, 23)),
    ],
)
def test_the_date_may_be_known_from_the_log_only(start, first, begin):
    setup = SETUP.replace("date = 2026-05-16\n", "").replace("08:00", start)
    session, _ = read(f"event,device,clock,soc_pct\nreading,limpet,{first},90\n", setup)
    assert session.runs[0].start == begin
    assert session.date == begin.date()
    assert session.readings["t_min"].tolist() == [30.0 if start == "08:00" else 70.0]


def test_charging_between_phases_is_paired_per_device():
    session, _ = read(
        """
        event,device,clock,soc_pct
        charge_end,dunlin,07:50,100
        charge_start,limpet,09:00,40
        charge_start,dunlin,09:10,
        charge_end,limpet,09:20,55
        charge_start,limpet,09:30,50
        """
    )
    frame = session.charges
    assert frame["device"].tolist() == ["dunlin", "limpet", "dunlin", "limpet"]
    assert [None if math.isnan(x) else x for x in frame["start_min"]] == [None, 60.0, 70.0, 90.0]
    assert [None if math.isnan(x) else x for x in frame["end_min"]] == [-10.0, 80.0, None, None]
    assert [None if math.isnan(x) else x for x in frame["soc_pct"]] == [100.0, 55.0, None, 50.0]


def test_turns_incidents_and_temperatures_in_other_rows():
    session, _ = read(
        """
        event,phase,device,clock,part,duration_min,completed,cause,evidence,temperature_c,soc_pct,note
        turn,map,limpet,08:10,call,10,partly,,,,,broke off
        turn,map,dunlin,,guide,,no,,,,,
        incident,map,dunlin,08:30,,,,swelling,photo 7,48.5,,
        reading,,limpet,08:40,,,,,,36,95,
        """
    )
    turns = session.turns
    assert turns["activity"].tolist() == ["call", "guide"]
    assert turns["end_min"].tolist()[0] == 20.0
    assert math.isnan(turns["end_min"].tolist()[1])
    assert turns["completed"].tolist() == ["partly", "no"]
    assert session.incidents.drop(columns="line").to_dict("records") == [
        {"run": 1, "device": "dunlin", "phase": "map", "t_min": 30.0, "cause": "swelling",
         "evidence": "photo 7", "note": ""}
    ]  # fmt: skip
    assert session.temperatures["temperature_c"].tolist() == [48.5, 36.0]


def test_a_missing_reading_is_noted_with_its_reason():
    session, findings = read(
        "event,phase,point,device,soc_pct,note\n"
        "reading,map,end,limpet,,screen locked\nreading,map,end,dunlin,80,\n"
    )
    assert session.readings["device"].tolist() == ["dunlin"]
    assert [(f.rule, f.severity, f.line, f.device) for f in findings] == [
        ("reading-missing", "note", 2, "limpet")
    ]
    assert "'screen locked'" in findings[0].found


def test_notes_of_the_operator_are_passed_on():
    _, findings = read("event,device,clock,note\nnote,,09:00,<b>window opened</b>\n")
    assert [(f.rule, f.severity, f.found) for f in findings] == [
        ("operator-note", "note", "'<b>window opened</b>'")
    ]


def test_what_is_not_read_is_told():
    _, findings = read(
        "event,phase,clock,soc_pct,Batterie,Device \nphase_end,map,09:00,80,x,\n"
        "phase_end,photo,10:00,70,,\n"
    )
    assert [(f.rule, f.line, f.column) for f in findings] == [
        ("column-unknown", 1, "Batterie"),
        ("column-name", 1, "Device"),
        ("cell-unused", 2, "soc_pct"),
    ]
    assert findings[2].found == "'80' in a row of phase_end, and 1 more like it"


def test_blanks_around_ids_are_stripped_and_told_once():
    session, findings = read(
        "event,phase,point,device,soc_pct\nreading,map,start, limpet,100\n"
        "reading,map,end,limpet ,90\nreading , map,start,dunlin,100\n"
    )
    assert session.readings["device"].tolist() == ["limpet", "limpet", "dunlin"]
    assert [(f.rule, f.line, f.column) for f in findings] == [
        ("cell-blanks", 2, "device"),
        ("cell-blanks", 4, "phase"),
    ]
    assert findings[0].found == "blanks around the id in ' limpet' and in 1 more rows"


def test_clock_and_elapsed_that_disagree_are_a_caution_with_the_worst_row():
    _, findings = read(
        "event,device,clock,elapsed_min,soc_pct\nreading,limpet,09:00,60,90\n"
        "reading,limpet,09:30,95,80\nreading,limpet,10:00,140,70\n"
    )
    assert len(findings) == 1
    found = findings[0]
    assert (found.rule, found.severity, found.line) == ("clock-elapsed", "caution", 4)
    # 10:00 is 120 min; 140 noted: the clock time is 20 min earlier. 09:30 is 5 min off, too
    assert "20 min earlier; 1 more rows disagree" in found.found


HOSTILE = [
    "<script>alert(1)</script>", '=HYPERLINK("http://x")', '#read("x")', "**x**", "\u202eabc\u202c",
    "עברית", "🦀🦀", "y" * 300, "a,b;c", 'say "x"', "{{x}}", "\\n", "$x$",
]  # fmt: skip


@pytest.mark.parametrize("text", HOSTILE)
def test_texts_of_the_record_are_kept_as_they_are(text):
    cell = '"' + text.replace('"', '""') + '"'
    session, _ = read(
        "event,phase,point,device,soc_pct,note,by,evidence\n"
        f"reading,{cell},start,{cell},100,{cell},{cell},{cell}\n",
        setup=None,
    )
    assert session.devices[0].id == session.devices[0].label == session.phases[0].id == text
    row = session.readings.iloc[0]
    assert [row[c] for c in ("phase", "device", "note", "by", "evidence")] == [text] * 5


# ------------------------------------------------------------------------ errors, one by one

HEAD = "event,run,phase,point,device,date,clock,elapsed_min,soc_pct,last_on,first_off,part,cause\n"


def row(event, **cells):
    names = HEAD.strip().split(",")[1:]
    assert set(cells) <= set(names)
    return ",".join([event, *(str(cells.get(n, "")) for n in names)]) + "\n"


GOOD_ROW = row("reading", phase="map", point="start", device="limpet", soc_pct=100)


@pytest.mark.parametrize(
    ("line", "rule", "column", "found", "remedy"),
    [
        (row("redaing"), "cell-enum", "event", "'redaing'", "Did you mean 'reading'?"),
        (row("", device="limpet"), "cell-required", "event", "an empty cell", "one of these words"),
        (row("reading", phase="mpa", point="end", device="limpet", soc_pct=9), "phase-unknown",
         "phase", "'mpa'", "Did you mean 'map'?"),
        (row("reading", phase="map", point="end", device="limpit", soc_pct=9), "device-unknown",
         "device", "'limpit'", "Did you mean 'limpet'?"),
        (row("reading", phase="map", point="middle", device="limpet", soc_pct=9), "cell-enum",
         "point", "'middle'", "leave the cell blank"),
        (row("reading", phase="map", point="end", device="limpet", soc_pct=107), "cell-maximum",
         "soc_pct", "'107'", "leave the cell empty if none was taken"),
        (row("reading", phase="map", point="end", device="limpet", soc_pct=-1), "cell-minimum",
         "soc_pct", "'-1'", "Correct the reading"),
        (row("reading", phase="map", point="end", device="limpet", soc_pct="87 %"), "cell-type",
         "soc_pct", "'87 %'", "Correct the reading"),
        (row("reading", phase="map", point="start", device="limpet", soc_pct=99), "reading-twice",
         "point", "a second reading of 'limpet' at the start of 'map'", "'inside'"),
        (row("reading", phase="map", point="end", soc_pct=9), "cell-missing", "device",
         "an empty cell", "Fill device in"),
        (row("reading", phase="map", device="limpet", soc_pct=9), "cell-missing", "point",
         "an empty cell", "point of the phase"),
        (row("reading", device="limpet", soc_pct=9), "cell-missing", "phase", "an empty cell",
         "Fill in phase and point"),
        (row("reading", point="end", clock="09:00", device="limpet", soc_pct=9), "cell-missing",
         "phase", "an empty cell", "Fill the phase in"),
        (row("tick", device="limpet", soc_pct=9), "cell-missing", "clock", "an empty cell",
         "clock or elapsed_min"),
        (row("tick", device="limpet", clock="09:00"), "cell-missing", "soc_pct", "an empty cell",
         "Fill soc_pct in"),
        (row("power_off", device="limpet"), "cell-missing", "clock", "an empty cell",
         "Fill in what is known"),
        (row("power_off", clock="09:00"), "cell-missing", "device", "an empty cell", "Fill device"),
        (row("phase_start", clock="09:00"), "cell-missing", "phase", "an empty cell", "Fill phase"),
        (row("phase_end", phase="map"),
         "cell-missing", "clock", "an empty cell", "clock or elapsed"),
        (row("turn", phase="map", device="limpet"),
         "cell-missing", "part", "an empty cell", "part"),
        (row("charge_start", clock="09:00"), "cell-missing", "device", "an empty cell", "device"),
        (row("temperature", device="limpet"), "cell-missing", "temperature_c", "an empty cell",
         "Fill temperature_c in"),
        (row("incident", device="limpet"), "cell-missing", "cause", "an empty cell", "cause"),
        (row("note"), "cell-missing", "note", "an empty cell", "Fill note in"),
        (row("tick", device="limpet", soc_pct=9, clock="25:00"), "cell-pattern", "clock", "'25:00'",
         "elapsed_min"),
        (row("tick", device="limpet", soc_pct=9, clock="13:05 PM"), "cell-time", "clock",
         "'13:05 PM'", "with a colon"),
        (row("tick", device="limpet", soc_pct=9, elapsed_min="x"), "cell-pattern", "elapsed_min",
         "'x'", "number of minutes"),
        (row("tick", device="limpet", soc_pct=9, elapsed_min="1e9"), "cell-time", "elapsed_min",
         "'1e9'", "number of minutes"),
        (row("tick", device="limpet", soc_pct=9, clock="09:00", date="16/5/2026"), "cell-pattern",
         "date", "'16/5/2026'", "year-month-day"),
        (row("tick", device="limpet", soc_pct=9, clock="09:00", date="2026-02-30"), "cell-date",
         "date", "'2026-02-30'", "Correct the date"),
        (row("tick", device="limpet", soc_pct=9, clock="2026-05-16T09:00", date="2026-05-17"),
         "cell-date", "date", "'2026-05-17'", "leave the date blank"),
        (row("tick", device="limpet", soc_pct=9, clock="2026-05-16T09:00+02:00"), "clock-no-zone",
         "clock", "+02:00", "timezone in session.toml"),
        (row("tick", device="limpet", soc_pct=9, clock="09:00", date="2026-05-15"), "time-outside",
         "clock", "1380 min before the start", "the start of the run"),
        (row("reading", run="x", phase="map", point="end", device="limpet", soc_pct=9), "cell-type",
         "run", "'x'", "1, 2, 3"),
        (row("power_off", device="limpet", last_on="9.15", first_off="x"), "cell-pattern",
         "first_off", "'x'", "minutes since the start"),
        (row("power_off", device="limpet", last_on="09:31", first_off="09:30"), "off-order",
         "last_on", "last seen on at '09:31', first seen off at '09:30'", "one of the two"),
        (row("power_off", device="limpet", last_on="09:31", clock="09:30"), "off-order",
         "last_on", "last seen on at '09:31', noted off at '09:30'", "one of the two"),
        (row("power_off", device="limpet", last_on="91", elapsed_min="90"), "off-order",
         "last_on", "last seen on at '91', noted off at '90'", "one of the two"),
    ],
)  # fmt: skip
def test_every_fault_names_line_column_value_and_how_to_mend_it(line, rule, column, found, remedy):
    error = one_error(HEAD.replace("cause", "cause,temperature_c,note") + GOOD_ROW + line)
    assert (error.rule, error.file, error.line, error.column) == (rule, "log.csv", 3, column)
    assert found in error.found
    assert error.expected
    assert remedy in error.remedy


@pytest.mark.parametrize(
    ("lines", "rule", "at", "column", "found", "other"),
    [
        (row("power_off", device="limpet", clock="09:00")
         + row("power_off", device="limpet", clock="09:10"),
         "off-twice", 3, "event", "a second power_off of 'limpet' in run 1", "line 2"),
        (row("power_off", device="limpet", clock="09:00")
         + row("still_on", device="limpet", clock="09:10"),
         "off-twice", 3, "event", "a second still_on of 'limpet'", "line 2"),
        (row("phase_start", phase="map", clock="08:00")
         + row("phase_start", phase="map", clock="08:10"),
         "phase-twice", 3, "event", "a second phase_start of 'map'", "line 2"),
        (row("phase_start", phase="map", clock="08:10")
         + row("phase_end", phase="map", clock="08:05"),
         "phase-order", 2, "phase",
         "ends 5 min after the start and starts 10 min after the start", "after"),
        (row("phase_end", phase="map", clock="09:00")
         + row("phase_start", phase="photo", clock="08:50"),
         "phase-overlap", 3, "phase", "starts 50 min after the start", "'map', 60 min after"),
        (row("charge_start", device="limpet", clock="09:00")
         + row("charge_end", device="limpet", clock="08:50"),
         "charge-order", 3, "event", "ends before it starts", "line 2"),
        (row("reading", phase="map", point="start", device="limpet", soc_pct=1)
         + row("reading", phase="map", point="end", device="limpet", soc_pct=0.87)
         + row("reading", phase="photo", point="end", device="limpet", soc_pct=0.5),
         "soc-fraction", 3, "soc_pct", "'0.87'", "0 to 100"),
    ],
)  # fmt: skip
def test_rows_that_contradict_each_other(lines, rule, at, column, found, other):
    error = one_error(HEAD + lines)
    assert (error.rule, error.line, error.column) == (rule, at, column)
    assert found in error.found
    assert other in error.expected
    assert error.remedy.endswith(".")


def test_clock_times_without_a_start_are_one_error():
    setup = SETUP.replace('start = "08:00"\n', "")
    error = one_error(
        "event,device,clock,soc_pct\nreading,limpet,09:00,90\nreading,limpet,09:10,89\n", setup
    )
    assert (error.rule, error.line, error.column) == ("clock-no-start", 2, "clock")
    assert error.found == "'09:00' and 1 more clock times"
    assert 'start = "08:00"' in error.remedy
    # the start of the first phase will do
    session, findings = read(
        "event,phase,device,clock,soc_pct\nphase_start,map,,08:30,\nreading,,limpet,09:00,90\n",
        setup,
    )
    assert session.readings["t_min"].tolist() == [30.0]
    assert session.runs[0].start == datetime(2026, 5, 16, 8, 30)
    assert [f.rule for f in findings] == ["start-from-log"]


def test_limits_of_a_power_off_without_a_start():
    setup = SETUP.replace('start = "08:00"\n', "")
    error = one_error("event,device,elapsed_min,last_on\npower_off,limpet,90,09:28\n", setup)
    assert (error.rule, error.line, error.column) == ("clock-no-start", 2, "last_on")


@pytest.mark.parametrize(
    ("date", "clock", "rule"),
    [("2026-03-28", "02:30", "clock-skipped"), ("2026-10-24", "02:30", "clock-repeated")],
)
def test_times_that_never_were_or_came_twice(date, clock, rule):
    setup = SETUP.replace(
        'date = 2026-05-16\nstart = "08:00"',
        f'date = {date}\nstart = "22:00"\ntimezone = "Europe/Brussels"',
    )
    error = one_error(f"event,device,clock,soc_pct\nreading,limpet,{clock},90\n", setup)
    assert (error.rule, error.line, error.column, error.found) == (rule, 2, "clock", "'02:30'")
    assert "offset" in error.remedy


def test_a_row_that_may_be_of_two_days_is_an_error():
    error = one_error(
        "event,device,clock,soc_pct\nreading,limpet,13:00,90\nreading,limpet,18:00,80\n"
        "reading,limpet,22:30,70\nreading,limpet,08:10,60\n"
    )
    assert (error.rule, error.line, error.column) == ("clock-which-day", 5, "clock")
    assert "date column" in error.remedy


@pytest.mark.parametrize(
    ("start", "date", "found"),
    [
        ("02:30", "2026-03-29", "did not exist"),
        ("02:30", "2026-10-25", "came twice"),
        ("2026-05-16T08:00+05:00", "2026-05-16", "an offset of +05:00"),
        ("2026-05-16T08:00-02:30", "2026-05-16", "an offset of −02:30"),
    ],
)
def test_a_start_that_does_not_fit_the_time_zone(start, date, found):
    setup = SETUP.replace(
        'date = 2026-05-16\nstart = "08:00"',
        f'date = {date}\ntimezone = "Europe/Brussels"\nstart = "{start}"',
    )
    error = one_error("event,note\nnote,x\n", setup)
    assert (error.rule, error.file, error.line) == ("start-zone", "session.toml", 6)
    assert error.column == "session.start"
    assert found in error.found
    assert "2026-05-16T08:00+01:00" in error.remedy


def test_a_start_with_offset_settles_what_the_clock_leaves_open():
    setup = SETUP.replace(
        'date = 2026-05-16\nstart = "08:00"',
        'timezone = "Europe/Brussels"\nstart = "2026-10-25T02:30+01:00"',
    )
    session, _ = read("event,device,clock,soc_pct\nreading,limpet,04:00,90\n", setup)
    assert session.readings["t_min"].tolist() == [90.0]
    assert session.runs[0].start.utcoffset().total_seconds() == 3600
    # without a time zone, the offset itself is one
    session, _ = read(
        "event,device,clock,soc_pct\nreading,limpet,2026-10-25T04:00+02:00,90\n",
        setup.replace('timezone = "Europe/Brussels"\n', ""),
    )
    assert session.readings["t_min"].tolist() == [30.0]


def test_an_unknown_run_is_told_if_the_runs_are_listed():
    setup = SETUP.replace('start = "08:00"\n', "") + "[[runs]]\nnumber = 2\n"
    found = errors("event,run,note\nnote,2,a\nnote,3,b\nnote,,c\n", setup)
    assert [(f.rule, f.line, f.column) for f in found] == [
        ("run-unknown", 3, "run"),
        ("run-unknown", 4, "run"),
    ]
    assert found[1].found == "run 1 (the cell is blank)"
    assert found[0].expected == "a run of [[runs]] in session.toml: 2"


def test_parts_and_devices_that_the_other_file_does_not_know():
    setup = (
        '[[phases]]\nid = "p"\nkind = "crossover"\nparts = ["stream", "forms"]\n'
        'first_half = ["limpit"]\n[claims]\ndeclared_comparison = ["limpet", "dnulin"]\n'
    )
    found = errors("event,phase,device,part\nturn,p,limpet,streem\nturn,p,dunlin,forms\n", setup)
    assert [(f.file, f.line, f.column, f.rule) for f in found] == [
        ("log.csv", 2, "part", "part-unknown"),
        ("session.toml", 5, "phases[1].first_half", "setup-device"),
        ("session.toml", 7, "claims.declared_comparison", "setup-device"),
    ]
    assert [f.remedy.split("mean ")[1] for f in found] == ["'stream'?", "'limpet'?", "'dunlin'?"]


def test_a_phase_read_before_its_planned_end_is_a_caution_in_the_file_that_says_so():
    _, findings = read("event,phase,point,device,clock,soc_pct\nreading,map,end,limpet,08:40,90\n")
    assert [(f.rule, f.severity, f.file, f.column) for f in findings] == [
        ("phase-read-early", "caution", "session.toml", "phases[1]")
    ]


def test_everything_wrong_in_both_files_is_told_at_once():
    setup = SETUP.replace('label = "Limpet 10"', 'lable = "Limpet 10"').replace(
        "planned_min = 60", 'planned_min = "1 h"'
    )
    with pytest.raises(RecordError) as caught:
        read(
            "event,phase,point,device,soc_pct,extra\n"
            "reading,map,start,limpit,101,x\nredaing,,,,,\nreading,mop,end,dunlin,9,\n",
            setup,
        )
    found = caught.value.findings
    assert [(f.severity, f.file, f.line, f.column) for f in found] == [
        ("error", "log.csv", 2, "device"),
        ("error", "log.csv", 2, "soc_pct"),
        ("error", "log.csv", 3, "event"),
        ("error", "log.csv", 4, "phase"),
        ("error", "session.toml", 9, "devices[1].lable"),
        ("error", "session.toml", 18, "phases[1].planned_min"),
        ("note", "log.csv", 1, "extra"),
    ]
    assert len(str(caught.value).splitlines()) == 6


def test_two_names_for_one_column_are_an_error():
    error = one_error("event,note,Note\nnote,x,y\n")
    assert (error.rule, error.line, error.column) == ("column-twice", 1, "Note")
    assert "'note'" in error.found


@pytest.mark.parametrize("log", ["event,note\n", "event,device\n,\n"])
def test_a_log_without_rows_is_an_error(log):
    error = one_error(log)
    assert (error.rule, error.file) == ("log-empty", "log.csv")


def test_a_heading_that_is_neither_a_log_nor_a_scorecard():
    error = one_error("device,soc_pct,phase\nlimpet,90,map\n")
    assert (error.rule, error.column) == ("column-missing", "event")


# ------------------------------------------------------------------------------ finding files


def test_the_log_in_a_folder(tmp_path: Path):
    log = "event,note\nnote,x\n"
    with pytest.raises(UsageError, match=r"no log\.csv and no other CSV file"):
        read_record(tmp_path)
    written(tmp_path, log, None, "a.csv")
    assert read_record(tmp_path)[0].sources[0].name == "a.csv"
    written(tmp_path, log, None, "b.csv")
    with pytest.raises(UsageError, match=r"'a\.csv', 'b\.csv'"):
        read_record(tmp_path)
    written(tmp_path, log, '[session]\nlog = "b.csv"\n', "c.csv")
    session, findings = read_record(tmp_path)
    assert [s.name for s in session.sources] == ["session.toml", "b.csv"]
    assert session.id == tmp_path.name
    assert [f.rule for f in findings] == ["operator-note"]
    # one that was asked for by name is read with the setup file
    session, findings = read_record(tmp_path / "a.csv")
    assert [s.name for s in session.sources] == ["session.toml", "a.csv"]
    assert ("log-other", "note") in [(f.rule, f.severity) for f in findings]
    # and so is the folder when the setup file is asked for
    assert read_record(str(tmp_path / "session.toml"))[0].sources[1].name == "b.csv"


@pytest.mark.parametrize("name", ["c.csv", "../x.csv", "sub/x.csv"])
def test_a_log_that_is_not_in_the_folder(tmp_path: Path, name):
    written(tmp_path, "event,note\nnote,x\n", f'[session]\nlog = "{name}"\n', "a.csv")
    with pytest.raises(RecordError) as caught:
        read_record(tmp_path)
    (found,) = caught.value.findings
    assert (found.rule, found.file, found.column) == ("log-missing", "session.toml", "session.log")
    assert found.line == 2


@pytest.mark.parametrize("path", ["no such place", "x\0y", "y" * 5000])
def test_a_path_that_is_nowhere(path):
    with pytest.raises(UsageError, match="there is no file or folder"):
        read_record(path)


def test_a_file_that_cannot_be_read(tmp_path: Path):
    (tmp_path / "session.toml").write_text('[session]\nlog = "log.csv"\n')
    (tmp_path / "log.csv").mkdir()
    with pytest.raises(RecordError, match=r"log\.csv"):
        read_record(tmp_path)


def test_a_file_that_the_system_does_not_give(tmp_path: Path, monkeypatch):
    def refuse(_):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "read_bytes", refuse)
    with pytest.raises(UsageError, match=r"'.*log\.csv' cannot be read: Permission denied"):
        read_record(written(tmp_path, "event,note\nnote,x\n", None, "log.csv"))


def test_the_sources_are_fingerprinted(tmp_path: Path):
    import hashlib

    log = "event,note\nnote,x\n"
    session, _ = read_record(written(tmp_path, log, "", "log.csv"))
    assert session.sources[1].sha256 == hashlib.sha256(log.encode()).hexdigest()
    assert session.sources[1].size == len(log)
    both = hashlib.sha256(b"").hexdigest() + hashlib.sha256(log.encode()).hexdigest()
    assert session.fingerprint == hashlib.sha256(both.encode()).hexdigest()[:12]


# ------------------------------------------------------------------------------------ junk


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.binary(max_size=400), st.one_of(st.none(), st.binary(max_size=200)))
def test_junk_bytes_are_never_anything_but_a_record_error(tmp_path_factory, log, setup):
    folder = tmp_path_factory.mktemp("junk")
    (folder / "log.csv").write_bytes(log)
    if setup is not None:
        (folder / "session.toml").write_bytes(setup)
    findings = None
    try:
        read_record(folder)
    except RecordError as error:
        findings = error.findings
    assert findings != ()


EVENTS = ["reading", "tick", "power_off", "still_on", "phase_start", "phase_end", "turn",
          "charge_start", "charge_end", "temperature", "incident", "note", "", "x"]  # fmt: skip
CELLS = {
    "event": st.sampled_from(EVENTS),
    "run": st.sampled_from(["", "", "1", "2", "0"]),
    "phase": st.sampled_from(["", "map", "photo", "mop"]),
    "point": st.sampled_from(["", "start", "end", "inside"]),
    "device": st.sampled_from(["", "limpet", "dunlin", " limpet"]),
    "date": st.sampled_from(["", "", "2026-05-16", "0001-01-01", "9999-12-31", "16.05.2026"]),
    "clock": st.sampled_from(["", "08:00", "23:59:59", "02:30", "0001-01-01T00:00",
                              "9999-12-31T23:59:59+14:00", "2:05 PM"]),
    "elapsed_min": st.sampled_from(["", "0", "999999", "-999999", "1.5", "2:05"]),
    "soc_pct": st.sampled_from(["", "100", "0", "0.5", "101"]),
    "last_on": st.sampled_from(["", "08:00", "999999", "9999-12-31T23:59"]),
    "first_off": st.sampled_from(["", "08:00", "-5", "0001-01-01T00:00"]),
    "temperature_c": st.sampled_from(["", "20"]),
    "duration_min": st.sampled_from(["", "10", "1000000"]),
    "part": st.sampled_from(["", "a"]),
}  # fmt: skip


SETUPS = [
    None,
    SETUP,
    SETUP + '[[runs]]\nnumber = 2\nstart = "2026-10-25T02:30+01:00"\n',
    SETUP.replace("08:00", "23:59").replace("2026-05-16", "9999-12-31"),
    SETUP.replace("[session]", '[session]\ntimezone = "Europe/Brussels"\nstop = "02:30"'),
    SETUP.replace("08:00", "23:59").replace("2026-05-16", "9999-12-31\ntimezone = 'Asia/Tokyo'"),
]


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.lists(st.fixed_dictionaries(CELLS), min_size=1, max_size=8),
    st.sampled_from(SETUPS),
)
def test_rows_of_known_words_in_any_order_are_read_or_told(rows, setup):
    text = ",".join(CELLS) + "\n" + "".join(",".join(r.values()) + "\n" for r in rows)
    told = errors(text, setup)
    assert all(f.remedy and f.expected and f.found for f in told)
    if not told:
        session, _ = read(text, setup)
        assert len(session.readings) <= len(rows)
        assert not session.power_offs.duplicated(["run", "device"]).any()


# ------------------------------------------------------------------------- the same in any dress


def dressed(text, separator, decimal, line_end, bom):
    rows = [line.split(",") for line in text.strip().splitlines()]
    rows = [
        [c.replace(".", decimal) if c.replace(".", "").isdigit() else c for c in r] for r in rows
    ]
    quoted_rows = [[f'"{c}"' if separator in c else c for c in r] for r in rows]
    out = line_end.join(separator.join(r) for r in quoted_rows) + line_end
    return (b"\xef\xbb\xbf" if bom else b"") + out.encode()


def same(a, b, *, but=()):
    for name in FRAME_COLUMNS:
        pd.testing.assert_frame_equal(getattr(a, name), getattr(b, name), obj=name)
    for name in ("devices", "phases", "runs", "conditions", "date", "form", "has_setup"):
        if name not in but:
            assert getattr(a, name) == getattr(b, name), name


@given(
    st.sampled_from(",;\t"),
    st.sampled_from(".,"),
    st.sampled_from(["\n", "\r\n", "\r"]),
    st.booleans(),
)
@example(";", ",", "\r\n", True)
@settings(deadline=None)
def test_separators_decimal_commas_line_ends_and_marks_make_no_difference(
    separator, decimal, line_end, bom
):
    plain, _ = read(LOG.strip() + "\n")
    other, findings = read(dressed(LOG, separator, decimal, line_end, bom))
    assert findings == ()
    same(plain, other)


# ---------------------------------------------------------------------------------- dense logs


def test_a_dense_log_is_read_like_a_small_one_and_keeps_its_texts_as_categories():
    rows = [f"reading,{d},{s / 60:.4f},{100 - s // 200}" for s in range(6000) for d in ("a", "b")]
    small, _ = read("event,device,elapsed_min,soc_pct\n" + "\n".join(rows[:4000]) + "\n", None)
    dense, _ = read("event,device,elapsed_min,soc_pct\n" + "\n".join(rows) + "\n", None)
    assert len(dense.readings) == 12_000
    assert isinstance(dense.readings["device"].dtype, pd.CategoricalDtype)
    assert small.readings["device"].dtype == object
    head = dense.readings.head(4000).astype(small.readings.dtypes.to_dict())
    pd.testing.assert_frame_equal(head, small.readings)
    assert dense.readings["line"].tolist()[-1] == 12_001
    assert set(dense.readings["t_resolution_min"]) == {1e-4}


def test_many_equal_faults_are_summed_up():
    found = errors("event,device,elapsed_min,soc_pct\n" + "reading,limpet,1,101\n" * 20_000)
    assert len(found) == 201
    assert found[-1].found == "19800 more of this kind, from here to line 20001"


def test_reading_needs_neither_statistics_nor_figures():
    code = (
        "import sys; from kit.read.record import read_record; "
        f"read_record({str(ROOT / 'sample_sessions' / 'full-day')!r}); "
        "print(sorted({'scipy', 'matplotlib', 'seaborn', 'frictionless'} & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT
    )
    assert done.stdout.strip() == "[]"
