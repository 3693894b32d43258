"""Where the day is: rounds, turns, questions; by hand on short days, by property on random ones."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.recorder.entries import Refused, confirmed, propose
from kit.recorder.journal import Entry
from kit.recorder.keys import Misunderstood, parse
from kit.recorder.moments import moment_of, near, parse_clock, stamp, stamp_of_limit
from kit.recorder.rows import adopted, alive, effective_rows, last_alive, log_bytes
from kit.recorder.state import Protocol, Situation, situation
from kit.recorder.words import (
    device_cells,
    phase_line,
    prompt_line,
    remarks,
    row_lines,
    time_line,
    whose_line,
)
from kit.session import Device, Phase

if TYPE_CHECKING:
    from collections.abc import Mapping

START = datetime(2026, 5, 16, 8, 0, tzinfo=UTC)
ROW = tuple(Device(id=i, label=i.upper()) for i in ("a", "b", "c"))
PLAIN = (
    Phase(id="p1", label="One", activity="map", planned_min=60),
    Phase(id="p2", label="Two", activity="photo", planned_min=30),
)
CROSS = Phase(
    id="p1", label="Cross", kind="crossover", parts=("stream", "forms"), first_half=("a", "b"),
    planned_min=60,
)  # fmt: skip
TURNS = Phase(
    id="p1", label="Turns", kind="rotation", parts=("call", "guide"), turn_min=10, planned_min=40
)


class Day:
    """A journal in memory."""

    def __init__(self, *phases: Phase, **facts: object) -> None:
        self.protocol = Protocol(
            title="T", devices=ROW, phases=phases or PLAIN, zone=UTC, zoned=True, start=START,
            **facts,  # type: ignore[arg-type]  # fields of Protocol
        )  # fmt: skip
        self.entries: list[Entry] = []
        self.now = START

    @property
    def here(self) -> Situation:
        return situation(self.protocol, self.entries, self.now)

    def at(self, minute: float) -> Day:
        self.now = START + timedelta(minutes=minute)
        return self

    def put(self, kind: str, **said: object) -> None:
        self.entries.append(
            Entry(
                n=len(self.entries) + 1, at=self.now.isoformat(), kind=kind, **said  # type: ignore[arg-type]  # fields of Entry
            )
        )  # fmt: skip

    def type(self, *texts: str, yes: bool = False) -> tuple[str, ...]:
        """Type texts; return what was questioned in the last one."""
        questions: tuple[str, ...] = ()
        for text in texts:
            if text == "u":
                last = last_alive(self.entries)
                if last is None:
                    message = "nothing"
                    raise Refused(message)
                self.put("undo", facts={"of": last.n})
                continue
            made = propose(parse(text, self.protocol), self.here, self.protocol)
            questions = made.questions
            if questions and not yes:
                continue
            if questions:
                made = confirmed(made, "")
            self.put("enter", said=text, rows=made.rows, changes=made.changes, facts=made.facts)
        return questions

    def rows(self, *events: str) -> list[Mapping[str, str]]:
        return [r.cells for r in effective_rows(self.entries) if r.cells["event"] in events]

    def due(self) -> tuple[str, str, tuple[str, ...]] | None:
        walk = self.here.round
        return None if walk is None else (walk.phase, walk.point, walk.due)


# --------------------------------------------------------------------- rounds


def test_the_first_start_is_read_before_or_after_it_begins() -> None:
    day = Day()
    assert day.here.step == "read"
    assert day.due() == ("p1", "start", ("a", "b", "c"))
    day.type("100")
    day.at(1).type("s")
    assert day.due() == ("p1", "start", ("b", "c"))
    day.type("100", "99")
    assert day.due() is None
    assert day.here.step == "run"
    assert [r["order"] for r in day.rows("reading")] == ["1", "2", "3"]


def test_rounds_go_forward_and_backward_in_turn() -> None:
    day = Day()
    day.type("s", "100", "100", "100")
    assert day.at(60).here.step == "end"
    day.type("e")
    assert day.due() == ("p1", "end", ("c", "b", "a"))
    day.type("90", "91", "92")
    assert [(r["device"], r["soc_pct"]) for r in day.rows("reading")[3:]] == [
        ("c", "90"),
        ("b", "91"),
        ("a", "92"),
    ]
    # read just now: the next phase needs no reading of its start
    assert day.due() is None
    assert day.here.step == "start"
    # 10 min and more after it, it does, and forward again
    assert day.at(70.0).due() is None
    assert day.at(70.1).due() == ("p2", "start", ("a", "b", "c"))


def test_a_round_may_be_read_out_of_order_and_says_so() -> None:
    day = Day()
    day.type("s", "2 100", "100")
    assert day.due() == ("p1", "start", ("c",))
    assert [(r["device"], r["order"]) for r in day.rows("reading")] == [("b", "1"), ("a", "2")]


def test_a_start_that_is_long_past_is_not_asked_for_any_more() -> None:
    day = Day()
    day.type("s", "100")
    assert day.at(15).due() == ("p1", "start", ("b", "c"))
    assert day.at(15.1).due() is None
    day.type("2 95")
    assert day.rows("reading")[-1]["point"] == "inside"
    assert "order" not in day.rows("reading")[-1]


def test_devices_that_are_off_are_not_in_the_round() -> None:
    day = Day()
    day.type("s", "10", "5", "100")
    day.at(50).type("2 x")
    day.at(60).type("e")
    assert day.due() == ("p1", "end", ("c", "a"))
    day.type("x", yes=True)
    assert day.due() == ("p1", "end", ("a",))


def test_a_missed_reading_is_done_and_said() -> None:
    day = Day()
    day.type("s", "m lock came up", "mm")
    assert day.due() is None
    assert [(r.get("soc_pct"), r["note"], r["order"]) for r in day.rows("reading")] == [
        (None, "lock came up", "1"),
        (None, "missed", "2"),
        (None, "missed", "3"),
    ]


def test_a_round_can_be_asked_for_inside_a_phase_and_before_one() -> None:
    day = Day()
    day.type("s", "100", "100", "100")
    day.at(30).type("r")
    assert day.due() == ("p1", "inside", ("c", "b", "a"))
    day.type("98", "97", "96")
    assert day.due() is None
    day.at(40).type("r")
    assert day.due() == ("p1", "inside", ("a", "b", "c"))
    with pytest.raises(Refused, match="A round is on: A, B and C"):
        day.type("r")
    day.type("95")
    day.at(56).type("1 94")  # the rest of that round was left; this is another reading
    day.at(60).type("e", "90", "90", "90")
    day.at(61).type("r")
    assert day.due() == ("p2", "start", ("a", "b", "c"))  # the fifth walk of the day
    day.type("90", "90", "90")
    with pytest.raises(Refused, match="was read already"):
        day.type("r")
    day.type("s")
    assert day.due() is None


def test_the_next_device_is_wanted_by_name_when_no_round_is_on() -> None:
    day = Day()
    day.type("s", "100", "100", "100")
    with pytest.raises(Refused, match="say which device"):
        day.type("98")
    with pytest.raises(Refused, match="nothing was missed"):
        day.type("2 m")
    with pytest.raises(Refused, match="nothing was missed"):
        day.type("mm")


# --------------------------------------------------------------------- phases


def test_phases_follow_each_other_and_time_runs() -> None:
    day = Day()
    day.at(2).type("s")
    here = day.at(12).here
    assert here.phase is not None
    assert (here.phase.id, here.left_min, here.elapsed_min) == ("p1", 50.0, 12.0)
    assert here.devices[0].doing == "map"
    with pytest.raises(Refused, match="One still runs"):
        day.type("s")
    assert day.type("e") == ("it was planned to 09:02, 50 min more",)
    assert day.here.phase is not None  # nothing was saved
    day.type("e", yes=True)
    assert day.rows("phase_end")[0]["note"] == "confirmed: it was planned to 09:02, 50 min more"
    with pytest.raises(Refused, match="No phase is running"):
        day.type("e")
    assert day.type("s")[0].startswith("the end of the phase before was not read yet")
    day.type("mm", "s")
    assert day.here.phase is not None
    assert day.here.phase.id == "p2"
    assert day.at(12 + 35).here.left_min == -5.0
    assert "OVER by 5 min, planned to 08:42" in time_line(day.here)


def test_a_phase_can_be_started_by_its_id_once() -> None:
    day = Day()
    day.type("s p2")
    assert day.here.phase is not None
    assert day.here.phase.id == "p2"
    day.at(30).type("e", "mm")
    assert day.here.step == "stop"
    with pytest.raises(Refused, match="All phases"):
        day.type("s")
    with pytest.raises(Refused, match="was started already"):
        day.type("s p2")
    with pytest.raises(Refused, match="no phase 'p9'"):
        day.type("s p9")
    day.type("s p1")
    assert day.here.phase is not None
    assert day.here.phase.id == "p1"


def test_the_end_of_the_day() -> None:
    day = Day(Phase(id="p1", label="Empty", kind="until_empty"), look_every_min=3)
    day.type("s", "9", "30", "8")
    assert day.here.left_min is None
    assert day.here.look_at == START + timedelta(minutes=3)
    assert "LOOK NOW" in time_line(day.at(3).here)
    with pytest.raises(Refused, match="still runs"):
        day.type("f")
    day.type("l")
    assert day.here.look_at == START + timedelta(minutes=6)
    day.at(5).type("1 x", "3 x 1")
    off = day.rows("power_off")
    assert [(r["last_on"], r["first_off"]) for r in off] == [("08:03:00", "08:05:00")] * 2
    assert [r.get("soc_pct") for r in off] == ["9", "1"]  # 9 % was seen 5 min before
    day.at(60).type("e", "20", "f")
    assert day.here.step == "done"
    assert [r["device"] for r in day.rows("still_on")] == ["b"]
    assert day.here.device("b").state == "still_on"
    with pytest.raises(Refused, match="complete"):
        day.type("f")
    assert prompt_line(day.here, day.protocol).startswith("DONE")
    assert remarks(day.here, day.protocol)[-1].startswith("session.toml: the session was stopped")


def test_stopping_before_the_last_phase_is_asked_about() -> None:
    day = Day()
    assert day.type("f") == ("One has not been run",)


# ---------------------------------------------------------------------- turns


def test_a_crossover_swaps_once_and_is_read_there() -> None:
    day = Day(CROSS)
    day.type("s", "100", "100", "100")
    assert [(r["device"], r["part"]) for r in day.rows("turn")] == [
        ("a", "stream"),
        ("b", "stream"),
        ("c", "forms"),
    ]
    assert [d.doing for d in day.here.devices] == ["stream", "stream", "forms"]
    assert day.at(29).here.step == "run"
    assert day.type("w") == ()  # one minute early is not worth a question
    day.entries.pop()
    assert day.at(20).type("w") == ("the first half was planned to 08:30, 10 min more",)
    assert day.at(30).here.step == "turn"
    day.type("w")
    assert day.due() == ("p1", "inside", ("c", "b", "a"))
    assert [d.doing for d in day.here.devices] == ["forms", "forms", "stream"]
    assert [r.get("duration_min") for r in day.rows("turn")] == ["30"] * 3 + [None] * 3
    with pytest.raises(Refused, match="Both halves have begun"):
        day.type("1 w")
    day.type("90", "90", "90")
    day.at(40).type("1 x", yes=True)
    day.at(60).type("e")
    lengths = {
        (r["device"], r["part"]): (r["duration_min"], r["completed"]) for r in day.rows("turn")
    }
    assert lengths["a", "forms"] == ("10", "partly")  # it went off 10 min into its second half
    assert lengths["b", "forms"] == ("30", "yes")
    assert lengths["c", "stream"] == ("30", "yes")


def test_turns_go_round_the_row_and_may_break_off() -> None:
    day = Day(TURNS)
    day.type("s", "100", "100", "100")
    assert whose_line(day.here, day.protocol) == "call: A; next: B; all others guide"
    assert day.at(9).here.step == "run"
    assert day.at(10).here.step == "turn"
    day.type("w")
    assert [d.doing for d in day.here.devices] == ["guide", "call", "guide"]
    day.at(17).type("w partly the call dropped")
    assert day.rows("turn")[1] == {
        **day.rows("turn")[1], "duration_min": "7", "completed": "partly",
        "note": "the call dropped",
    }  # fmt: skip
    assert day.here.turn is not None
    assert day.here.turn.devices == ("c",)
    day.at(27).type("w end")
    with pytest.raises(Refused, match="Every device has had its turn"):
        day.type("w")
    # 40 min planned: 30 were used, a second time round (another 30) has no room
    assert day.here.turn.following == ()
    assert day.at(30).here.step == "run"
    with pytest.raises(Refused, match="After w: end"):
        day.type("w later")
    day.type("1 w")  # but somebody may have another turn by name
    assert day.here.device("a").doing == "call"
    day.at(40).type("e")
    assert [r["duration_min"] for r in day.rows("turn")] == ["10", "7", "10", "10"]


def test_correcting_the_time_of_a_turn_corrects_the_one_it_ended() -> None:
    day = Day(TURNS)
    day.type("s", "mm")
    day.at(12).type("w", "@ -2")
    first, second = day.rows("turn")
    assert (first["duration_min"], second["clock"]) == ("10", "08:10:00")


def test_a_device_that_is_off_has_no_turn() -> None:
    day = Day(TURNS)
    day.type("s", "mm", "2 x")
    day.at(10).type("w")
    assert day.here.device("c").doing == "call"
    assert day.type("2 w") == ("B is off",)


def test_there_are_no_turns_in_a_plain_phase() -> None:
    day = Day()
    day.type("s")
    with pytest.raises(Refused, match="no turns now"):
        day.type("w")


# ------------------------------------------------------------------ questions


def read_day() -> Day:
    """Return a day with A at 50 %, B at 60 % and C off since 08:40."""
    day = Day()
    day.type("s", "50", "60", "3")
    day.at(40).type("3 x")
    return day.at(45)


@pytest.mark.parametrize(
    ("typed", "question"),
    [
        ("1 51", "51 % is more than 50 % at 08:00"),
        ("1 107", "107 is no percentage from 0 to 100"),
        ("1 -1", "-1 is no percentage from 0 to 100"),
        ("1 49.5", "49.5 is no whole number"),
        # 45 min at 90 pp/h would be 67.5 pp: only a faster drop than that is asked about
        ("2 0 @ 8:30", "0 % is 60 points less than at 08:00, 30 min before"),
        ("3 2", "C was noted off at 08:40"),
        ("1 t 51", "51 % is more than 50 % at 08:00"),
        ("1 x", "A showed 50 % before it went off"),
        ("1 x 21", "A showed 21 % before it went off"),
        ("1 40 @ 9:30", "09:30 is in the future"),
        ("2 x 3 @ 7:59", "B was seen on at 08:00, later than that"),
        ("c 300", "300 °C is outside −60 to 200 °C"),
        ("1 plug", "One is running"),
    ],
)
def test_what_cannot_be_is_asked_about_and_kept_when_confirmed(typed: str, question: str) -> None:
    day = read_day()
    before = len(day.entries)
    assert question in day.type(typed)
    assert len(day.entries) == before
    day.type(typed, yes=True)
    assert question in day.entries[-1].rows[0]["note"]
    assert (
        day.entries[-1]
        .rows[0]["note"]
        .startswith(("confirmed: ", "the display showed", "showed 300"))
    )


def test_a_percentage_outside_0_to_100_goes_into_the_note_alone() -> None:
    day = read_day()
    day.type("1 107", yes=True)
    (row,) = day.entries[-1].rows
    assert "soc_pct" not in row
    assert row["note"].startswith("the display showed 107; confirmed: 107 is no percentage")


@pytest.mark.parametrize("typed", ["1 50", "1 30", "2 0", "1 t 49", "3 1 @ 8:30", "n tea", "c 20"])
def test_what_can_be_is_not_asked_about(typed: str) -> None:
    assert read_day().type(typed) == ()


def test_a_percentage_may_rise_after_charging() -> None:
    day = Day()
    day.type("s", "50", "60", "70")
    day.at(60).type("e", "mm", "1 plug", "1 unplug 80")
    assert day.type("1 80") == ()
    assert day.type("1 81") == ("81 % is more than 80 % at 09:00",)


def test_an_earlier_reading_below_a_later_one_is_asked_about() -> None:
    day = read_day()
    assert day.type("1 45 @ 7:58") == ("45 % is less than 50 % at 08:00, later",)


def test_reading_again_in_the_round_corrects_after_a_question() -> None:
    day = Day()
    day.type("s", "19")
    assert day.type("1 91") == ("A was read in this round already, 19 %",)
    day.type("1 91", yes=True)
    assert [r["soc_pct"] for r in day.rows("reading")] == ["91"]
    assert day.due() == ("p1", "start", ("b", "c"))
    day.type("m")
    assert day.type("2 88") == ("B was read in this round already, missed",)


def test_a_device_is_off_once() -> None:
    with pytest.raises(Refused, match="C was noted off at 08:40 already"):
        read_day().type("3 x")


def test_gone_off_before_ones_eyes_is_within_the_last_minute() -> None:
    day = read_day()
    day.type("1 xx 2", yes=True)
    (row,) = day.entries[-1].rows
    assert (row["last_on"], row["first_off"], row["soc_pct"]) == ("08:44:00", "08:45:00", "2")


def test_times_and_notes_of_the_entry_before_can_be_corrected() -> None:
    day = read_day()
    day.type("@ 8:41 > by ear", "v cam-1", "> and seen")
    off = day.rows("power_off")[0]
    assert (off["clock"], off["first_off"], off["last_on"]) == ("08:41:00", "08:41:00", "08:00:00")
    assert (off["note"], off["evidence"]) == ("by ear; and seen", "cam-1")
    assert day.type("@ 7:59") == ("it was seen on at 08:00, later than that",)
    with pytest.raises(Refused, match="no entry before"):
        Day().type("> nothing there")


def test_incidents_temperatures_and_who_reads() -> None:
    day = read_day()
    day.type("by Teal", "2 i screen flickers", "i tide came in", "2 c 35.2", "c 21")
    incidents = day.rows("incident")
    assert [(r.get("device"), r["cause"], r["by"]) for r in incidents] == [
        ("b", "screen flickers", "Teal"),
        (None, "tide came in", "Teal"),
    ]
    assert [(r.get("device"), r["temperature_c"]) for r in day.rows("temperature")] == [
        ("b", "35.2"),
        (None, "21"),
    ]
    with pytest.raises(Refused, match="Say which device"):
        day.type("plug")
    with pytest.raises(Refused, match="no percentage from 0 to 100"):
        day.type("1 plug 120")


# ----------------------------------------------------------------- withdrawing


def test_an_undo_can_be_undone() -> None:
    day = Day()
    day.type("s", "100")
    day.put("undo", facts={"of": 2})
    assert day.due() == ("p1", "start", ("a", "b", "c"))
    day.put("undo", facts={"of": 3})
    assert day.due() == ("p1", "start", ("b", "c"))


TYPED = st.sampled_from(
    ["s", "e", "w", "r", "f", "l", "m", "mm", "x", "u", "100", "50", "7", "0", "2 40", "3 x",
     "1 xx", "2 t 30", "c 20", "n tea", "@ -1", "> note", "1 plug", "1 unplug 90", "by Wren"]
)  # fmt: skip


@settings(max_examples=150, deadline=None)
@given(
    steps=st.lists(st.tuples(TYPED, st.integers(0, 25), st.booleans()), max_size=40),
    phases=st.sampled_from([PLAIN, (CROSS, PLAIN[1]), (TURNS, PLAIN[1])]),
)
def test_whatever_is_typed_the_situation_makes_sense(
    steps: list[tuple[str, int, bool]], phases: tuple[Phase, ...]
) -> None:
    day = Day(*phases)
    minute = 0
    for text, wait, yes in steps:
        minute += wait
        day.at(minute)
        try:
            day.type(text, yes=yes)
        except (Refused, Misunderstood):
            continue
        here = day.here
        on = {d.id for d in here.devices if d.state == "on"}
        if here.round is not None:
            assert here.step == "read"
            assert set(here.round.due) <= on
            assert not set(here.round.due) & set(here.round.read)
        boundary = [
            (r["phase"], r["point"], r["device"])
            for r in day.rows("reading")
            if r.get("point") in ("start", "end")
        ]
        assert len(boundary) == len(set(boundary)), "a boundary was read twice"
        offs = [r["device"] for r in day.rows("power_off")]
        assert len(offs) == len(set(offs))
        for row in day.rows("reading", "tick", "power_off"):
            assert 0 <= float(row.get("soc_pct", 0)) <= 100
        for line in (phase_line(here), time_line(here), whose_line(here, day.protocol)):
            assert "None" not in line
        assert prompt_line(here, day.protocol)
        assert len(row_lines(here, width=80, height=4)) <= 4
        assert all(len(device_cells(d, here)) == 7 for d in here.devices)
        # nothing that was said is gone from the journal, and the log is a function of it
        assert log_bytes(effective_rows(day.entries)) == log_bytes(effective_rows(day.entries))


@settings(max_examples=100, deadline=None)
@given(undone=st.lists(st.integers(1, 12), max_size=12))
def test_withdrawing_agrees_with_replaying_what_is_left(undone: list[int]) -> None:
    """The naive way: keep a stack of texts; each undo removes one, or puts one back."""
    day = Day()
    for text in ("n 1", "n 2", "n 3"):
        day.type(text)
    state = dict.fromkeys((1, 2, 3), True)
    targets: dict[int, int] = {}
    for wish in undone:
        of = 1 + (wish - 1) % len(day.entries)
        n = len(day.entries) + 1
        day.put("undo", facts={"of": of})
        targets[n] = of
        state[n] = True
    # by definition: an entry stands unless an undo that itself stands withdraws it
    for n in sorted(state, reverse=True):
        state[n] = not any(state[m] for m, of in targets.items() if of == n)
    assert alive(day.entries) == {n for n, stands in state.items() if stands}
    notes = [r["note"] for r in day.rows("note")]
    assert notes == [str(n) for n in (1, 2, 3) if state[n]]


# ------------------------------------------------------------------- adoption


def test_rows_that_stay_the_same_keep_their_ids() -> None:
    day = Day()
    day.type("s", "100", "99")
    rows = effective_rows(day.entries)
    cells = [r.cells for r in rows]
    changed = {**cells[1], "soc_pct": "98"}
    names, found = adopted([cells[2], changed, cells[0]], rows, 4)
    assert names == ("3.1", "4.2", "1.1")
    assert found[1]["soc_pct"] == "98"


# ---------------------------------------------------------------------- times

LONDON = ZoneInfo("Europe/London")


@pytest.mark.parametrize(
    ("cells", "expected"),
    [
        ({"date": "2026-05-16", "clock": "09:05"}, "2026-05-16T09:05:00+01:00"),
        ({"date": "16.5.2026", "clock": "09:05:30"}, "2026-05-16T09:05:30+01:00"),
        ({"clock": "2026-10-25T01:30:00+00:00"}, "2026-10-25T01:30:00+00:00"),
        ({"clock": "2026-05-16 09:05"}, "2026-05-16T09:05:00+01:00"),
        ({"clock": "00:10"}, "2026-05-17T00:10:00+01:00"),  # after 23:50 of the 16th
        ({"elapsed_min": "1:30"}, "2026-05-16T09:30:00+01:00"),
        ({"elapsed_min": "90,5"}, "2026-05-16T09:30:30+01:00"),
        ({"clock": "2026-99-25T01:30"}, None),
        ({"date": "2026-02-31", "clock": "09:05"}, None),
        ({"elapsed_min": "soon"}, None),
        ({}, None),
    ],
)
def test_the_moment_of_a_row(cells: dict[str, str], expected: str | None) -> None:
    reference = datetime(2026, 5, 16, 23, 50, tzinfo=LONDON)
    start = datetime(2026, 5, 16, 8, 0, tzinfo=LONDON)
    found = moment_of(cells, LONDON, reference, start)
    assert (None if found is None else found.isoformat()) == expected


def test_a_time_that_comes_twice_is_written_with_its_offset() -> None:
    """In Europe/London clocks go back from 02:00 to 01:00 on 2026-10-25."""
    first = datetime(2026, 10, 25, 1, 30, tzinfo=LONDON)
    second = first.replace(fold=1)
    assert stamp(first, zoned=True) == {"clock": "2026-10-25T01:30:00+01:00"}
    assert stamp(second, zoned=True) == {"clock": "2026-10-25T01:30:00+00:00"}
    assert stamp(second, zoned=False) == {"date": "2026-10-25", "clock": "01:30:00"}
    later = datetime(2026, 10, 25, 3, 0, tzinfo=LONDON)
    assert stamp_of_limit(second, later, zoned=True) == "2026-10-25T01:30:00+00:00"
    assert stamp_of_limit(first - timedelta(days=1), later, zoned=True) == "2026-10-24T01:30:00"
    clock = parse_clock("1:30")
    assert clock is not None
    assert near(clock, later).isoformat() == "2026-10-25T01:30:00+00:00"


def test_time_left_is_true_across_a_change_of_the_clocks() -> None:
    """00:45 to 01:15 the second time is an hour and a half."""
    phase = Phase(id="p1", label="One", planned_min=120)
    protocol = Protocol(title="T", devices=ROW, phases=(phase,), zone=LONDON, zoned=True)
    begin = datetime(2026, 10, 25, 0, 45, tzinfo=LONDON)
    row = {"event": "phase_start", "phase": "p1", **stamp(begin, zoned=True)}
    entry = Entry(n=1, at=begin.isoformat(), kind="enter", rows=(row,))
    now = datetime(2026, 10, 25, 1, 15, fold=1, tzinfo=LONDON)
    here = situation(protocol, [entry], now)
    assert here.left_min == 30.0
    assert here.planned_end is not None
    assert here.planned_end.isoformat() == "2026-10-25T01:45:00+00:00"


def test_a_long_row_is_shown_around_the_next_device() -> None:
    row = tuple(Device(id=f"d{i}", label=f"Device {i}") for i in range(24))
    protocol = Protocol(title="T", devices=row, phases=PLAIN, zone=UTC, start=START)
    rows = tuple(
        {"event": "reading", "phase": "p1", "point": "start", "device": f"d{i}", "soc_pct": "100",
         "order": str(i + 1), "date": "2026-05-16", "clock": "08:00:00"}
        for i in range(12)
    )  # fmt: skip
    entry = Entry(n=1, at=START.isoformat(), kind="enter", rows=rows)
    here = situation(protocol, [entry], START)
    lines = row_lines(here, width=80, height=8)
    assert len(lines) == 8
    assert lines[0].strip() == "… 9 more above"
    assert lines[-1].strip() == "… 9 more below"
    assert re.match(r"▶ 13  Device 12", lines[4])
    assert all(len(line) <= 80 for line in lines)
