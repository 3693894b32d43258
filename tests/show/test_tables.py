"""All tables of the report: their ids, the labels of a record in them, codes said in words."""

from __future__ import annotations

import pytest

from kit.drain.flags import FLAGS
from kit.drain.model import SOURCES
from kit.session import Device, Phase
from kit.show import tables
from kit.show.flag_words import flag_text, source_text, status_text
from tests.helpers.builders import join_runs, make_session
from tests.helpers.fake_results import fake_results, field_day
from tests.helpers.shown import plain

HOSTILE = ("<script>alert(1)</script>", '=HYPERLINK("x")', "**x**", "$x^2$", "שלום", "🐚" * 300)


def test_tables_of_several_runs_have_ids_of_their_own() -> None:
    session = join_runs(field_day(), field_day())
    results = fake_results(session)
    ids = [
        t.id
        for run in (1, 2)
        for t in (
            tables.protocol(results, run),
            tables.runtimes(results, run),
            tables.runtime_pairs(results, run),
            *tables.drain(results, run),
            *tables.rate(results, run, "true_charge"),
            *tables.standing(results, run),
            tables.drain_order(results, run),
            tables.parts(results, run),
        )
    ]
    assert len(ids) == len(set(ids))
    assert all("-run-" in i for i in ids)


@pytest.mark.parametrize("label", HOSTILE)
def test_hostile_labels_stand_in_cells_as_they_are(label: str) -> None:
    session = make_session(
        devices=[Device(id="a", label=label), Device(id="b", label="Dunlin 9")],
        phases=[Phase(id="p1", label=label, activity=label, planned_min=60)],
        readings={"a": [100, 90], "b": [100, 80]},
    )
    results = fake_results(session)
    assert tables.devices(results).rows[0][0] == label
    assert label in plain(tables.phase_details(results).rows[0][0])
    (table,) = tables.drain(results, 1)
    assert label.startswith(table.columns[1].name.rstrip("…"))


def test_every_flag_and_source_is_said_in_words() -> None:
    for code in FLAGS:
        assert flag_text(code).endswith(".")
    assert {source_text(code) for code in SOURCES}.isdisjoint(set(SOURCES) - {"gap"})
    assert status_text("not_reached") == "off before"
