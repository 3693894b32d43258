"""Sentences on several runs: mean runtimes, none left out, and the lead over the runs."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from kit.show import wording
from tests.helpers.builders import join_runs, make_session
from tests.helpers.fake_results import fake_results, field_day, rows
from tests.helpers.shown import plain


def test_several_runs_are_summed_up_over_the_runs() -> None:
    session = join_runs(field_day(), field_day(), field_day())
    frame = rows(
        "replicates",
        [
            {"device": d, "quantity": "runtime", "runs": 3, "mean": m, "mean_low": m - 0.1,
             "mean_high": m + 0.1, "unit_symbol": "h"}
            for d, m in (("limpet", 7.5), ("dunlin", 6.0))
        ],
    )  # fmt: skip
    sentences = [plain(s) for s in wording.glance(fake_results(session, replicates=frame))]
    # 7.5 ± 0.1 h: 7 h 24 min to 7 h 36 min
    assert sentences[0] == (
        "Mean runtime over three runs, longest first: limpet 7 h 30 min (7 h 24 min to 7 h 36 "
        "min); dunlin 6 h (5 h 54 min to 6 h 06 min)."
    )
    assert sentences[1] == "Lasted longest in every run: kelpfin."
    assert sentences[-1].startswith("One unit of each device ran three times")


def over_runs(**means: float) -> Any:
    """Return results of two runs in which the devices had these means (h), each ± 0.1 h."""
    one = make_session(phases={"p1": 60}, readings={d: [100, 90] for d in means})
    frame = rows(
        "replicates",
        [
            {"device": d, "quantity": "runtime", "runs": 2, "mean": m, "mean_low": m - 0.1,
             "mean_high": m + 0.1, "unit_symbol": "h"}
            for d, m in means.items()
        ],
    )  # fmt: skip
    return fake_results(join_runs(one, one), replicates=frame)


def test_no_device_is_dropped_from_the_means() -> None:
    seven = plain(wording.glance(over_runs(**{f"d{k}": 9.0 - k for k in range(7)}))[0])
    assert "longest first: d0 9 h (8 h 54 min to 9 h 06 min); d1 8 h (" in seven
    assert seven.endswith("d5 4 h (3 h 54 min to 4 h 06 min); d6 3 h (2 h 54 min to 3 h 06 min).")
    many = plain(wording.glance(over_runs(**{f"d{k}": 20.0 - k for k in range(14)}))[0])
    assert many.endswith("d7 13 h (12 h 54 min to 13 h 06 min); and six shorter ones under "
                         "Replicates.")  # fmt: skip


def test_a_mean_over_fewer_runs_than_there_were_says_so() -> None:
    results = over_runs(a=9.0, b=8.0)
    frame = results.replicates.assign(runs=[2, 1])
    said = plain(wording.glance(fake_results(results.session, replicates=frame))[0])
    assert said == (
        "Mean runtime over two runs, longest first: a 9 h (8 h 54 min to 9 h 06 min); b 8 h (7 h "
        "54 min to 8 h 06 min; one run)."
    )


def test_the_lead_over_several_runs_is_who_ran_longest_on_average() -> None:
    claim = {"run": 0, "priority": 1, "kind": "this_session", "code": "longest_on_average",
             "group": "", "wording": "On average over two runs, a ran longest."}  # fmt: skip
    in_group = {**claim, "group": "small", "wording": "Another."}
    pairs = [{**claim, "code": "longer_on_average", "wording": f"{k}"} for k in range(3)]
    results = over_runs(a=5.0, b=4.0, c=3.0)
    frame = rows("claims", [in_group, claim, *pairs])
    said = wording.glance(replace(results, extra={"claims": frame}))
    assert said[0] == "On average over two runs, a ran longest."
    assert said[1].startswith("Mean runtime over two runs")
    # of two devices the sentence on the pair
    two = rows("claims", pairs[:1])
    assert wording.glance(replace(over_runs(a=5.0, b=4.0), extra={"claims": two}))[0] == "0"


def test_a_mean_runtime_is_rounded_outwards() -> None:
    one = make_session(phases={"p1": 60}, readings={"a": [100, 90]})
    session = join_runs(one, one)
    frame = rows(
        "replicates",
        [{"device": "a", "quantity": "runtime", "runs": 2, "mean": 5.7667, "mean_low": 5.4136,
          "mean_high": 6.1197, "unit_symbol": "h"}],
    )  # fmt: skip
    # 5.4136 h = 324.82 min, 6.1197 h = 367.18 min: 5 h 24 to 6 h 08, not 5 h 25 to 6 h 07
    said = plain(wording.glance(fake_results(session, replicates=frame))[0])
    assert said.endswith("a 5 h 46 min (5 h 24 min to 6 h 08 min).")


@pytest.mark.parametrize(
    ("low", "said"),
    [
        # 8.9 h is more than the 5.77 h of the others: first, though its mean is not known
        (8.9, "longest first: b at least 8 h 54 min; a 5 h 46 min (5 h 24 min to 6 h 08 min)."),
        (4.0, "6 h 08 min). Not seen to its end in every run: b at least 4 h."),
    ],
)
def test_a_device_still_on_in_one_run_is_not_left_out_of_the_means(low: float, said: str) -> None:
    one = make_session(phases={"p1": 60}, readings={"a": [100, 90], "b": [100, 90]})
    frame = rows(
        "replicates",
        [{"device": "a", "quantity": "runtime", "runs": 2, "mean": 5.7667, "mean_low": 5.4136,
          "mean_high": 6.1197, "unit_symbol": "h"},
         {"device": "b", "quantity": "runtime", "runs": 2, "mean_low": low, "unit_symbol": "h"}],
    )  # fmt: skip
    results = fake_results(join_runs(one, one), replicates=frame)
    assert plain(wording.glance(results)[0]).endswith(said)
