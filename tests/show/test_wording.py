"""Sentences of the report: the glance as a whole, the methods, and texts in place of figures."""

from __future__ import annotations

from typing import Any

import pytest

from kit.drain.agreement import ON_PURPOSE
from kit.errors import Finding
from kit.session import Assumptions
from kit.show import wording
from kit.show.pair_order import order_of_run
from tests.helpers.builders import join_runs
from tests.helpers.fake_power_offs import of_offs
from tests.helpers.fake_results import fake_results, field_day
from tests.helpers.shown import plain


def test_a_glance_has_three_to_five_sentences() -> None:
    for results in (
        fake_results(),
        of_offs({"a": (480, 483), "b": (465, 468), "c": (400, 401)}),
        fake_results(join_runs(field_day(), field_day())),
    ):
        sentences = wording.glance(results)
        assert 3 <= len(sentences) <= 5
        assert all(s[0].isupper() or s.startswith(("a ", "kelpfin", "“")) for s in sentences)
        assert all(s.endswith(".") for s in sentences)
        assert not any("!" in s or "  " in s or "nan" in s for s in sentences)


def test_the_glance_counts_the_cautions() -> None:
    def finding(severity: Any) -> Finding:
        return Finding(
            rule="r", severity=severity, file="log.csv", found="f", expected="e", remedy="R."
        )

    assert "The checks raised no caution about the record." in wording.glance(fake_results())
    some = (finding("caution"), finding("caution"), finding("note"))
    assert wording.glance(fake_results(findings=some))[-2] == (
        "The checks raised two cautions about the record, listed under Data quality."
    )


def test_methods_state_the_values_used() -> None:
    used = Assumptions(reading_delay_min=0.0, clock_rounding="unknown")
    paragraphs = [plain(s) for s in wording.methods(fake_results(field_day(assumptions=used)))]
    assert any("Readings were made in a pause" in s for s in paragraphs)
    assert any("in an unknown way" in s for s in paragraphs)
    assert any("by Monte Carlo (seed 20260516): " in s for s in paragraphs)
    assert any("100 000 times" in s for s in paragraphs)
    assert any("All 14 intervals agree" in s for s in paragraphs)


@pytest.mark.parametrize(
    ("why", "end"),
    [
        (
            f"{ON_PURPOSE}factors are rounded up",
            "that of the other 2 is wider on purpose, as the tables of agreement explain.",
        ),
        ("a drain cannot be below 0", "the tables of agreement say why the other 2 do not."),
    ],
)
def test_disagreement_of_the_two_methods_is_said(why: str, end: str) -> None:
    frame = fake_results().agreement
    frame.loc[[0, 1], ["agrees", "why"]] = False, why
    (said,) = (s for s in wording.methods(fake_results(agreement=frame)) if "Monte Carlo" in s)
    assert "12 of 14 intervals agree" in said
    assert said.endswith(end)


def test_alternative_texts_say_what_the_figures_show() -> None:
    results = fake_results()
    assert plain(wording.alt_runtimes(results, 1)).startswith(
        "Runtimes, longest first: kelpfin at least 8:30 h, periwinkle 7:29 to 7:31 h"
    )
    assert "kelpfin 1st" in wording.alt_pairs(results, order_of_run(results, 1))
    assert "Too close to call: one pair" in wording.alt_pairs(results, order_of_run(results, 1))
    assert "Browsing the tide tables, kelpfin 8.0 to whelk 15.0" in wording.alt_rates(
        results, 1, ["browse"]
    )
    # whole per cent, rounding not recorded: one either way
    assert "whelk, last read 40 % (39 to 41), powered off after 4:07 to 4:10 h" in plain(
        wording.alt_charge(results, 1)
    )
