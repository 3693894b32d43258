"""Which verdicts hang on an assumption, on a record where that can be worked out by hand."""

from __future__ import annotations

from dataclasses import replace

from kit.analyse import analyse
from kit.report import tables
from kit.results import RESULT_COLUMNS, Settings
from kit.session import Device
from tests.helpers.builders import BARE, COMPLETE_CONDITIONS, make_session, seen


def two_models(hours_apart):
    """Two models, one unit and one run each, 10 h and some minutes more, batteries full."""
    return make_session(
        devices=[
            Device(id=name, label=name.upper(), model=name, health_pct=100.0, health_u_pct=0.0)
            for name in ("a", "b")
        ],
        phases={"p": 900}, readings={"a": [100], "b": [100]},
        power_offs={"a": seen(600, 601), "b": seen(600 + hours_apart, 601 + hours_apart)},
        conditions=COMPLETE_CONDITIONS, assumptions=replace(BARE, run_unit_cv=0.05),
    )  # fmt: skip


def test_the_scatter_assumed_decides_of_kinds():
    """60 min apart; needed with 5 %: 1.96 · √2 · 0.05 · 630 = 87 min, with 2.5 %: 44 min.

    With 10 % it is 175 min: still not shown.
    """
    results = analyse(two_models(60), (), Settings(draws=0))
    frame = results.extra["assumption_shifts"]
    assert tuple(frame.columns) == RESULT_COLUMNS["assumption_shifts"]
    row = frame[frame["assumption"] == "run_unit_cv"].iloc[0]
    assert len(frame) == 1
    assert (row["used"], row["tried"]) == (0.05, 0.025)
    assert (row["verdict"], row["verdict_then"]) == ("cannot_be_said", "supported")
    table = tables.assumption_shifts(results)
    assert table is not None
    assert table.rows[0][-2:] == ("cannot be said", "supported")


def test_an_assumption_of_nought_is_not_asked_and_nothing_need_hang_on_any():
    """Two hours apart and more: shown with 5 and with 2.5 %, and with 10 % (175 min) as well."""
    results = analyse(two_models(240), (), Settings(draws=0))
    assert results.extra["assumption_shifts"].empty
    table = tables.assumption_shifts(results)
    assert table is not None
    assert table.rows[0][0] == "None of them"
