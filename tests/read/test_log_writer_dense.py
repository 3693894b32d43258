"""Readings written column by column give the same bytes as those written row by row."""

import pytest

from kit.read import log_writer
from kit.read.log_writer import log_text
from kit.read.log_writer_dense import reading_columns
from kit.read.record import read_record
from tests.helpers.files import SAMPLES
from tests.helpers.records import SETUP, read


def both(session, monkeypatch):
    monkeypatch.setattr(log_writer, "DENSE", 10**9)
    slow = log_text(session)
    monkeypatch.setattr(log_writer, "DENSE", 0)
    return slow, log_text(session)


@pytest.mark.parametrize("name", ["full-day", "after-midnight", "minute-log", "replicates"])
def test_the_samples_are_the_same_bytes(name, monkeypatch):
    slow, dense = both(read_record(SAMPLES / name)[0], monkeypatch)
    assert dense == slow


def test_minutes_and_seconds_may_stand_side_by_side(monkeypatch):
    session, _ = read(
        """
        event,phase,point,device,clock,soc_pct,note
        reading,map,start,limpet,08:00,100,"a ""b"", c"
        reading,map,inside,limpet,08:10:30,97.5,
        tick,map,,dunlin,08:20,95,
        power_off,photo,,dunlin,09:20,,
        """
    )
    slow, dense = both(session, monkeypatch)
    assert dense == slow
    assert "2026-05-16,08:10:30,97.5" in dense


@pytest.mark.parametrize(
    ("log", "setup"),
    [
        ("event,device,elapsed_min,soc_pct\nreading,limpet,10.5,90\n", SETUP),  # decimals
        ("event,device,clock,soc_pct\nreading,limpet,08:10,90\n", None),  # no date
        ("event,device,elapsed_min,soc_pct\nreading,limpet,10,90\n", None),  # no start
        ("event,phase,point,device,soc_pct\nreading,map,end,limpet,90\n", SETUP),  # no time
        (
            "event,device,clock,soc_pct\nreading,limpet,2026-10-25T00:30,90\n"
            "reading,limpet,2026-10-25T03:30,80\n",
            SETUP.replace("2026-05-16", '2026-10-24\ntimezone = "Europe/London"').replace(
                "08:00", "23:00"
            ),
        ),  # the clocks go back
    ],
    ids=["decimals", "no date", "no start", "no time", "clock change"],
)
def test_what_the_clock_cannot_say_is_left_to_the_other_way(log, setup, monkeypatch):
    session, _ = read(log, setup)
    runs = {r.number: r for r in session.runs}
    assert reading_columns(session.readings, runs, log_writer._number) is None
    slow, dense = both(session, monkeypatch)
    assert dense == slow
