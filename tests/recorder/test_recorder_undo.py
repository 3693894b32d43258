"""Withdrawing and taking over: by hand and by property."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from kit.recorder.entries import Refused
from kit.recorder.keys import Misunderstood
from kit.recorder.rows import adopted, alive, effective_rows, log_bytes
from kit.recorder.words import (
    device_cells,
    phase_line,
    prompt_line,
    row_lines,
    time_line,
    whose_line,
)
from kit.session import Phase
from tests.helpers.recorder_short_day import CROSS, PLAIN, TURNS, Day


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
