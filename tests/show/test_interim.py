"""What an interim report says of the rest of the day."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from types import SimpleNamespace
from typing import Any

import pytest

from kit.plan.rest_of_day import Expected, PhaseLeft, RestOfDay
from kit.show import tables
from kit.show.wording.interim import interim_sentences
from kit.units import NO_BREAK
from tests.plan.test_rest_of_day import after_first

NAN = float("nan")
START = datetime(2026, 5, 16, 8, 0, tzinfo=UTC)


def expected(device: str, middle: float, chance: float) -> Expected:
    return Expected(
        device=device, soc_pct=80.0, seen_min=60.0, expected_min=middle, low_min=middle - 20,
        high_min=middle + 30, p_next=chance,
    )  # fmt: skip


REST = RestOfDay(
    run=1, now_min=75.0, coverage=0.9,
    phases=(
        PhaseLeft(phase="p2", running=True, minutes=45.0),
        PhaseLeft(phase="p3", running=False, minutes=None),
    ),
    devices=(expected("a", 300.0, 0.93), expected("b", 500.0, 0.07)),
    last=expected("", 500.0, NAN),
)  # fmt: skip


def sentences(rest: RestOfDay, start: datetime | None = START) -> list[str]:
    session = after_first()
    runs = tuple(replace(run, start=start) for run in session.runs)
    found = interim_sentences(replace(session, runs=runs), rest)
    return [text.replace(NO_BREAK, " ") for text in found]


def test_sentences_by_the_clock() -> None:
    """08:00 and 75 min is 09:15; 300 min 13:00, 280 12:40, 330 13:30; 500 min 16:20."""
    now, left, who, last = sentences(REST)
    assert now.startswith("As of 09:15, 1 h 15 min after the start: the session goes on")
    assert left.startswith("Phases left: Film (45 min left) and Map again (open end).")
    assert left.endswith("That is 45 min of planned phases, pauses not counted, and the open end.")
    assert who.startswith("Expected to power off next: ")
    assert "about 13:00 (90 %: 12:40 to 13:30; chance to be next 93 %)." in who
    assert " or " not in who  # above 90 % one name is enough
    assert "about 16:20, 7 h 05 min from then (90 %: 16:00 to 16:50)" in last


def test_sentences_without_a_clock() -> None:
    assert sentences(REST, start=None)[0].startswith("As of 1:15")


def test_several_may_be_next() -> None:
    rest = replace(REST, devices=(expected("a", 300.0, 0.55), expected("b", 310.0, 0.45)))
    who = sentences(rest)[2]
    assert "chance to be next 55 %)" in who
    assert " or " in who
    assert "chance to be next 45 %)" in who


def test_what_cannot_be_foreseen_is_said() -> None:
    dumb = tuple(replace(e, expected_min=NAN, p_next=NAN) for e in REST.devices)
    _, _, who, last = sentences(replace(REST, devices=dumb, last=None))
    assert who == "No rate has been measured yet, so nobody's power-off can be foreseen."
    assert last.startswith("When the last will be off cannot be said: no rate is known of ")
    far = replace(REST.devices[0], high_min=float("inf"))
    assert "to later than a week" in sentences(replace(REST, devices=(far,)))[2]


def results(session: Any) -> Any:
    return SimpleNamespace(session=session)


def test_the_table_has_the_first_to_go_on_top_and_ends_with_the_day() -> None:
    made = tables.interim(results(after_first()))
    assert made is not None
    prose, table = made
    assert prose.blocks[0].text == "Interim: what is left of the day"
    assert [row[1] for row in table.rows] == ["80", "90"]
    assert [row[-1].replace(NO_BREAK, " ") for row in table.rows] == ["100 %", "0 %"]
    assert tables.interim(results(after_first(still_on={"a": 60, "b": 60}))) is None


@pytest.mark.slow
def test_an_interim_report_says_it_at_a_glance(tmp_path: Any) -> None:
    from kit import report
    from tests.recorder.test_recorder_interim import cut

    found = report.load(str(cut(tmp_path / "day", "12:35:00")), draws=10_000)
    texts = [b.text for item in report.glance(found) for b in getattr(item, "blocks", ())]
    assert any(text.startswith("Expected to power off next: Dunlin 9 about ") for text in texts)
