"""Page 1, figures and tables of devices that were not alike: charged, other settings or start."""

from __future__ import annotations

from dataclasses import replace

import matplotlib.pyplot as plt
import pytest

from kit.analyse import analyse
from kit.claims.verdicts import SUPPORTED
from kit.results import Settings
from kit.show import tables, wording
from kit.show.figures.order import plot_pairs, plot_replicates
from kit.show.pair_order import order_of_run
from tests.helpers.builders import make_session, seen
from tests.helpers.shown import plain
from tests.helpers.unlike_days import unlike_day, unlike_runs


def results_of(session):
    return analyse(session, (), Settings(draws=0))


@pytest.fixture(scope="module")
def charged():
    """Periwinkle charged for half an hour after the first phase, and off last of the three."""
    return results_of(unlike_day(charges=[("pe", 61.0)]))


def test_the_lead_says_who_was_charged_and_who_was_first_of_the_others(charged):
    # Limpet off in [420, 423), Dunlin in [380, 383): at least 420 - 383 = 37 min
    first = plain(wording.glance(charged)[0])
    assert first == (
        "Periwinkle 8 was charged during the run, so its runtime is compared with no other. "
        "Apart from it, Limpet 10 lasted longest: 7 h to 7 h 03 min, at least 37 min longer than "
        "Dunlin 9."
    )


def test_the_figure_of_pairs_has_a_question_mark_with_its_key(charged):
    order = order_of_run(charged, 1)
    assert order.devices == ("li", "du", "pe")
    assert order.places == ("1st", "2nd", "charged")
    _, ax = plt.subplots()
    plot_pairs(charged, ax, order=order)
    told = [t.get_text() for t in ax.texts]
    plt.close(ax.figure)
    assert told.count("?") == 2
    assert any("?  cannot be said" in text for text in told)


def test_no_place_in_tables_from_the_charge_on(charged):
    (standing,) = tables.standing(charged, 1)
    cells = [[plain(cell) for cell in row] for row in standing.rows]
    assert cells[0][2].endswith("(1–3)")
    # 100 - 2 x 15 - 10, 100 - 2 x 16 - 10 (no place), 100 - 2 x 17 - 15
    assert cells[1][1:] == ["60 (1)", "58 [a]", "51 (2)"]
    assert any("charged before the end of this phase" in note for note in standing.notes)
    runtimes = tables.runtimes(charged, 1)
    assert [(row[0], row[1]) for row in runtimes.rows] == [
        ("Limpet 10", "1"), ("Dunlin 9", "2"), ("Periwinkle 8", "–")
    ]  # fmt: skip
    assert any("Without a place" in note for note in runtimes.notes)


def test_another_start_is_told_on_page_1():
    told = " ".join(
        plain(text) for text in wording.glance(results_of(unlike_day(starts=(60, 100, 99))))
    )
    assert "Periwinkle 8 lasted longest (Limpet 10: started at 60 %): " in told
    assert "stands: Periwinkle 8, Limpet 10 (started at 60 %) and Dunlin 9." in told


def test_a_mean_says_that_a_run_was_left_out():
    results = results_of(unlike_runs({"du": {"power_saver": "on"}}, charged_in=(2,)))
    told = " ".join(plain(text) for text in wording.glance(results))
    assert "Periwinkle 8 (run 2 left out: charged) " in told
    assert "Dunlin 9 (power saver on) " in told
    table = tables.replicates(results)
    row = next(row for row in table.rows if row[:2] == ("Periwinkle 8", "runtime"))
    assert row[2] == "2"
    assert "[a]" in plain(row[3])
    assert any("charged in a run" in note for note in table.notes)
    _, ax = plt.subplots()
    plot_replicates(results, ax)
    marked = [t.get_text() for t in ax.texts if "charged, left out" in t.get_text()]
    crosses = [line for line in ax.lines if line.get_marker() == "x"]
    plt.close(ax.figure)
    assert (len(marked), len(crosses)) == (1, 1)


def test_two_survivors_are_a_question_as_in_the_table():
    results = results_of(
        make_session(
            devices=["a", "b", "c"], phases={"p1": 600}, power_offs={"c": seen(300, 302)},
            still_on={"a": 600.0, "b": 600.0}, start=None,
        )
    )  # fmt: skip
    frame = results.extra["claims"]
    two = frame[(frame["code"] == "outlasted") & (frame["device_b"] != "c")]
    assert two["verdict"].tolist() == ["cannot_be_said"]
    _, ax = plt.subplots()
    plot_pairs(results, ax, order=order_of_run(results, 1))
    told = [t.get_text() for t in ax.texts]
    plt.close(ax.figure)
    assert (told.count("?"), told.count("≈")) == (1, 0)


def test_the_rule_of_the_declared_pair_is_told_under_the_standing():
    session = unlike_day()
    assert not any("declared" in note for note in tables.standing(results_of(session), 1)[0].notes)
    results = results_of(replace(session, declared_comparison=("li", "du")))
    note = plain(tables.standing(results, 1)[0].notes[-1])
    assert "Limpet 10 and Dunlin 9, the pair declared beforehand, are compared by a rule of" in note


def test_a_survivor_drained_no_more_than_its_display_can_fall():
    # from a full 100 % to 0 % shown at the stop: with what is rounded off the interval would reach
    # beyond 100 pp
    results = results_of(
        make_session(phases={"p1": 60, "p2": 60}, readings={"a": [100, 50, 0], "b": [100, 60, 20]})
    )
    last = results.standing.set_index(["phase", "device"]).loc[("p2", "a")]
    assert last["total_drain_pp_high"] <= 100.0
    assert last["total_drain_pp_low"] < last["total_drain_pp"] <= 100.0


def test_supported_is_never_said_of_a_charged_runtime(charged):
    frame = charged.extra["claims"]
    found = frame[(frame["measurand"] == "runtime") & (frame["verdict"] == SUPPORTED)]
    assert "pe" not in {*found["device_a"], *found["device_b"]}
