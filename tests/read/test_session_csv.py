"""The cells of a log, and which tables are logs at all."""

import numpy as np
import pytest

from kit.read.cells import Collector
from kit.read.csv_dialect import read_table
from kit.read.log_columns import is_long_form, plain_name
from kit.read.session_csv import EVENT_USES, read_log
from kit.read.table_schema import log_schema


def log_of(text):
    table, findings = read_table(text.encode(), "log.csv")
    assert findings == ()
    notes = Collector("log.csv", table.lines)
    return read_log(table, notes), notes.findings


@pytest.mark.parametrize(
    ("heading", "long"),
    [
        ("event,device,soc_pct", True),
        ("Event;Device", True),
        ("event,Limpet 10,Dunlin 9", False),
        ("device,soc_pct,phase", True),  # a log whose column event is missing
        ("checkpoint,clock,phase,Limpet 10", False),
        ("elapsed_min,limpet,dunlin", False),
    ],
)
def test_logs_and_scorecards_are_told_apart_by_their_heading(heading, long):
    table, _ = read_table(f"{heading}\nx\n".encode(), "x.csv")
    assert is_long_form(table) is long


def test_every_event_of_the_schema_has_its_columns():
    fields = {f.name: f for f in log_schema().fields}
    assert set(EVENT_USES) == set(fields["event"].enum)
    assert set().union(*EVENT_USES.values()) <= set(fields)


def test_cells_become_numbers_and_times_and_blanks_stay_blank():
    log, findings = log_of(
        "event,run,order,soc_pct,temperature_c,duration_min,date,clock\n"
        "reading,2,3,87.5,35,10,16.05.2026,08:00\nnote,,,,,,,\n"
    )
    assert [f.rule for f in findings] == ["cell-unused"]  # duration_min in a reading
    assert (log.run.tolist(), log.order.tolist()) == ([2, 1], [3, 0])
    assert log.soc_pct[0] == 87.5
    assert (log.temperature_c[0], log.duration_min[0]) == (35.0, 10.0)
    assert log.clock.second[0] == 28800.0
    assert log.clock.day[0] > 0
    for values in (log.soc_pct, log.temperature_c, log.duration_min, log.clock.second):
        assert np.isnan(values[1])


def test_a_faulty_cell_counts_as_blank_but_as_filled():
    log, findings = log_of("event,device,soc_pct\nreading,a,lots\nreading,b,90\n")
    assert [f.rule for f in findings] == ["cell-type"]
    assert np.isnan(log.soc_pct[0])
    assert log.filled["soc_pct"].tolist() == [True, True]
    assert log.text("soc_pct", 0) == ""


def test_names_stand_in_the_order_in_which_they_first_occur():
    log, _ = log_of("event,device\nnote,z\nnote,\nnote,a\nnote,z\n")
    assert log.names("device") == ("z", "a")
    assert log.names("phase") == ()


def test_rows_are_picked_by_event_and_by_text():
    log, _ = log_of("event,device\nnote,a\ntick,b\nnote,b\n")
    assert log.is_event("note", "turn").tolist() == [True, False, True]
    assert log.holds("device", "b").tolist() == [False, True, True]
    assert len(log) == 3


def test_headings_are_known_in_any_dress():
    assert plain_name(" SOC-pct ") == "soc_pct"
    assert plain_name("Elapsed min") == "elapsed_min"
