"""The rule on the stated elapsed time. Starts at 08:00; p1 to p4 60 min each, p5 until empty."""

from __future__ import annotations

from typing import Any

import pytest

from kit.session import Session
from tests.helpers.builders import join_runs
from tests.helpers.clean_session import OFF, PHASES, clean, found, one


def _stated(minutes: float, **changes: Any) -> Session:
    return clean(stated_elapsed_min=minutes, **changes)


def test_stated_and_computed_elapsed_agree() -> None:
    # the last power-off, b, is at [562, 565): 563.5 ± 1.5, and one minute more
    for minutes in (561, 563, 566):
        assert not found(_stated(minutes), "elapsed-disagrees")


def test_stated_leaves_out_unlogged_time() -> None:
    offs = {k: {**v, "noted_min": v["noted_min"] + 40, "last_on_min": v["last_on_min"] + 40}
            for k, v in OFF.items()}  # fmt: skip
    session = _stated(563, gaps={"p2": 40}, power_offs=offs)
    finding = one(session, "elapsed-disagrees")
    assert (finding.file, finding.column) == ("session.toml", "session.stated_elapsed")
    # 563.5 + 40 = 603.5 min, rounded to 604 min = 10 h 4 min
    assert finding.found == (
        "9 h 23 min as stated, 10 h 4 min by the clock to the last power-off (40.5 min less stated)"
    )
    assert "leaves out the 40 min that no phase accounts for" in finding.remedy


@pytest.mark.parametrize(
    ("minutes", "words"),
    [(503.5, "a slip of 1 hour, or a clock change"), (683.5, "a slip of 2 hours"),
     (563.5 + 720, "12-hour clock read as a 24-hour one"), (590, "does not explain")],
)  # fmt: skip
def test_why_the_stated_time_differs(minutes: float, words: str) -> None:
    assert words in one(_stated(minutes), "elapsed-disagrees").remedy


def test_the_stop_is_the_first_choice_and_runs_are_named() -> None:
    one_run = _stated(400, stop_min=566)
    two = join_runs(clean(), one_run)
    finding = one(two, "elapsed-disagrees")
    assert (finding.run, finding.column) == (2, "runs[2].stated_elapsed")
    assert "9 h 26 min by the clock to the stop" in finding.found


def test_nothing_to_compare_with() -> None:
    session = clean(
        stated_elapsed_min=400, span_source="planned", power_offs={}, phases=PHASES[:4], lengths={}
    )
    assert not found(session, "elapsed-disagrees")
