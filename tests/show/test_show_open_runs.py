"""How runs that were not seen to their end are shown: bounds, p, and what it would take."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.analyse import analyse
from kit.results import Settings
from kit.show import tables, wording
from kit.units import NO_BREAK
from tests.helpers.repeated_runs import runs_of

if TYPE_CHECKING:
    from kit.display import Table
    from kit.results import Results


def results_of(a: list[int], b: list[int], **others: list[int]) -> Results:
    still_on = {("a", r) for r in range(len(a))}
    return analyse(runs_of({"a": a, "b": b, **others}, still_on=still_on), (), Settings(draws=1000))


def cells(table: Table | None) -> list[str]:
    assert table is not None
    return [cell.replace(NO_BREAK, " ") for cell in table.rows[0]]


def test_runs_that_are_counted_show_p_and_the_least_lead() -> None:
    results = results_of([622, 625, 625, 615, 632, 630], [600, 610, 595, 605, 612, 590])
    table = tables.replicate_pairs(results)
    # 8 min = 0.133 h at least; 2 of 64 by chance
    assert cells(table)[2:] == [
        "at least 0.13", "a lasted longer [a]", "runs counted, signed ranks, p = 0.031", "–",
    ]  # fmt: skip
    first = wording.glance(results)[0].replace(NO_BREAK, " ")
    assert first.startswith("On average over six runs, a ran longer than b, by at least 8 min; ")


def test_too_few_runs_say_how_many_could_decide() -> None:
    results = results_of([632, 637, 627], [600, 610, 590], c=[500, 510, 490])
    table = tables.replicate_pairs(results)
    assert cells(table)[3:] == [
        "cannot be said [a, b]", "least lead, scatter of the one seen", "at least 4 more",
    ]  # fmt: skip
    assert table is not None
    assert "“at least”: for runs to decide by being counted at all" in table.notes[0]
    assert any("decide nothing, however they come out" in note for note in table.notes)


def test_that_counting_decides_nothing_is_not_said_where_a_verdict_stands() -> None:
    # three runs that scatter by little, a on until two hours later at least
    table = tables.replicate_pairs(results_of([720, 722, 718], [600, 601, 599]))
    assert cells(table)[3] == "a lasted longer [a]"
    assert table is not None
    assert not any("decide nothing" in note for note in table.notes)


def test_the_first_sentence_says_what_it_would_take() -> None:
    results = results_of([632, 637, 627], [600, 610, 590])
    assert "could decide it from six runs of each on" in wording.glance(results)[0]
