"""What whole records become: devices, phases and frames of observations."""

import math
import subprocess
import sys
from datetime import datetime

import pytest

from kit.session import FRAME_COLUMNS, empty_frames
from tests.helpers.files import ROOT
from tests.helpers.records import LOG, read


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
