"""Tables of repeated runs and of kinds: what they say of scatter, and of further runs."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from kit.analyse import analyse
from kit.results import Settings
from kit.show import tables
from kit.units import NO_BREAK
from tests.helpers.repeated_runs import of_models, runs_of

if TYPE_CHECKING:
    from kit.display import Table
    from kit.session import Session


def shown(table: Table | None) -> list[list[str]]:
    assert table is not None
    return [[str(cell).replace(NO_BREAK, " ") for cell in row] for row in table.rows]


def notes(table: Table | None) -> list[str]:
    assert table is not None
    return [note.replace(NO_BREAK, " ") for note in table.notes]


def table_of_kinds(session: Session) -> Table | None:
    return tables.replicate_models(analyse(session, (), Settings(draws=0)))


def test_a_kind_shows_what_its_interval_rests_on() -> None:
    # tests/runtime/test_replicates.py: 606 min, U = 78.79 min; s_r = sqrt 68 = 8.25 min, r = 23.1;
    # s_L = sqrt 69.33 = 8.33 min = .139 h. Its upper end: (216 - .026 * 8)/(3 * .000982): 4.5 h
    session = of_models(runs_of({"a1": [599, 609, 589], "a2": [611, 617, 605]}), a1="A", a2="A")
    table = table_of_kinds(session)
    row = shown(table)[0]
    assert row[:6] == ["A", "runtime", "2", "6", "10.1 (8.7 to 11.5) h", "0.14 h"]
    assert row[6:] == ["0.38 h", "0.14 (0.00 to 4.52) h", "1 (units), 2 (runs)"]
    assert notes(table)[1].startswith("A scatter is itself uncertain, from two units to 76 %")


def test_one_day_is_said_to_be_one_day() -> None:
    session = of_models(runs_of({"a1": [599], "a2": [619]}), a1="A", a2="A")
    table = table_of_kinds(session)
    # 20 min apart, s = 14.14 min; chi^2(.025; 1) = .000982: 14.14/.03134 = 451 min = 7.52 h
    assert shown(table)[0][5:] == ["–", "–", "0.00 to 7.53 h", "1"]
    assert notes(table)[-1].endswith("for other units on such a day, not for other days.")


def test_further_runs_are_said_as_more() -> None:
    session = runs_of({"a": [600, 609, 589], "b": [601, 611, 589], "c": [603, 612, 592]})
    results = analyse(session, (), Settings(draws=0))
    rows = shown(tables.replicate_pairs(results))
    frame = results.extra["replicate_pairs"].query("quantity == 'runtime'")
    # a and b are 1 min apart, within 1.55 min of resolution; a and c 3 min, separated
    assert rows[0][-1] == "no number of runs"
    assert rows[1][-1] == "none"
    assert rows[2][-1] == f"{int(frame['runs_more'].iloc[2])} more"
    declared = replace(session, declared_comparison=("a", "c"))
    alone = analyse(declared, (), Settings(draws=0))
    assert shown(tables.replicate_pairs(alone))[1][-2] == "run by run"
