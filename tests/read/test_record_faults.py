"""Everything that can be wrong in whole records, told at once."""

import pytest

from kit.errors import RecordError
from tests.helpers.records import GOOD_ROW, HEAD, SETUP, errors, one_error, read, row


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


def test_many_equal_faults_are_summed_up():
    found = errors("event,device,elapsed_min,soc_pct\n" + "reading,limpet,1,101\n" * 20_000)
    assert len(found) == 201
    assert found[-1].found == "19800 more of this kind, from here to line 20001"
